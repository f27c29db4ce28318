"""Delays of the differential elements: what is too slow for the faults and for the events."""

from __future__ import annotations

from collections.abc import Iterator

from montecarlo.study.axes import DELAYS
from montecarlo.study.check import Check
from montecarlo.study.description import Study


def delays_of(study: Study) -> list[tuple[str, float]]:
    """Key and value of every delay of a candidate and of the existing setting. [s]

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of (str, float)
    """
    delays = []
    for name in DELAYS:
        delays += [(f"candidates.{name}", delay) for delay in getattr(study.candidates, name)]
        own = getattr(study.candidates.existing, name, None)
        delays += [] if own is None else [(f"candidates.existing.{name}", own)]
    return delays


def _delays(study: Study) -> Iterator[str]:
    """Phasor solutions count the delay and one cycle; slower than the allowed time is never in
    time."""
    allowed, cycle = study.internal_faults.allowed_time_s, 1 / study.machine.frequency_hz
    for key, delay in delays_of(study):
        if not delay + cycle <= allowed * (1 + 1e-12):
            yield (
                f"{key}: {delay:g} s, must be at most internal_faults.allowed_time_s less one cycle"
                f" = {allowed - cycle:g} s; shorten the delay or allow more time"
            )


def _durations(study: Study) -> Iterator[str]:
    """What is simulated of a lasting event must hold the longest delay and the cycle that is
    measured: an element that would still wait at the end of the window would count as silent."""
    slowest = max(delay for _, delay in delays_of(study))
    least = slowest + 1 / study.machine.frequency_hz
    for event in study.external_events:
        # others are cleared, and end by themselves
        duration = getattr(event, "duration_s", None)
        if duration is not None and not duration >= least * (1 - 1e-12):
            yield (
                f"external_events.{event.name}.duration_s: {duration:g} s, must be at least the"
                f" longest delay of the candidates and one cycle = {least:g} s; simulate the event"
                " for longer or shorten the delay"
            )


DELAY_CHECKS = (
    Check(_delays, ("machine", "internal_faults", "candidates")),
    Check(_durations, ("machine", "candidates", "external_events")),
)
