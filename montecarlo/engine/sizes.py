"""How much a batch draws of every type, and whether this machine can hold it."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping, Sequence

from montecarlo.engine.densities import search_bytes
from montecarlo.errors import StudyError
from montecarlo.sampling.design import BLOCKS, Design
from montecarlo.sampling.nets import POINTS_MAX
from montecarlo.study.budget import earth_fault_samples, weighted_samples
from montecarlo.study.candidates import Lattice, candidate_lattices
from montecarlo.study.clearing_checks import paths_of
from montecarlo.study.description import Study

CELLS_MAX = 40_000_000  # installations x candidates that the tables may hold
SAMPLES_MAX = 10**9  # of a type: a task of external events is then half a minute's work
BYTES_EACH = 30_000  # of a run's memory, measured: a candidate's rows,
BYTES_AN_INSTALLATION = 550  # and its tallies on each installation

BYTES_A_PATH = 400  # of each earth fault and path whose damage is kept, measured
BYTES_A_PATH_IN_TABLES = 500  # the same while its tables are made

Sizes = Mapping[str, int]  # keys of [study] that differ from what the study states


def designs(study: Study) -> tuple[Design, Design]:
    """Of the counted types and of earth faults, which are solved along the whole winding.

    Parameters
    ----------
    study : Study

    Returns
    -------
    Design, Design
    """
    general = study.study
    return Design(general.installations, general.samples), Design(
        general.installations, earth_fault_samples(study), net=True
    )


def first_part(study: Study, part: int, earth_part: int) -> dict[str, int]:
    """Sizes of the first part of a study's samples, at least one on each installation.

    Parameters
    ----------
    study : Study
    part, earth_part : int
        One in so many of the samples of each counted type, and of the earth faults.

    Returns
    -------
    dict of str to int
        Keys of [study].
    """
    general = study.study
    earth = earth_fault_samples(study)
    return {
        "samples": max(general.samples // part, general.installations),
        "earth_fault_samples": max(earth // earth_part, general.installations),
    }


def with_sizes(study: Study, sizes: Sizes) -> Study:
    """The study drawn in other sizes.

    Parameters
    ----------
    study : Study
    sizes : mapping of str to int

    Returns
    -------
    Study
    """
    return study.model_copy(update={"study": study.study.model_copy(update=dict(sizes))})


def memory_bytes() -> float:
    """Memory of this machine; infinite where it does not say. [bytes]

    Returns
    -------
    float
    """
    try:
        return float(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES"))
    except (AttributeError, OSError, ValueError):
        return math.inf


def check_sizes(study: Study) -> None:
    """Of the study, its alternatives and its options of earthing, as `run` would.

    Parameters
    ----------
    study : Study

    Raises
    ------
    StudyError
    """
    for one in (study, *(other for _, other in (*study.alternative_studies, *study.options))):
        check_size(one, candidate_lattices(one))


def memory_needed(lattices: Sequence[Lattice], earth: Design) -> float:
    """About what a run takes beside what every run does: tables, tallies, and of each earth
    fault its resistance and the critical position at each phase and earth setting, in single
    precision. [bytes]

    Parameters
    ----------
    lattices : sequence of Lattice
    earth : Design
        Of earth faults.

    Returns
    -------
    float
    """
    candidates = sum(math.prod(lattice.shape) for lattice in lattices)
    places = sum(
        (phases + earths) * delays + 1
        for phases, earths, delays in (each.shape for each in lattices)
    )
    return (
        candidates * (BYTES_EACH + BYTES_AN_INSTALLATION * earth.installations_rounded)
        + 4 * places * earth.samples_drawn
    )


def damage_bytes(study: Study) -> float:
    """About what the damage of all earth faults takes, of every study that is compared. [bytes]

    Parameters
    ----------
    study : Study

    Returns
    -------
    float
        0 without [damage].
    """
    if study.damage is None:
        return 0.0
    compared = max(len(study.options), 1 + len(study.alternative_studies))
    each = BYTES_A_PATH * compared + BYTES_A_PATH_IN_TABLES
    return float(each * (len(paths_of(study)) + 1) * designs(study)[1].samples_drawn)


def check_size(study: Study, lattices: Sequence[Lattice]) -> None:
    """Samples, installations and candidates within what tables and memory hold.

    Parameters
    ----------
    study : Study
    lattices : sequence of Lattice
        The candidates.

    Raises
    ------
    StudyError
    """
    candidates = sum(math.prod(lattice.shape) for lattice in lattices)
    cells = candidates * Design(study.study.installations, 1).installations_rounded
    if cells > CELLS_MAX:
        raise StudyError(
            f"study.installations: {study.study.installations} installations x {candidates}"
            f" candidates = {cells} cells, at most {CELLS_MAX}; lower study.installations or thin"
            " the grids in [candidates]"
        )
    earth = designs(study)[1]
    if earth.samples_drawn > (most := BLOCKS * POINTS_MAX):
        general = study.study
        key = (
            "study.earth_fault_samples"
            if general.earth_fault_samples
            else "study.samples (or --samples)"
        )
        asked = general.earth_fault_samples or general.samples
        raise StudyError(
            f"{key}: {asked} would be {earth.samples_drawn} earth faults"
            " (study.earth_fault_samples, samples/8 unless given, rounded up to a power of two),"
            f" at most {most}; give fewer"
        )
    if study.study.samples > SAMPLES_MAX:
        raise StudyError(
            f"study.samples (or --samples): {study.study.samples}, at most {SAMPLES_MAX}; give"
            " fewer"
        )
    precision = study.study.precision
    if precision is not None and precision.most_samples > SAMPLES_MAX:
        raise StudyError(
            f"study.precision.most_samples: {precision.most_samples}, at most {SAMPLES_MAX}; give"
            " fewer"
        )
    if (need := memory_needed(lattices, earth)) > (here := memory_bytes()):
        raise StudyError(
            f"candidates: {candidates} settings on {earth.installations_rounded} installations and"
            f" {earth.samples_drawn} earth faults need about {need / 1e9:.1f} GB, and this machine"
            f" has {here / 1e9:.1f} GB; thin the grids in [candidates], or lower"
            " study.installations or study.earth_fault_samples"
        )
    if (need := damage_bytes(study)) > here:
        raise StudyError(
            f"study.earth_fault_samples: {earth.samples_drawn} earth faults whose damage is counted"
            f" need about {need / 1e9:.1f} GB, and this machine has {here / 1e9:.1f} GB; give fewer"
        )
    if (need := search_bytes(study, lattices)) > here:
        raise StudyError(
            f"study.rare_samples: {weighted_samples(study)} weighted samples of an event"
            " (study.samples unless given) are sought in memory where study.racing is false, which"
            f" needs about {need / 1e9:.1f} GB, and this machine has {here / 1e9:.1f} GB; give"
            " fewer, or study.racing = true"
        )
