"""Tests of a gate at the relay's own terminals: what starts it, what holds it, how long it stays.

What is expected follows from `secondary/gates.py` for sinusoids (derived). A through current is the
same current into both inputs of an element, in the sense in which it leaves no difference."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from montecarlo.quantities import Array
from montecarlo.relays.gates import OF_EARTH, Gate
from montecarlo.study.circuits import one_side
from studies.commissioning.expected import Sheet
from studies.commissioning.lines import AT_RELAY, BY_SECONDARY, SECONDARY, Line, Printed, lines_of

ABOVE = 2.0  # times the start, at which a hold is tested; common practice, no source
WATCH = "watch its signal; slopes are tested with the gate out of service"
ONCE = "a through current applied at once"
OF_CURRENT = ("time_difference", "repeated")  # starts that a current exceeds


class GateTests:
    """The tests of one gate on the installations of a sheet."""

    def __init__(self, sheet: Sheet, gate: Gate) -> None:
        self.sheet, self.gate = sheet, gate
        study = sheet.study
        self.rated_a = study.machine.rated_current_a / study.ct.stating.leg_ratio
        self.cycle_s = 1 / study.machine.frequency_hz
        title = f"Gate {gate.name}: currents at the relay; {WATCH}"
        self.printed = Printed(
            title,
            "element and test",
            "expected",
        )
        self._some = np.ones(len(next(iter(sheet.samples.values()))))

    @property
    def injected_a(self) -> float:
        """The through current at which a hold is tested. [A secondary]"""
        start_pu = self.gate.start_pu
        times = 1.0 if start_pu is None else ABOVE * start_pu.centre()
        return float(f"{times * self.rated_a:.3g}")

    @property
    def start_a(self) -> Array:
        """Of each installation, RMS. [A secondary]"""
        return self.rated_a * self.sheet.samples[f"scheme.gates.{self.gate.name}.start_pu"]

    @property
    def _starts_a(self) -> Array:
        """That above which it starts; `repeated` asks that much for as long as it waits."""
        if self.gate.start != "repeated":
            return self.start_a
        wait_s = self.sheet.samples[f"scheme.gates.{self.gate.name}.wait_s"]
        turned = np.pi * wait_s / self.cycle_s  # of half the wait, to either side of the peak
        top = np.cos(np.minimum(turned, np.pi / 2))
        return self.start_a / np.maximum(top, 1e-9)

    def lines(self, element: str) -> Iterator[Line]:
        """All tests of one element.

        Parameters
        ----------
        element : str
            Its name.

        Yields
        ------
        Line
        """
        if self.gate.start == OF_EARTH:
            how = "a current into the input of the neutral CT alone, raised until it ends"
            yield self._line(element, "gate ends at", how, SECONDARY, self.start_a)
            return
        yield from self._start(element)
        yield from self._hold(element)
        yield from self._end(element)

    def _line(
        self,
        element: str,
        quantity: str,
        how: str,
        unit: str,
        installations: Array,
        injected_a: float = np.nan,
    ) -> Line:
        return Line(
            self.printed,
            f"{element}, {how} [{unit}]",
            f"gate {self.gate.name}",
            f"{AT_RELAY}, {how}",
            f"{quantity} {element}",
            unit,
            lambda _: installations,
            injected_a,
            BY_SECONDARY,
            weighs=False,
        )

    def _start(self, element: str) -> Iterator[Line]:
        gate, rated = self.gate, f"{self.rated_a:.3g} A"
        above = gate.start_above or 0.0
        name = "gate starts at"
        if gate.start in OF_CURRENT:
            how = f"{ONCE}, larger each time until it starts; into one input alone it must not"
            yield self._line(
                element,
                name,
                how,
                SECONDARY,
                self._starts_a,
            )
        elif gate.start == "angle":
            how = f"a through current of {rated}, one side turned until it ends"
            limit = self._some * (gate.within_degrees or 0.0)
            yield self._line(
                element,
                "gate ends at",
                how,
                "degrees",
                limit,
                self.rated_a,
            )
        elif gate.start == "direct_current":
            how = f"a through current of {rated}, direct current added until it starts"
            direct_a = self._some * (np.sqrt(2) * above * self.rated_a)
            yield self._line(
                element,
                name,
                how,
                SECONDARY,
                direct_a,
                self.rated_a,
            )
        elif gate.start == "second_harmonic":
            how = f"{rated} into one input, second harmonic added until it starts"
            harmonic_a = self._some * (above * self.rated_a)
            yield self._line(
                element,
                name,
                how,
                SECONDARY,
                harmonic_a,
                self.rated_a,
            )

    def _hold(self, element: str) -> Iterator[Line]:
        name = "gate is held down to"
        if self.gate.hold == "current":
            how = "the through current lowered until it ends"
            yield self._line(
                element,
                name,
                how,
                SECONDARY,
                self.start_a,
            )
        elif self.gate.hold == "direct_current":
            amperes = self.injected_a
            how = (
                f"a through current of {amperes:g} A applied at once with a direct current, which"
                " is lowered until it ends"
            )
            share = self._some * (self.gate.hold_above or 0.0)
            direct_a = np.sqrt(2) * amperes * share
            yield self._line(
                element,
                name,
                how,
                SECONDARY,
                direct_a,
                amperes,
            )

    def _end(self, element: str) -> Iterator[Line]:
        gate = self.gate
        name = "gate stays"
        if gate.start == "time_difference" and gate.hold == "none":
            how = f"{ONCE}: how long the signal lasts"
            yield self._line(
                element,
                name,
                how,
                "s",
                self._stays_s(0.0),
                self.injected_a,
            )
            return
        how = "all currents taken off: how long the signal lasts from then on"
        window_s = 0.0 if self._by_currents else self.cycle_s
        yield self._line(
            element,
            name,
            how,
            "s",
            self._stays_s(window_s),
        )
        if gate.longest_s is not None:
            how = "the current that holds it kept on: how long the signal lasts"
            longest_s = self._some * gate.longest_s
            yield self._line(
                element,
                "gate lasts",
                how,
                "s",
                longest_s,
            )

    @property
    def _by_currents(self) -> bool:
        """Whether it ends by instantaneous currents, and not by what a cycle holds of them."""
        return self.gate.hold == "current" or self.gate.start in OF_CURRENT[1:]

    def _stays_s(self, window_s: float) -> Array:
        """From stays_s on, up to so much longer."""
        return self.gate.stays_s + window_s * np.linspace(
            0,
            1,
            len(self._some),
        )


def every_line(sheet: Sheet) -> Iterator[Line]:
    """All tests of a sheet, those of its gate last.

    Parameters
    ----------
    sheet : Sheet

    Yields
    ------
    Line
    """
    yield from lines_of(sheet)
    yield from gate_lines(sheet)


def gate_lines(sheet: Sheet) -> Iterator[Line]:
    """Of the gates of a sheet's setting; nothing without one.

    Parameters
    ----------
    sheet : Sheet

    Yields
    ------
    Line
    """
    scheme, named = sheet.scheme, {"phase": sheet.setting.gate, "earth": sheet.setting.earth_gate}
    for gate in sheet.study.scheme.gates:
        tests = GateTests(sheet, gate)
        for number in sheet.set:
            own = named.get(scheme.elements[number].axis) == gate.name
            if own and one_side(scheme, number):
                yield from tests.lines(scheme.element_name(number))
