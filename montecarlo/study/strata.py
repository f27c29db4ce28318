"""The strata of a study: what it samples, and where the leads of its CTs may be open."""

from __future__ import annotations

from montecarlo.plant.events.base import Event
from montecarlo.relays.gates import OF_EARTH
from montecarlo.relays.places import PLACES
from montecarlo.relays.schemes import build
from montecarlo.sampling.stratum import EARTH, EVOLVING, INTER_TURN, LOAD, OVERLOAD, Side, Stratum
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study

# One a CT place
OPEN_CT_CIRCUITS = tuple(
    Stratum.of(Side.STATE, f"open_ct_circuit_{place.replace('.', '_')}") for place in PLACES
)
# Whose currents need no time: small, and without an offset
BY_PHASORS = (EARTH, INTER_TURN)
# Whichever core of the candidate's own scheme
OPEN_CT_CIRCUIT = Stratum.of(Side.STATE, "open_ct_circuit")


def strata(study: Study) -> tuple[Stratum, ...]:
    """Everything that is sampled: internal fault types with a share, external events, states.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of Stratum
    """
    external = [Stratum.of(Side.EXTERNAL, event.name) for event in study.external_events]
    heavy = [OVERLOAD] if study.states.overload_current_pu is not None else []
    return (*internal_shares(study), *external, LOAD, *heavy, *open_ct_circuits(study))


def internal_shares(study: Study) -> dict[Stratum, float]:
    """Shares of the internal faults that some scheme can reach, of all internal faults.

    Parameters
    ----------
    study : Study

    Returns
    -------
    dict of Stratum to float
        (-).
    """
    return {
        Stratum.of(Side.INTERNAL, kind): share
        for kind, share in study.internal_faults.shares.model_dump().items()
        if share > 0 and (kind != INTER_TURN.kind or sees_turns(study))
    }


def schemes_of_branches(study: Study) -> tuple[str, ...]:
    """Those of its schemes that have CTs at the groups of branches.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of str
    """
    return tuple(kind for kind in study.scheme.kinds if build(study.scheme, kind).of_branches)


def sees_turns(study: Study) -> bool:
    """Whether a scheme may see faults between turns, so that they are sampled.

    Parameters
    ----------
    study : Study

    Returns
    -------
    bool
    """
    return study.winding is not None and bool(schemes_of_branches(study))


def wants_offset(study: Study) -> bool:
    """Whether faults between phases are solved in time, with the DC offset of their currents: where
    it is asked for, and where a gate may hold elements back.

    Parameters
    ----------
    study : Study

    Returns
    -------
    bool
    """
    named = study.candidates.gates_in_use
    of_phases = (gate for gate in study.scheme.gates if gate.start != OF_EARTH)
    return study.internal_faults.dc_offset or any(gate.name in named for gate in of_phases)


def in_time(study: Study, stratum: Stratum) -> bool:
    """Whether all of a stratum is solved in time; of earth faults that is for the pick-ups to say.

    Parameters
    ----------
    study : Study
    stratum : Stratum

    Returns
    -------
    bool
    """
    if stratum.side is Side.INTERNAL:
        return stratum == EVOLVING or (stratum not in BY_PHASORS and wants_offset(study))
    return stratum.side is Side.EXTERNAL


def off_network_share(study: Study, stratum: Stratum) -> float:
    """Share of a stratum's samples with the machine's breaker open; an evolving fault begins
    beyond it.

    Parameters
    ----------
    study : Study
    stratum : Stratum

    Returns
    -------
    float
        (-).
    """
    if stratum.side is not Side.INTERNAL or stratum == EVOLVING:
        return 0.0
    return study.states.breaker_open_share


def event_of(study: Study, stratum: Stratum) -> Event:
    """The external event that a stratum samples, or that an evolving fault follows.

    Parameters
    ----------
    study : Study
    stratum : Stratum
        External, or EVOLVING.

    Returns
    -------
    Event
    """
    evolving = study.internal_faults.evolving
    name = evolving.event if stratum == EVOLVING and evolving is not None else stratum.kind
    return next(event for event in study.external_events if event.name == name)


def open_ct_circuits(study: Study) -> tuple[Stratum, ...]:
    """The states with one core open, of the CTs that the study's schemes use.

    None unless the study gives their frequency.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of Stratum
    """
    if study.states.open_ct_circuit_per_year is None:
        return ()
    used = {place for kind in study.scheme.kinds for place in scheme_of(study, kind).places}
    return tuple(name for place, name in enumerate(OPEN_CT_CIRCUITS) if place in used)
