"""Samples without a result, as they are counted, told and refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from montecarlo.engine.guard import (
    WEIGHTED,
    Unresolved,
    counted,
    keep_to_limit,
    looked_at,
    named,
    weighted,
)
from montecarlo.errors import StudyError
from montecarlo.estimates.assemble import Gathered
from montecarlo.estimates.choose import judge, weights_of
from montecarlo.estimates.conditional import at_place, critical_position, winding_nodes
from montecarlo.estimates.counting import one_setting
from montecarlo.estimates.rare import Sums
from montecarlo.estimates.refusals import Rule, refusals_of
from montecarlo.estimates.tally import LatticeTally, Tally
from montecarlo.frames.unresolved import unresolved_frame, unresolved_numbers
from montecarlo.sampling.stratum import EARTH, LOAD, Stratum
from montecarlo.study.candidates import candidate_lattices
from studies.cli.output import write_table
from studies.report.notes import unresolved_sentence
from tests.made.studies import study_with

ROW = Unresolved("", 0, Stratum("external.near_fault"), "counted", 200, 2, 1, 1)
LATTICES = candidate_lattices(
    study_with({"candidates.phase_pickup_a": [0.1], "candidates.earth_pickup_a": [0.1]})
)


def lattice(*unresolved: float) -> LatticeTally:
    return LatticeTally(
        np.zeros((len(unresolved), 1, 1, 1)), np.full(len(unresolved), 10.0), np.array(unresolved)
    )


def test_the_candidate_that_has_most_is_counted_and_causes_add_over_chunks() -> None:
    tallies = [
        Tally((lattice(1, 0), lattice(0, 3)), causes=np.array([1.0, 3.0])),
        Tally((lattice(0, 0), lattice(2, 0)), causes=np.array([0.0, 2.0])),
        Tally((lattice(0, 0), lattice(0, 0))),
    ]
    row = counted(0, Stratum("internal.earth"), [tallies[0] + tallies[1], tallies[2]], LATTICES)
    assert (row.drawn, row.number, row.not_finite, row.not_converged) == (60, 5, 1, 5)
    assert row.circuit == "two_phase_one_earth with 300 ohm"
    none = counted(0, Stratum("state.load"), [tallies[2]], LATTICES)
    assert (none.number, none.circuit, none.why) == (0, "", "")


def test_weighted_samples_are_counted_by_their_number() -> None:
    lost = np.arange(256)[:, None] % [64, 32] == 0
    sums = Sums.of(np.zeros((256, 2), bool), np.full(256, np.log(0.5)), 10.0, lost)
    row = weighted(1, Stratum("external.near_fault"), sums, np.array([0.0, 8.0]), LATTICES)
    assert (row.samples, row.drawn, row.number, row.not_converged, row.batch) == (
        WEIGHTED,
        256,
        8,
        8,
        "independent sample",
    )
    assert row.circuit == "two_phase_one_earth with 300 ohm"


@pytest.mark.parametrize(
    ("limit", "number", "refused"),
    [(0.01, 2, False), (0.01, 3, True), (0.0, 0, False), (0.0, 1, True), (1.0, 200, False)],
)
def test_the_limit_is_the_last_share_allowed(limit: float, number: int, refused: bool) -> None:
    study, row = study_with({"study.unresolved_share_max": limit}), replace(ROW, number=number)
    if not refused:
        assert keep_to_limit(study, row) == (row,)
        return
    with pytest.raises(StudyError) as caught:
        keep_to_limit(study, ROW if limit else replace(ROW, number=0), row)
    (fault,) = caught.value.faults
    assert fault.startswith(
        f"study.unresolved_share_max: {limit:g}, and {number} of 200 samples ({number / 200:.3g})"
        " of external.near_fault, counted, selection sample gave no result: 1 driven by a value"
        " that is not finite, 1 not converged; narrow the widest input ranges"
    )
    assert "\n" not in fault


def test_one_percent_unless_the_study_says_otherwise() -> None:
    assert study_with().study.unresolved_share_max == 0.01
    assert looked_at(study_with(), Stratum("internal.earth"), "drivers", 1, 100)[0].share == 0.01


def test_none_is_told_as_well_as_some() -> None:
    clean = replace(ROW, number=0, not_finite=0, not_converged=0)
    assert unresolved_sentence([clean, clean]) == "Samples without a result: none of 400."
    assert unresolved_sentence([]) == ""
    text = unresolved_sentence([clean, ROW])
    assert text.startswith(
        "Samples without a result: 2 of 400, at most 1 % of a type (external.near_fault, counted,"
        " selection sample: 1 driven by a value that is not finite, 1 not converged)."
    )


def test_names_say_of_which_assumption_set_of_which_alternative() -> None:
    (row,) = named(named([ROW], "slow clearing"), "alternative two")
    assert (
        row.name == "external.near_fault, counted, selection sample, alternative two, slow clearing"
    )
    assert unresolved_numbers([ROW, row]) == {ROW.name: "2 of 200", row.name: "2 of 200"}


def test_the_table_has_the_worst_first_and_empty_cells_where_nobody_looked(
    tmp_path: object,
) -> None:
    unseen = replace(
        ROW,
        stratum=EARTH,
        samples="energy",
        number=100,
        not_finite=None,
        not_converged=None,
    )
    frame = unresolved_frame([ROW, unseen])
    assert frame["type"].tolist() == ["earth", "near_fault"]
    assert frame["unresolved_share"].tolist() == [0.5, 0.01]
    assert frame["not_finite"].isna().tolist() == [True, False]
    assert len(unresolved_frame([])) == 0


def test_whole_numbers_stay_whole_in_the_file(tmp_path: object) -> None:
    from pathlib import Path

    path = Path(str(tmp_path)) / "unresolved.csv"
    write_table(unresolved_frame([ROW]), path)
    line = path.read_text().splitlines()[1]
    assert line.startswith("external,near_fault,counted,1,,200,2,0.01,1,1,,")
    assert line.endswith(",external")


# --- nothing that is not finite reaches a sum ---------------------------------


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_a_current_that_is_not_finite_has_no_critical_position(bad: float) -> None:
    nodes = winding_nodes(15)
    currents = np.repeat(nodes[None] * 10, 3, axis=0)
    currents[1, 7] = bad
    x, _ = critical_position(nodes, currents, [1.0])
    assert np.isfinite(x[:, 0]).tolist() == [True, False, True]
    assert np.isfinite(at_place(nodes, currents, np.array([0.5, 0.5, 0.5]))).tolist() == [
        True,
        False,
        True,
    ]


@pytest.mark.parametrize("along", [None, np.arange(8.0)])
def test_what_belongs_to_no_candidate_keeps_its_unresolved_apart(along: np.ndarray | None) -> None:
    y = np.array([1, 0, np.nan, 1, 0, 0, 1, np.inf])
    tally = one_setting(y, 2, along=along)
    assert tally.total.ravel().tolist() == [2, 1]
    assert tally.unresolved.tolist() == [1, 1]
    assert tally.trials.tolist() == [4, 4]
    if tally.noise is not None:
        assert np.isfinite(tally.noise).all()


def test_a_load_without_any_result_is_not_taken_for_quiet() -> None:
    study = study_with({"candidates.phase_pickup_a": [0.1], "candidates.earth_pickup_a": [0.1]})
    strata = {
        name: Gathered(
            name, np.zeros((2, 16)), np.full(16, 4.0), np.zeros((2, 16)), None, None, None, None
        )
        for name in (*weights_of(study).internal, *weights_of(study).external, LOAD)
    }
    assert judge(study, LATTICES, strata).usable.all()
    strata["state.load"].unresolved[1] = 4.0
    judged = judge(study, LATTICES, strata)
    assert judged.usable.tolist() == [True, False]
    assert refusals_of(study, judged, 1)[0].rule is Rule.NO_LOAD_RESULT
