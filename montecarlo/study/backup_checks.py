"""The table [backup]: what makes it meaningless, and what its reader should know."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from montecarlo.plant.earthing import neutral_ohm
from montecarlo.quantities import Distribution
from montecarlo.quantities.wording import listed
from montecarlo.relays.backup import ELEMENTS
from montecarlo.study.description import Study

__all__ = ["backup_cautions", "backup_faults"]

RESET_CYCLES = (
    1.5  # half a cycle to the last zero, and the one-cycle measurement of a strong current
)
STANDING_SHARE = (
    # of phase voltage: what a healthy machine's neutral may show; common practice, no source
    0.05
)


def backup_faults(study: Study) -> Iterator[str]:
    """At least one element, and each in time: solutions by phasors count the delay and one
    cycle."""
    backup, cycle = study.backup, 1 / study.machine.frequency_hz
    if backup is None:
        return
    if not backup.elements:
        yield (
            "backup: no element is given; give"
            f" {listed((f'[backup.{name}]' for name in ELEMENTS), 'or')}, or both"
        )
    for name, element in backup.elements.items():
        if not element.delay_s + cycle <= backup.allowed_time_s * (1 + 1e-12):
            yield (
                f"backup.{name}.delay_s: {element.delay_s:g} s, must be at most"
                f" backup.allowed_time_s less one cycle = {backup.allowed_time_s - cycle:g} s;"
                " shorten the delay or allow more time"
            )


def backup_cautions(study: Study) -> Iterator[tuple[str, str]]:
    """Key and sentence, every input at its centre."""
    backup = study.backup
    if backup is None:
        return
    shares = study.internal_faults.shares
    if shares.earth + shares.phase_phase_earth == 0:
        yield (
            "backup",
            (
                "No fault type of the study touches earth, so the back-up in the neutral sees none"
                " of them."
            ),
        )
    ohm = neutral_ohm(study.earthing, study.earthing.centres(), study.machine.phase_voltage_v)
    emf = study.machine.phase_voltage_v * study.machine.voltage_factor.centre()
    centres = {
        f"backup.{name}.error_percent": np.array(element.error_percent.centre())
        for name, element in backup.elements.items()
    }
    for name, needed in backup.operating_a(centres, ohm, study.machine.phase_voltage_v).items():
        yield from _pickup(f"backup.{name}", float(needed), emf / abs(complex(ohm)))
        yield from _grading(study, f"backup.{name}.delay_s", backup.elements[name].delay_s)


def _pickup(key: str, needed_a: float, terminal_a: float) -> Iterator[tuple[str, str]]:
    if needed_a >= terminal_a:
        yield (
            key,
            (
                f"It needs {needed_a:.3g} A in the neutral, and a bolted earth fault at the"
                f" terminals gives at most {terminal_a:.3g} A: it can never operate on an internal"
                " earth fault."
            ),
        )
    elif needed_a < STANDING_SHARE * terminal_a:
        yield (
            key,
            (
                f"It operates at {100 * needed_a / terminal_a:.2g} % of what an earth fault at the"
                f" terminals gives; below {100 * STANDING_SHARE:g} % a healthy machine's third"
                " harmonic and standing displacement, which are not modelled, may operate it"
                " (common practice, no source)."
            ),
        )


def _grading(study: Study, key: str, delay_s: float) -> Iterator[tuple[str, str]]:
    slower = max(study.candidates.delay_s)
    if delay_s <= slower:
        yield (
            key,
            (
                f"The back-up's {delay_s:g} s are not longer than the differential's longest delay"
                f" of {slower:g} s; it then does not wait for the differential."
            ),
        )
    for event in study.external_events:
        clearing = getattr(event, "clearing_time_s", None)
        if event.kind == "phase_earth" and isinstance(clearing, Distribution):
            measured = clearing.support()[1] + RESET_CYCLES / study.machine.frequency_hz
            if delay_s < measured:
                yield (
                    key,
                    (
                        f"The event {event.name} is measured for up to {measured:g} s (clearing,"
                        f" last zero and one cycle), longer than the back-up's {delay_s:g} s: it"
                        " may operate on an earth fault outside the zone; a run counts that in"
                        " backup.csv."
                    ),
                )
