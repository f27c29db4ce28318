"""What a commissioning crew should measure: secondary currents under primary injection, pick-ups,
points on slopes and operating times, with the band that the study's own uncertainties leave.

Primary injection (common practice): a through current shows ratio and polarity of every CT by what
is left in the legs; a current through one end alone is an internal fault to the scheme. The neutral
conductor's CT sees no current of three phases, so one phase at a time is driven through the zone
and back through it: the leg carries next to nothing, and twice the current with that CT's leads
exchanged. CTs at groups of branches are tested by a current through the lead of one group, and by
one around both groups of a phase and the star link. Lasting sinusoids, so the phasor solution; it
stays within half the knee voltage, where remanence has been shaken off (derived from the same
network as everything else)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from montecarlo.engine.sizes import designs
from montecarlo.quantities import Array
from montecarlo.relays.places import (
    BRANCH_GROUPS,
    CORE_BALANCE,
    ENDS,
    GROUP_OF,
    NEUTRAL,
    PHASES,
    PLACES,
    STAR_LINK,
    carried,
)
from montecarlo.relays.schemes import Element, Scheme
from montecarlo.sampling.inputs import list_inputs
from montecarlo.sampling.transform import all_installations
from montecarlo.secondary import steady
from montecarlo.secondary.chain import Chain
from montecarlo.secondary.circuit import CtBank, at_places
from montecarlo.secondary.restraint import NO_BIAS, Form, bias_current, operating_quantity
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import lattices_of
from montecarlo.study.circuits import (
    bank_of,
    bias_form,
    chain_of,
    element_share,
    leg_ohm,
    measurement,
    scheme_of,
)
from montecarlo.study.description import Study
from montecarlo.study.nominal import Nominal
from montecarlo.study.wiring import spills
from studies.commissioning.terminal_tests import (
    BiasedElement,
    Point,
    least,
    operating_times_s,
    sampled_times_s,
)

Complex = NDArray[np.complex128]
THREE_PHASES = np.exp(-2j * np.pi / 3 * np.arange(3))
RATED_SHARE = (
    0.2  # of a CT's rated primary current: what portable sets give; common practice, no source
)
# of the knee voltage, the most that a test drives across a CT; common practice, V_k >= 2 V_s
KNEE_SHARE = 0.5
# times the pick-up, at which operating times are taken; common practice, no source
TIMED_AT = 2.0


@dataclass(frozen=True, eq=False)
class Injection:
    """A primary current.

    `ends`: (6 or 9,) phasors per unit of `current_a` at the ends' CTs, neutral end first, then what
    the groups of branches differ by. `turned`: the CT, a column of the table, whose secondary leads
    are exchanged; none unless given. `through`: what carries the current in the zone, in words.
    `alone`: whether it is a single current, by which an element's pick-up is found."""

    name: str
    text: str
    current_a: float
    ends: Complex
    turned: int | None = None
    through: str = ""
    alone: bool = False


@dataclass(frozen=True)
class SlopeTest:
    """A point on a biased element's slopes: `raised` and `held` are CTs, columns of the table."""

    name: str
    element: int
    raised: int
    held: int
    point: Point


@dataclass(frozen=True)
class TimeTest:
    """A current applied at once to an element's own terminals. [A secondary, RMS]"""

    element: int
    current_a: float


class Sheet:
    """Every test of one setting. The installations are those of the study's own batch; inputs that
    change from event to event stand at their centre.

    Parameters
    ----------
    study : Study
    setting : Setting
    installations : mapping of str to ndarray, (M, ...), optional
        The inputs that vary by installation, drawn unless given.
    """

    def __init__(
        self, study: Study, setting: Setting, installations: Mapping[str, Array] | None = None
    ) -> None:
        self.study, self.setting, self._installations = study, setting, installations
        (lattice,) = lattices_of(study, setting)
        self.circuit, self._lattice = lattice.circuit, lattice
        self.scheme: Scheme = scheme_of(study, setting.scheme)
        self._nominal = Nominal(study)

    @cached_property
    def samples(self) -> Mapping[str, Array]:
        """(M, ...) of every input."""
        study, drawn = self.study, self._installations
        if drawn is None:
            inputs, design = list_inputs(study), designs(study)[0]
            drawn = all_installations(inputs, study.ties, seed=study.study.seed, design=design)
        installations = len(next(iter(drawn.values())))
        centres = self._nominal.samples
        return {key: np.repeat(value, installations, axis=0) for key, value in centres.items()} | {
            **drawn
        }

    @cached_property
    def _bank(self) -> CtBank:
        return at_places(bank_of(self.study, self.samples), self.scheme.places)

    @cached_property
    def _leg_ohm(self) -> Array:
        return leg_ohm(self.study, self.circuit, self.samples)

    @cached_property
    def _chain(self) -> Chain | None:
        return chain_of(self.study, self.samples)

    @cached_property
    def _gain(self) -> Array:
        """What the relay makes of a sinusoid at its terminals, (M,)."""
        return np.ones(1) if self._chain is None else self._chain.gain()

    # --- injections -----------------------------------------------------------

    @cached_property
    def injections(self) -> tuple[Injection, ...]:
        """Through current of three phases; of each phase with its return through the neutral
        conductor's CT, where an element compares the two; of groups of branches; then each phase,
        and two pairs of phases, of each end alone. Those that reach no CT of the scheme, or the
        same ones again, are left out; but groups of branches must show what they leave of a through
        current."""
        rated = _rounded_down(self.study.machine.rated_current_a)
        through = np.tile(THREE_PHASES, 2)
        found = [Injection("through", "three phases through the zone", rated, through)]
        found += self._polarity_tests()
        found += self._of_branches()
        for first, end in zip((0, 3), ENDS, strict=True):
            if self.scheme.of_branches and not any(end in name for name in self.scheme.groups):
                continue
            words = end.replace("_", " ")
            for k, phase in enumerate(PHASES):
                alone = f"{phase}, through the {words}'s CT alone"
                found.append(self._in_zone(f"{end}.{phase}", alone, {first + k: 1.0}))
            for k, both in enumerate(pairwise(PHASES), first):
                pair = "-".join(both)
                alone = f"{pair}, through the {words}'s CTs alone"
                found.append(self._in_zone(f"{end}.{pair}", alone, {k: 1.0, k + 1: -1.0}))
        seen: dict[tuple[bytes, int | None], Injection] = {}
        for one in found:
            at_cts = self._at_cts(one.ends)
            if at_cts.any() or (one is found[0] and self.scheme.of_branches):
                seen.setdefault((at_cts.tobytes(), one.turned), one)
        return tuple(seen.values())

    def _polarity_tests(self) -> Iterator[Injection]:
        """Each phase through the zone and back through the neutral CT; then that CT
        turned round."""
        if NEUTRAL not in self.scheme.places:
            return
        neutral = self.scheme.places.index(NEUTRAL)
        rows = [self.scheme.table[element.leg] for element in self.scheme.elements]
        spilling = any(one.scheme == self.setting.scheme for one in spills(self.study))
        for k, phase in enumerate(PHASES):
            ends = np.zeros(6, complex)
            ends[[k, k + 3]] = 1.0
            reached = self._at_cts(ends) != 0
            if not any(row[neutral] and np.count_nonzero(row[reached]) > 1 for row in rows):
                continue
            amperes, name = self._largest_a(ends, at_once=2), f"through.{phase}"
            back = f"{phase} through the zone and back through the neutral CT"
            if spilling:
                text = (
                    f"{back} should leave next to nothing in the relay circuit; with the CTs as"
                    " connected in the study it leaves the current of this row: correct the study"
                    " first"
                )
                yield Injection(name, text, amperes, ends)
                continue
            text = f"{back} must leave next to nothing in the relay circuit"
            yield Injection(name, text, amperes, ends)
            text = (
                f"{phase} likewise, with the secondary leads of the neutral CT exchanged, which"
                " must drive twice the current through the relay circuit"
            )
            yield Injection(f"{name}.reversed", text, amperes, ends, neutral)

    def _of_branches(self) -> Iterator[Injection]:
        """Each phase's lead of each group; or around both groups, where the star link has a CT."""
        if {*BRANCH_GROUPS, CORE_BALANCE} & {*self.scheme.groups}:
            for group, sign in zip(BRANCH_GROUPS, (1.0, -1.0), strict=True):
                words = group.replace("_", " ")
                for k, phase in enumerate(PHASES):
                    alone = f"{phase}, through the lead of {words} alone"
                    yield self._in_zone(f"{group}.{phase}", alone, {3 + k: 1.0, 6 + k: sign}, True)
        if STAR_LINK in self.scheme.groups:
            for k, phase in enumerate(PHASES):
                around = f"{phase}, around both groups through the star link"
                yield self._in_zone(f"{STAR_LINK}.{phase}", around, {6 + k: 2.0}, True)

    def _in_zone(
        self, name: str, through: str, at: Mapping[int, float], alone: bool = False
    ) -> Injection:
        ends = np.zeros(9 if max(at) > 5 else 6, complex)
        ends[list(at)] = list(at.values())
        text = f"in the zone, {through}"
        largest_a = self._largest_a(ends)
        return Injection(name, text, largest_a, ends, None, through, alone or len(at) == 1)

    def _at_cts(self, ends: Complex) -> Complex:
        return carried(ends, self.scheme.places)

    def _largest_a(self, ends: Complex, at_once: int = 1) -> float:
        """1, 2 or 5 times a power of ten: at most the machine's rated current, `RATED_SHARE` of the
        CT's and what drives `KNEE_SHARE` of the knee voltage, each CT by itself or `at_once` of
        them through one leg, at the centre of all inputs. [A]"""
        bank = at_places(self._nominal.bank, self.scheme.places)
        legs_ohm = self._nominal.ohms(self.circuit) @ self.scheme.table**2
        path_ohm = bank.series_ohm[0] + at_once * legs_ohm
        knee_v = bank.knee_flux_wb[0] * self.study.machine.omega / np.sqrt(2)
        most = [self.study.machine.rated_current_a]
        carried_pu = np.abs(self._at_cts(ends))
        for ct in np.flatnonzero(carried_pu):
            data = self.study.ct.at(GROUP_OF[self.scheme.places[ct]])
            most.append(RATED_SHARE * data.primary_a / carried_pu[ct])
            most.append(KNEE_SHARE * knee_v[ct] / path_ohm[ct] * data.turns_ratio / carried_pu[ct])
        return _rounded_down(min(most))

    # --- what is expected -----------------------------------------------------

    def quantities(self, injection: Injection) -> list[str]:
        """Each CT that carries the current, then each leg.

        Parameters
        ----------
        injection : Injection

        Returns
        -------
        list of str
        """
        cts = np.flatnonzero(self._at_cts(injection.ends))
        names = [f"CT {PLACES[self.scheme.places[ct]]}" for ct in cts]
        return names + [f"relay circuit {leg.name}" for leg in self.scheme.legs]

    def expected(self, injection: Injection) -> dict[str, Array]:
        """Each sampled installation's own value of each quantity. [A secondary, RMS]

        Parameters
        ----------
        injection : Injection

        Returns
        -------
        dict of str to ndarray, (M,)
        """
        solved = self._solved(injection, np.full(len(self._bank), injection.current_a))
        cts = np.flatnonzero(self._at_cts(injection.ends))
        values = np.abs(np.hstack([solved.cts[:, cts], solved.legs]))
        return dict(zip(self.quantities(injection), values.T, strict=True))

    def _solved(self, injection: Injection, current_a: Array) -> steady.Steady:
        table = self.scheme.table.copy()
        if injection.turned is not None:
            table[:, injection.turned] *= -1
        return steady.solve(
            table,
            self._leg_ohm,
            self._bank,
            current_a[:, None] * carried(self._shared(injection.ends), self.scheme.places),
            self.study.machine.omega,
        )

    def _shared(self, ends: Complex) -> Complex:
        """With what each installation's groups of branches differ by, where a current passes both;
        (M, 9) there."""
        if len(ends) == 9 or not self.scheme.of_branches:
            return ends
        apart = self.samples["winding.group_unbalance_percent"][:, :3] / 100 * ends[3:]
        return np.hstack([np.tile(ends, (len(apart), 1)), apart])

    @property
    def pickup_tests(self) -> Iterator[tuple[Injection | None, int]]:
        """Each element by its number: at the relay's terminals, and by each one-phase injection
        that it sees; a high-set element at the terminals alone."""
        for number in self.set:
            element = self.scheme.elements[number]
            yield None, number
            for injection in () if element.axis == "high_set" else self.injections:
                seen = self.scheme.table[element.leg] * self._at_cts(injection.ends)
                if injection.alone and seen.any():
                    yield injection, number

    def pickup(self, injection: Injection | None, number: int) -> Array:
        """The current at which each installation's element operates, inf where it does not. [A]

        Parameters
        ----------
        injection : Injection or None
            A primary current through one end's CT; none: at the relay's own terminals.
        number : int
            Of the element.

        Returns
        -------
        ndarray, (M,)
        """
        element = self.scheme.elements[number]
        target = self._targets_a(element)
        if injection is None:
            return least(partial(self._at_terminals, element), target, target)
        share = element_share(self.study, self.circuit, self.samples, self.scheme)
        target = target / share[:, element.leg]  # a non-linear resistor takes the rest
        seen = self.scheme.table[element.leg] * self._at_cts(injection.ends)
        wanted = measurement(self.study, self.scheme, (self._form(element),), chain=self._chain)

        def quantity(amperes: Array) -> Array:
            return np.asarray(self._solved(injection, amperes).quantities(wanted)[:, number, 0])

        return least(quantity, target, target * self._bank.turns[:, int(np.abs(seen).argmax())])

    @property
    def set(self) -> list[int]:
        """The elements that the setting has, by number."""
        each = enumerate(self.scheme.elements)
        return [k for k, one in each if self.setting.pickup_of(one.axis) is not None]

    def _form(self, element: Element) -> Form:
        if not element.bias:
            return NO_BIAS
        return bias_form(self.study, self._lattice.bias_of(element.axis), element.axis)

    def _targets_a(self, element: Element) -> Array:
        """Each installation's own pick-up, (M,): the setting with its error."""
        error = self.samples["relay.pickup_error_percent"][:, element.column] / 100
        return np.asarray(self._setting_a(element) * (1 + error))

    def _setting_a(self, element: Element) -> float:
        pickup_a = self.setting.pickup_of(element.axis)
        assert pickup_a is not None
        return pickup_a

    def _at_terminals(self, element: Element, amperes: Array) -> Array:
        """What an element compares with its setting when the current enters one of its inputs
        alone: one end's, where ends restrain it."""
        if (both := self._raised_and_held(element)) is not None:  # ratio matching in the relay
            amperes = amperes * np.abs(self.scheme.table[element.leg, both[0]])
        amperes = amperes * self._gain
        ends = np.zeros((amperes.size, max(len(element.bias), 1)))
        ends[:, 0] = amperes
        bias = bias_current(ends, self.study.scheme.bias_current_of(element.axis))
        return np.asarray(operating_quantity(amperes, bias, self._form(element)))

    # --- at the relay's own terminals -----------------------------------------

    @property
    def slope_tests(self) -> Iterator[SlopeTest]:
        """Points on the slopes of each biased element, from the least bias on."""
        rated_a = self.study.relay.rated_current_a
        for number, element in enumerate(self.scheme.elements):
            if (ends := self._raised_and_held(element)) is not None:
                points = self._biased(element, *ends).points(self._setting_a(element), rated_a)
                for place, point in enumerate(points, 1):
                    yield SlopeTest(f"slope point {place}", number, *ends, point)

    def slope_point(self, test: SlopeTest, held_a: float | None = None) -> Array:
        """The raised current at which each installation's element operates, (M,), inf where it does
        not; `held_a`: another held current than the sheet's. [A secondary]"""
        element = self.scheme.elements[test.element]
        targets = self._targets_a(element)
        held = np.full(targets.shape, test.point.held_a if held_a is None else held_a)
        biased = self._biased(element, test.raised, test.held)
        return biased.operates_at(held * self._gain, targets) / self._gain

    def _raised_and_held(self, element: Element) -> tuple[int, int] | None:
        """Two CTs of an element's leg, of opposite sense, those that restrain it first; none where
        it has no bias."""
        row = self.scheme.table[element.leg]
        cts = [ct for ct in (*element.bias, *np.flatnonzero(row).tolist()) if row[ct]]
        if not element.bias or not cts:
            return None
        return next(((cts[0], ct) for ct in cts if row[ct] * row[cts[0]] < 0), None)

    def _biased(self, element: Element, raised: int, held: int) -> BiasedElement:
        row = np.abs(self.scheme.table[element.leg])
        return BiasedElement(
            self._form(element),
            self.study.scheme.bias_current_of(element.axis),
            float(row[raised]),
            float(row[held]),
            (raised in element.bias, held in element.bias),
            len(element.bias),
        )

    @property
    def time_tests(self) -> Iterator[TimeTest]:
        """Each element that one current at its terminals can operate."""
        for number in self.set:
            amperes = TIMED_AT * float(np.median(self.pickup(None, number)))
            if np.isfinite(amperes):
                yield TimeTest(number, float(f"{amperes:.3g}"))

    def operating_times_s(self, test: TimeTest) -> Array:
        """Of each installation at each point on wave. [s]

        Parameters
        ----------
        test : TimeTest

        Returns
        -------
        ndarray, (M, points on wave)
        """
        share = self.pickup(None, test.element) / test.current_a
        hertz = self.study.machine.frequency_hz
        delay_s = self.setting.delay_of(self.scheme.elements[test.element].axis)
        if (chain := chain_of(self.study, self._nominal.samples)) is not None:
            return sampled_times_s(share, chain, hertz, delay_s)
        return operating_times_s(share, self.study.relay.measure, hertz, delay_s)


def _rounded_down(value: float) -> float:
    """The largest of 1, 2, 5, 10, 20, ... that is not above it."""
    power = 10.0 ** np.floor(np.log10(value))
    return float(next(digit * power for digit in (5, 2, 1) if digit * power <= value * (1 + 1e-12)))
