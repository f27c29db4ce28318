"""Why a candidate is refused, from numbers to words."""

from __future__ import annotations

import numpy as np
import pytest

from montecarlo.engine.guard import COUNTED, EFFECTS, ENERGY, ROWS, WEIGHTED, Unresolved
from montecarlo.estimates.rare import Trust, Why
from montecarlo.estimates.refusals import NoneUsable, Refusal, Rule, refusals_of, stated_refusals
from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.choosing import Hinge
from montecarlo.frames.unresolved import unresolved_frame
from montecarlo.sampling.stratum import EARTH, Stratum
from studies.report.refusals import SHORT, because, in_words, note_parts, note_text
from tests.made.studies import study_with
from tests.unit.montecarlo.estimates.test_robust import judged

LOAD = Refusal(Rule.ON_LOAD, 0.25, 0.0)
FALSE = Refusal(Rule.FALSE_TRIPS, 0.02, 0.01, samples=1200)
NEAR = Refusal(Rule.EVENT, 0.089, 0.05, "near_fault")
FAR = Refusal(Rule.EVENT, 0.3, 0.05, "far_fault")


def test_every_rule_has_its_words() -> None:
    assert set(SHORT) == set(Rule) - {Rule.NONE_USABLE}
    assert all(note_text([Refusal(rule, 0.2, 0.1, "near_fault")]) for rule in SHORT)


def test_a_note_tells_the_worst_kind_and_no_knee_beside_the_load() -> None:
    assert note_parts([LOAD, Refusal(Rule.KNEE), FALSE, NEAR, FAR]) == [
        "operates on load",
        "upper limit of p_false above 0.01",
        "upper limit of p_false in far_fault above 0.05",
        "none seen; about 1,200 samples without one would show the limit",
    ]
    assert note_text([]) == ""
    assert note_text([NoneUsable(12, 5, in_assumption_sets=False)]).startswith(
        "none of 12 candidates"
    )
    assert "in every assumption set: 5 operate" in note_text(
        [NoneUsable(12, 5, in_assumption_sets=True)]
    )


def test_a_hinge_tells_every_rule_and_where_it_refuses() -> None:
    found = because(Hinge(3, 0.1, 0.1, 0.1, (LOAD, NEAR, FAR), ("hard",), own_batch=True, batch=2))
    assert found == (
        "it operates in 25 % of the sampled loads and its false trips are bounded by 8.9 % in"
        " near_fault and 30 % in far_fault, and the policy allows 5 % in each kind of event,"
        ' refused in "hard" in the selection sample'
    )
    assert "independent sample" in because(Hinge(3, 0.1, 0.1, 0.1, ()))


def test_numbers_of_a_refusal_are_those_of_the_judgement() -> None:
    study = study_with({"policy": {"p_false_max": 0.01}, "study.samples": 512})
    found = judged([0.1, 0.2, 0.3], [0.02, 0.0, 0.0], allowed=np.array([False, False, True]))
    found.bound[1] = 0.03
    assert refusals_of(study, found, 0) == (Refusal(Rule.FALSE_TRIPS, 1.5 * 0.02, 0.01),)
    (none_seen,) = refusals_of(study, found, 1)
    assert none_seen.samples == 1600  # 512 x 3, rounded up to two digits
    assert refusals_of(study, found, 2) == ()


def test_what_only_an_assumption_set_refuses_is_refused_by_an_assumption_set() -> None:
    study = study_with({"policy": {"p_false_max": 0.01}})
    stated = judged([0.1, 0.2, 0.3], [0, 0, 0])
    worst = judged([0.1, 0.2, 0.3], [0, 0, 0], usable=np.array([True, False, True]))
    found = [stated_refusals(study, stated, worst, at) for at in range(3)]
    assert [[one.rule for one in each] for each in found] == [[], [Rule.ASSUMPTION_SET], []]


@pytest.mark.parametrize("name", ["refusals", "verdict"])
def test_tables_are_written_in_words(name: str) -> None:
    import pandas as pd

    frame = pd.DataFrame(
        {
            "refusals": [(), (LOAD, FALSE)],
            "verdict": [Verdict.ALIKE, Trust(Why.GOOD)],  # of a difference, of weighted samples
        }
    )[["refusals", "verdict"] if name == "refusals" else ["verdict"]]
    told = in_words(frame)
    assert list(told["verdict"]) == ["no significant difference", "good"]
    assert ("refusals" in told) is False
    if name == "refusals":
        assert list(told.columns) == ["note", "verdict"]
        assert told["note"][0] == ""
        assert told["note"][1].startswith(
            "operates on load; upper limit of p_false above 0.01; none seen"
        )


@pytest.mark.parametrize("samples", [COUNTED, WEIGHTED, ENERGY, EFFECTS, ROWS])
@pytest.mark.parametrize("stratum", [EARTH, Stratum("state.load"), Stratum("external.near_fault")])
def test_every_sample_without_a_result_says_how_it_counts(stratum: Stratum, samples: str) -> None:
    frame = unresolved_frame([Unresolved("", 0, stratum, samples, 200, 2, 1, 1)])
    assert in_words(frame)["counted_as"].str.len().item() > 20


def test_a_note_that_nothing_is_to_say_of_is_empty() -> None:
    import pandas as pd

    frame = pd.DataFrame({"note": [None, Trust(Why.NOTHING)], "widened_note": [None, None]})
    told = in_words(frame)
    assert list(told["note"]) == ["", "nothing seen: only an upper limit"]
    assert list(told["widened_note"]) == ["", ""]
