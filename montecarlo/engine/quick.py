"""A first rough run: the first part of a study's own samples, without what costs more than that.

Its numbers are those with which the whole run begins, since more samples only append events to each
installation (`sampling/design.py`)."""

from __future__ import annotations

import math
from dataclasses import dataclass

from montecarlo.engine.sizes import Sizes, designs, with_sizes
from montecarlo.study.budget import earth_fault_samples, too_few, weighted_samples
from montecarlo.study.description import Study

PART = 16  # of the events of each installation, one in so many, unless the policy needs more
# Times the samples that show a limit without a false trip show it with one: the upper limits of 0
# and 1 events are 3.00 and 4.74 at 95 % (Clopper and Pearson, Biometrika 26, 1934, 404-413).
ONE_TRIP = 1.6


@dataclass(frozen=True)
class Rough:
    """What a rough run takes, and what of the study it leaves out.

    Attributes
    ----------
    samples, of_samples : int
        Of each counted type, and how many the whole run draws.
    earth_faults, of_earth_faults : int
        The second is 0 where the study has none.
    shows_limit : bool
        Whether counted samples can show the policy's limit of false trips.
    weighted, precision, other_model : bool
        Whether the study asks for these, which are left out: weighted samples of rare false trips,
        a stated precision, the other remanence model.
    """

    samples: int
    of_samples: int
    earth_faults: int
    of_earth_faults: int
    shows_limit: bool
    weighted: bool
    precision: bool
    other_model: bool


def rough_run(study: Study) -> tuple[Study, Rough]:
    """The study as a rough run draws it; its assumption sets, alternatives and options too.

    Parameters
    ----------
    study : Study

    Returns
    -------
    Study
    Rough
    """
    general, small = study.study, _smaller(study, _sizes(study))
    counted, earth = designs(small)
    all_counted, all_earth = designs(study)
    has_earth = study.internal_faults.shares.earth > 0
    return small, Rough(
        counted.samples_drawn,
        all_counted.samples_drawn,
        earth.samples_drawn,
        all_earth.samples_drawn if has_earth else 0,
        not too_few(small),
        weighted_samples(study) > 0,
        general.precision is not None,
        general.compare_remanence_models,
    )


def _sizes(study: Study) -> dict[str, object]:
    """Keys of [study] that a rough run changes."""
    left_out: dict[str, object] = {
        "rare_samples": 0,
        "precision": None,
        "compare_remanence_models": False,
        "radius": False,
        "racing": False,  # rounds take longer than they save of so few samples
    }
    counted, earth = designs(study)
    installations = counted.installations_rounded
    part: Sizes = {
        "samples": installations * math.ceil(counted.events_per_installation / PART),
        "earth_fault_samples": installations * max(earth.events_per_installation // PART, 1),
    }
    first = with_sizes(study, {**part, "rare_samples": 0})
    more = max((one.needed / first.study.samples for one in too_few(first)), default=0.0)
    grown = {key: math.ceil(size * more * ONE_TRIP) for key, size in part.items()} if more else part
    drawn = {
        "samples": min(grown["samples"], counted.samples_drawn),
        "earth_fault_samples": part["earth_fault_samples"],
    }
    if study.states.open_ct_circuit_counts:  # its samples are as many as the earth faults
        drawn["earth_fault_samples"] = min(grown["earth_fault_samples"], earth_fault_samples(study))
    return {**drawn, **left_out}


def _smaller(study: Study, sizes: dict[str, object]) -> Study:
    general = study.study.model_copy(update=sizes)
    small = study.model_copy(update={"study": general})
    small._assumption_sets = _all_smaller(study.assumption_sets, sizes)
    small._alternatives = _all_smaller(study.alternative_studies, sizes)
    small._options = _all_smaller(study.options, sizes)
    return small


def _all_smaller(
    studies: tuple[tuple[str, Study], ...], sizes: dict[str, object]
) -> tuple[tuple[str, Study], ...]:
    return tuple((name, _smaller(other, sizes)) for name, other in studies)
