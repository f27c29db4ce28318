"""The study as the file states it: typed, frozen, checked once at the door (`read.py`)."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, PrivateAttr

from montecarlo.plant.damage import Damage
from montecarlo.plant.earthing import Earthing, EarthingOption
from montecarlo.plant.events.kinds import ExternalEvent
from montecarlo.plant.fault_energy import FaultEnergy
from montecarlo.plant.internal import InternalFaults
from montecarlo.plant.machine import Load, Machine, Network
from montecarlo.plant.states import States
from montecarlo.plant.turns.layout import Winding
from montecarlo.quantities import Array, Meaning, Plain, Section, word
from montecarlo.relays.backup import Backup
from montecarlo.relays.elements import Relay
from montecarlo.relays.schemes import SchemeChoice
from montecarlo.secondary.ct import CtPlaces
from montecarlo.study.axes import Candidates
from montecarlo.study.dependability import Dependability
from montecarlo.study.grids import Moved
from montecarlo.study.recording import Recording


def _as_tuple(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value  # a file has lists only


class Precision(Section):
    """How narrow the figures of the chosen candidate shall be: half of the 95 % interval over the
    estimate.

    The selection sample serves to plan the independent one, whose size is then fixed; at least as
    large as the study's own."""

    p_missed: (
        Annotated[float, Plain("-", "of the probability of a missed fault", 1e-5, 1.0)] | None
    ) = None
    p_false: (
        Annotated[float, Plain("-", "of the probability of a false trip", 1e-3, 1.0)] | None
    ) = None
    most_samples: Annotated[
        int,
        Plain(
            "-",
            "largest number of samples of each type, of earth faults and of weighted samples in"
            " the independent sample",
            1,
            10**12,
        ),
    ] = 262_144


class General(Section):
    """The table [study]."""

    title: Annotated[str, word("title of the report")]
    kind: Annotated[
        Literal[
            "setting_sweep",
            "earthing_options",
            "scheme_comparison",
            "uncertainty_drivers",
            "alternatives",
        ],
        word(
            "setting_sweep: every candidate setting; scheme_comparison, earthing_options,"
            " alternatives: several schemes, [[earthing_options]] or [[alternatives]], each at its"
            " own best setting; uncertainty_drivers: the uncertain inputs that decide how the"
            " chosen setting performs, and what to specify or to measure first"
        ),
    ]
    seed: Annotated[int, Plain("-", "root of every random number of the study", 0, 2**63 - 1)]
    samples: Annotated[int, Plain("-", "sampled events of each counted type", 1, 10**12)]
    earth_fault_samples: (
        Annotated[
            int,
            Plain(
                "-",
                "sampled earth faults, each solved at 16 places along the winding on every relay"
                " circuit; rounded up to a power of two per installation; samples/8 unless given",
                1,
                10**12,
            ),
        ]
        | None
    ) = None
    rare_samples: (
        Annotated[
            int,
            Plain(
                "-",
                "weighted samples of each external event, for rare false trips; rounded up to a"
                " multiple of 128; below 4096: counting alone; as many as samples unless given",
                0,
                10**9,
            ),
        ]
        | None
    ) = None
    installations: Annotated[
        int,
        Plain(
            "-",
            "sampled installations, rounded up to 16 times a power of two; every type's events are "
            "spread over them",
            16,
            65536,
        ),
    ] = 256
    unresolved_share_max: Annotated[
        float,
        Plain(
            "-",
            "largest share of the samples of any type that may give no result; above it the run"
            " ends, up to it such samples widen the limits to both sides; a sample gives none"
            " where the secondary circuit does not converge or a value is not finite",
            0.0,
            1.0,
        ),
    ] = 0.01
    precision: Annotated[
        Precision | None,
        word(
            "precision wanted for the chosen candidate, half-width of the limits over the estimate"
        ),
    ] = None
    compare_remanence_models: Annotated[
        bool,
        word(
            "run a second time with the other remanence model of the CTs, on the same random"
            " numbers, and report whether the choice changes; doubles the time"
        ),
    ] = False
    compare: Annotated[
        tuple[Annotated[tuple[int, int], BeforeValidator(_as_tuple)], ...],
        word(
            "pairs of candidates to compare, as [[12, 40]] with numbers of candidates.csv: first"
            " minus second, paired on the same events"
        ),
    ] = ()
    radius: Annotated[
        bool,
        word(
            "whether a setting_sweep also reports how far each uncertain input may be off before"
            " the chosen setting breaks the policy's limit or another one would be chosen, and"
            " earthing_options, with [damage] or [dependability], before another option is the best"
        ),
    ] = True
    racing: Annotated[
        bool,
        word(
            "whether relay circuits that surely cannot win are left out of the larger part of the"
            " selection sample, at a stated error of 1 % in each such sample; searches for"
            " rare false trips then end where they promise enough"
        ),
    ] = True


class DamageCost(Section):
    """What the damage of an earth fault costs: so much at one damage, and how it grows."""

    at_reference: Annotated[
        float, Plain("-", "cost of a damage of reference_s, in the unit of the costs", 0.0, 1e15)
    ]
    reference_s: Annotated[
        float, Plain("s", "this damage, in seconds of damage.reference_a", 0.0, 1e9, above=True)
    ] = 1.0
    power: Annotated[
        float,
        Plain("-", "the cost goes with the damage to this power; 0: whatever it is", 0.0, 3.0),
    ] = 1.0

    def of(self, equivalent_s: Array) -> Array:
        """Cost of damages.

        Parameters
        ----------
        equivalent_s : array (s)
            Seconds of the reference current.

        Returns
        -------
        array
            In the unit of the costs.
        """
        return self.at_reference * (equivalent_s / self.reference_s) ** self.power


class AnnualCost(Section):
    """What the two failures cost, in a unit of the study's own; faults out of reach cost the same
    whatever is set."""

    missed_fault: Annotated[
        float, Plain("-", "cost of one missed internal fault, in a unit of your choice", 0.0, 1e15)
    ]
    false_trip: Annotated[float, Plain("-", "cost of one false trip, in the same unit", 0.0, 1e15)]
    unit: Annotated[str, word("name of the unit")] = "units"
    damage: Annotated[
        DamageCost | None,
        word(
            "cost of the damage of an earth fault; for the cost of an option of earthing or of an"
            " alternative"
        ),
    ] = None


class AssumptionSet(Section):
    """The study with some keys changed; a candidate is judged by the worst of all assumption
    sets."""

    name: Annotated[str, word("name of the assumption set")]
    changes: Annotated[
        dict[str, Any],
        word(
            'keys of the study in quotes and their values here, as { "ct.remanence_percent" = 80 };'
            ' events by name, as "external_events.near_fault.clearing_time_s"'
        ),
    ]


class Margins(Section):
    """How far an input is moved to find where the chosen setting breaks a limit or another setting
    would be chosen."""

    reach: Annotated[
        float,
        Plain(
            "half-widths",
            "largest distance from the stated centre of an input, and largest growth of its"
            " half-width, in half-widths of the input",
            0.0,
            100.0,
            above=True,
        ),
    ] = 5.0
    missed: Annotated[
        float,
        Plain(
            "-",
            "by how much another setting must miss less before the choice counts as changed, as a"
            " difference of p_missed",
            0.0,
            1.0,
        ),
    ] = 0.005


class Policy(Section):
    """Smallest p_missed subject to a limit on false trips, by the upper one-sided bound at `level`;
    or the smallest expected cost a year."""

    p_false_max: (
        Annotated[
            float, Plain("-", "largest probability of a false trip per event", 0.0, 1.0, above=True)
        ]
        | None
    ) = None
    false_per_year_max: (
        Annotated[
            float, Plain("1/year", "largest number of false trips a year", 0.0, 1e4, above=True)
        ]
        | None
    ) = None
    p_false_max_each: (
        Annotated[
            float,
            Plain(
                "-",
                "a second limit, if wanted: largest probability of a false trip per event of each"
                " single kind, by its own bound",
                0.0,
                1.0,
                above=True,
            ),
        ]
        | None
    ) = None
    least_annual_cost: Annotated[
        AnnualCost | None,
        word(
            "instead of a limit: costs of missed faults and of false trips; the setting of"
            " smallest expected annual cost is chosen",
        ),
    ] = None
    level: Annotated[float, Plain("-", "one-sided confidence of the bound", 0.5, 0.9999)] = 0.95
    margins: Annotated[
        Margins, word("how far inputs are moved to find where the choice breaks or changes")
    ] = Margins()
    least_radius: (
        Annotated[
            float,
            Plain(
                "half-widths",
                "how far the centre of every uncertain input, moved alone, must at least be off"
                " before the limit on false trips breaks; the best setting that has it is chosen;"
                " not asked unless given",
                0.0,
                100.0,
                above=True,
            ),
        ]
        | None
    ) = None
    front: Annotated[
        tuple[float, float],
        Meaning(
            "-",
            "largest and smallest limit on p_false of the front, which reports the setting that"
            " misses least at 13 limits from one to the other",
        ),
    ] = (1e-1, 1e-5)
    assumption_sets: Annotated[
        tuple[AssumptionSet, ...],
        word(
            "the study with other inputs, each a table [[policy.assumption_sets]]; judged on the"
            " same random numbers; the setting is chosen that is best in its worst assumption set,"
            " the study as stated included"
        ),
    ] = ()
    years: Annotated[
        float,
        Plain(
            "year",
            "period for which the probability of no false trip is reported",
            0.0,
            1000.0,
            above=True,
        ),
    ] = 30.0
    ignore_knee_rule: Annotated[
        bool,
        word(
            "whether a candidate may be chosen whose pick-up times resistance exceeds half the"
            " knee voltage"
        ),
    ] = False


class Alternative(Section):
    """The study with some keys changed, side by side with it, each at its own best setting."""

    name: Annotated[str, word("name of the alternative")]
    changes: Annotated[
        dict[str, Any],
        word(
            'keys of the study in quotes and their values here, as { "earthing.resistance_ohm" ='
            " 21.2 }; of every table but [study]; events by name"
        ),
    ]


class Correlation(Section):
    """Gaussian-copula correlation of two uncertain inputs."""

    between: Annotated[tuple[str, str], word('keys of the two inputs, as "ct.knee_voltage_v"')]
    rho: Annotated[float, Plain("-", "correlation of the underlying normals", -0.999, 0.999)]


class Document(Section):
    """How the report of the study is filed and who answers for it; empty lines are left to be
    filled in by hand."""

    number: Annotated[str, word("number of the document")] = ""
    revision: Annotated[str, word('its revision, as "A"')] = ""
    organisation: Annotated[str, word("whose document it is")] = ""
    prepared_by: Annotated[str, word("who prepared it")] = ""
    checked_by: Annotated[str, word("who checked it")] = ""
    approved_by: Annotated[str, word("who approved it")] = ""


class Study(Section):
    """A whole study file."""

    study: Annotated[General, word("title, kind of study, seed and number of samples")]
    machine: Annotated[Machine, word("the machine: rating, reactances, time constants, winding")]
    winding: Annotated[
        Winding | None,
        word("the stator's coils, for faults between turns and schemes that see them"),
    ] = None
    network: Annotated[
        Network, word("network at the machine's terminals, capacitances outside the zone")
    ] = Network()
    load: Annotated[Load, word("the load before any event")] = Load()
    states: Annotated[States, word("overload, breaker open, open CT circuit")] = States()
    earthing: Annotated[Earthing, word("the neutral's earthing")]
    ct: Annotated[CtPlaces, word("current transformers: all six, and what differs at one end")]
    scheme: Annotated[SchemeChoice, word("the differential scheme, or several to compare")]
    relay: Annotated[
        Relay, word("burdens, measured quantity, pick-up error, setting range and step")
    ] = Relay()
    backup: Annotated[
        Backup | None, word("neutral back-up (51N, 59N), reported beside the differential scheme")
    ] = None
    internal_faults: Annotated[
        InternalFaults, word("faults in the zone: how often, of what type, where")
    ]
    external_events: Annotated[
        tuple[ExternalEvent, ...], word("events outside the zone, each a table [[external_events]]")
    ]
    candidates: Annotated[Candidates, word("the settings to be judged, as grids")]
    policy: Annotated[Policy, word("limits that the chosen setting must meet")]
    correlations: Annotated[
        tuple[Correlation, ...], word("correlated inputs, each pair a table [[correlations]]")
    ] = ()
    fault_energy: Annotated[
        FaultEnergy | None, word("how long an earth fault lasts; for its energy")
    ] = None
    damage: Annotated[
        Damage | None, word("how the damage of an earth fault is counted; needs [fault_energy]")
    ] = None
    dependability: Annotated[
        Dependability | None,
        word("parts that may fail when a fault has to be cleared, and how often they are tested"),
    ] = None
    earthing_options: Annotated[
        tuple[EarthingOption, ...],
        word("options of neutral earthing to compare, each a table [[earthing_options]]"),
    ] = ()
    alternatives: Annotated[
        tuple[Alternative, ...],
        word(
            "the study with some keys changed, each a table [[alternatives]]; for study.kind ="
            ' "alternatives"'
        ),
    ] = ()
    waveforms: Annotated[
        Recording, word("sampling rate of the COMTRADE records and their time before the event")
    ] = Recording()
    document: Annotated[Document, word("number, revision and names on the report")] = Document()

    _moves: tuple[Moved, ...] = PrivateAttr(default=())
    _assumption_sets: tuple[tuple[str, Study], ...] = PrivateAttr(default=())
    _alternatives: tuple[tuple[str, Study], ...] = PrivateAttr(default=())
    _options: tuple[tuple[str, Study], ...] = PrivateAttr(default=())

    @property
    def ties(self) -> list[tuple[str, str, float]]:
        """The correlations as sampling takes them: one key, the other key, rho."""
        return [(*pair.between, pair.rho) for pair in self.correlations]

    @property
    def moves(self) -> tuple[Moved, ...]:
        """What reading moved or merged. Not part of the file, its schema or its digest."""
        return self._moves

    @property
    def assumption_sets(self) -> tuple[tuple[str, Study], ...]:
        """Name and study of each assumption set of the policy, beside the study as stated."""
        return self._assumption_sets

    @property
    def alternative_studies(self) -> tuple[tuple[str, Study], ...]:
        """Name and study of each alternative, beside the study as stated; each a setting sweep."""
        return self._alternatives

    @property
    def options(self) -> tuple[tuple[str, Study], ...]:
        """Name and study of each option of earthing: the study with that option in [earthing], a
        setting sweep."""
        return self._options

    @property
    def alone(self) -> Study:
        """The study as stated, without assumption sets and alternatives; small, as it travels with
        every chunk."""
        if not (self._assumption_sets or self._alternatives):
            return self
        copied = self.model_copy()
        copied._assumption_sets = copied._alternatives = ()
        return copied
