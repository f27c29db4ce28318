"""The table [backup]: what makes it meaningless, and what its reader should know."""

from __future__ import annotations

from collections.abc import Iterator

from montecarlo.quantities import Distribution
from montecarlo.quantities.wording import listed
from montecarlo.relays.backup import ELEMENTS
from montecarlo.study.check import Caution
from montecarlo.study.description import Study
from montecarlo.study.nominal import Nominal

RESET_CYCLES = (
    1.5  # half a cycle to the last zero, and the one-cycle measurement of a strong current
)
STANDING_SHARE = (
    # of phase voltage: what a healthy machine's neutral may show; common practice, no source
    0.05
)


def backup_faults(study: Study) -> Iterator[str]:
    """What makes [backup] meaningless: no element, or one too slow, since solutions by phasors
    count the delay and one cycle.

    Parameters
    ----------
    study : Study

    Yields
    ------
    str
        A line a fault.
    """
    backup, cycle = study.backup, 1 / study.machine.frequency_hz
    if backup is None:
        return
    if not backup.elements:
        yield (
            "backup: no element is given; give"
            f" {listed((f'[backup.{name}]' for name in ELEMENTS), 'or')}"
        )
    if backup.bus_current is not None and study.earthing.other_neutrals_ohm is None:
        yield (
            "earthing.other_neutrals_ohm: missing; [backup.bus_current] measures the current of the"
            " other earthed neutrals; give their resistance, or take the element out"
        )
    for name, element in backup.elements.items():
        if not element.delay_s + cycle <= backup.allowed_time_s * (1 + 1e-12):
            yield (
                f"backup.{name}.delay_s: {element.delay_s:g} s, must be at most"
                f" backup.allowed_time_s less one cycle = {backup.allowed_time_s - cycle:g} s;"
                " shorten the delay or allow more time"
            )


def backup_cautions(study: Study) -> Iterator[Caution]:
    """What the reader of [backup] should know, every input at its centre.

    Parameters
    ----------
    study : Study

    Yields
    ------
    Caution
    """
    backup = study.backup
    if backup is None:
        return
    shares = study.internal_faults.shares
    if shares.earth + shares.phase_phase_earth == 0:
        yield Caution(
            "backup",
            "No fault type of the study involves earth. The neutral back-up measures none of them.",
        )
    nominal = Nominal(study)
    ohm = nominal.own_neutral_ohm
    terminal_a = nominal.emf_v / abs(ohm)
    operating = backup.operating_a(nominal.samples, ohm, study.machine.phase_voltage_v)
    for name, needed in operating.items():
        yield from _pickup(f"backup.{name}", float(needed[0]), terminal_a)
        yield from _grading(study, f"backup.{name}.delay_s", backup.elements[name].delay_s)


def _pickup(key: str, needed_a: float, terminal_a: float) -> Iterator[Caution]:
    if needed_a >= terminal_a:
        yield Caution(
            key,
            f"It needs {needed_a:.3g} A in the neutral. A bolted earth fault at the terminals"
            f" gives at most {terminal_a:.3g} A. It can never operate on an internal earth fault.",
        )
    elif needed_a < STANDING_SHARE * terminal_a:
        yield Caution(
            key,
            f"It operates at {100 * needed_a / terminal_a:.2g} % of the current of an earth fault"
            f" at the terminals. Below {100 * STANDING_SHARE:g} %, third harmonic and standing"
            " displacement of a healthy machine may operate it (common practice, no source). They"
            " are not modelled.",
        )


def _grading(study: Study, key: str, delay_s: float) -> Iterator[Caution]:
    slower = max(study.candidates.delay_s)
    if delay_s <= slower:
        yield Caution(
            key,
            f"The back-up delay of {delay_s:g} s is not longer than the longest delay of the"
            f" differential scheme, {slower:g} s. The back-up then operates first.",
        )
    for event in study.external_events:
        clearing = getattr(event, "clearing_time_s", None)
        if event.kind == "phase_earth" and isinstance(clearing, Distribution):
            measured = clearing.support()[1] + RESET_CYCLES / study.machine.frequency_hz
            if delay_s < measured:
                yield Caution(
                    key,
                    f"The current of event {event.name} is measured for up to {measured:g} s"
                    " (clearing, last zero, one cycle). This is longer than the back-up delay of"
                    f" {delay_s:g} s. The back-up may operate on an earth fault outside the zone."
                    " A run counts such operations in backup.csv.",
                )
