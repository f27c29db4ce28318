"""Internal faults in time: what their keys need of other tables, and what their reader should
know."""

from __future__ import annotations

from collections.abc import Iterator

from montecarlo.plant.events.through_fault import ThroughFault
from montecarlo.quantities.wording import listed, shown
from montecarlo.study.check import Caution, Check
from montecarlo.study.description import Study
from montecarlo.study.strata import wants_offset


def _share(study: Study) -> Iterator[str]:
    faults = study.internal_faults
    if faults.evolving is None and faults.shares.evolving > 0:
        yield (
            f"internal_faults.shares.evolving: {faults.shares.evolving:g}, but there is no table"
            " [internal_faults.evolving]; give event, after_s and kind there, or take the share out"
        )
    elif faults.evolving is not None and faults.shares.evolving == 0:
        yield (
            "internal_faults.evolving: internal_faults.shares.evolving is 0, must be above 0; give"
            " such faults a share, or take the table out"
        )


def _event(study: Study) -> Iterator[str]:
    """It follows a fault between phases whose current passes the zone, before it is cleared."""
    if (evolving := study.internal_faults.evolving) is None:
        return
    place = f"internal_faults.evolving.event: {shown(evolving.event)}"
    named = [event for event in study.external_events if event.name == evolving.event]
    fitting = [event.name for event in study.external_events if isinstance(event, ThroughFault)]
    cure = f"name {listed(fitting, 'or')}" if fitting else "give such an event"
    if not named:
        yield f"{place}, must be the name of an event of [[external_events]]; {cure}"
        return
    (event, *_) = named
    if not isinstance(event, ThroughFault):
        yield (
            f"{place} is of kind {shown(event.kind)}, must be of kind three_phase or phase_phase;"
            f" {cure}"
        )
        return
    latest, earliest = evolving.longest_s, event.clearing_time_s.support()[0]
    if not latest < earliest:
        yield (
            f"internal_faults.evolving.after_s: can be {latest:g} s, must be below"
            f" external_events.{event.name}.clearing_time_s, which can be {earliest:g} s; shorten"
            " it, or cut either with truncate = [low, high]"
        )


def _infeed(study: Study) -> Iterator[str]:
    network = study.network
    asks = "internal_faults.dc_offset" if study.internal_faults.dc_offset else "candidates.gate"
    if wants_offset(study) and network.reactance_pu is not None and network.x_over_r is None:
        yield (
            f"network.x_over_r: missing; {asks} needs the X/R of the network's infeed, usually 10"
            " to 60; give it, or take that out"
        )


INTERNAL_CHECKS = (
    Check(_share, ("internal_faults",)),
    Check(_event, ("internal_faults", "external_events")),
    Check(_infeed, ("network", "internal_faults", "candidates", "scheme")),
)


def evolving_cautions(study: Study) -> Iterator[Caution]:
    """What an evolving fault leaves out.

    Parameters
    ----------
    study : Study

    Yields
    ------
    Caution
    """
    if study.internal_faults.evolving is not None:
        yield Caution(
            "internal_faults.evolving",
            "How often external faults become internal ones is an assumption: no published figure"
            " was found. The network feeds nothing into the zone, not even after the external fault"
            " is cleared. This is meant as the harder case.",
        )
