"""The study as the file states it: typed, frozen, checked once at the door (`read.py`)."""

from __future__ import annotations

from typing import Annotated, Literal

from montecarlo.plant.earthing import Earthing
from montecarlo.plant.external import ExternalEvent
from montecarlo.plant.internal import InternalFaults
from montecarlo.plant.machine import Load, Machine, Network
from montecarlo.quantities import Plain, Section
from montecarlo.relays.elements import Relay
from montecarlo.relays.schemes import SchemeChoice
from montecarlo.secondary.ct import CtPlaces

__all__ = ["Candidates", "Correlation", "General", "Policy", "PresentSetting", "Study"]


class General(Section):
    """The table [study]."""

    title: str
    kind: Literal["setting_sweep"]
    seed: Annotated[int, Plain("-", "root of every random number of the study", 0, 2**63 - 1)]
    samples: Annotated[int, Plain("-", "sampled events of each counted type", 1, 10**12)]
    earth_fault_samples: Annotated[int, Plain(
        "-", "sampled earth faults, each solved along the whole winding; samples/8 unless given", 1, 10**12,
    )] | None = None
    plants: Annotated[int, Plain("-", "sampled plants; every type's events are spread over them", 16, 65536)] = 256


class PresentSetting(Section):
    """The setting in service: a candidate that is always in the tables and compared with the chosen one."""

    scheme: str | None = None
    phase_pickup_a: float | None = None
    earth_pickup_a: float | None = None
    stabilising_resistance_ohm: float = 0.0
    delay_s: float = 0.0


class Candidates(Section):
    """Grids of settings, after snapping to the relay's step; every combination is a candidate.

    Pick-ups in secondary amperes. The stabilising resistance stands in the earth leg of a scheme that has an
    earth element, in each phase leg otherwise."""

    phase_pickup_a: tuple[float, ...]
    earth_pickup_a: tuple[float, ...] = ()
    stabilising_resistance_ohm: tuple[float, ...] = (0.0,)
    delay_s: tuple[float, ...] = (0.0,)
    present: PresentSetting | None = None


class Policy(Section):
    """Smallest p_missed subject to a limit on false trips, by the upper one-sided bound at `level`."""

    p_false_max: Annotated[float, Plain("-", "largest probability of a false trip an event", 0.0, 1.0,
                                        above=True)] | None = None
    false_per_year_max: Annotated[float, Plain("1/year", "largest number of false trips a year", 0.0, 1e4,
                                               above=True)] | None = None
    level: Annotated[float, Plain("-", "one-sided confidence of the bound", 0.5, 0.9999)] = 0.95
    ignore_knee_rule: bool = False


class Correlation(Section):
    """Gaussian-copula correlation of two uncertain inputs."""

    between: tuple[str, str]
    rho: Annotated[float, Plain("-", "correlation of the underlying normals", -0.999, 0.999)]


class Study(Section):
    """A whole study file."""

    study: General
    machine: Machine
    network: Network = Network()
    load: Load = Load()
    earthing: Earthing
    ct: CtPlaces
    scheme: SchemeChoice
    relay: Relay = Relay()
    internal_faults: InternalFaults
    external_events: tuple[ExternalEvent, ...]
    candidates: Candidates
    policy: Policy
    correlations: tuple[Correlation, ...] = ()


