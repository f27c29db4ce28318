"""What speaks against a choice: kinds of event that always trip or make most of the false trips."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from montecarlo.engine.batch import Batch
from montecarlo.estimates.assemble import Gathered
from montecarlo.estimates.choose import weights_of
from montecarlo.frames.doubts import DoubtKind, EventDoubt, as_data, event_doubts
from montecarlo.sampling.stratum import LOAD, Stratum
from montecarlo.study.candidates import End
from montecarlo.study.description import Study
from studies.report.blocks import Caution, Paragraph
from studies.sweep.doubts import BEYOND, doubts_text, of_each
from studies.sweep.text import result_text
from tests.made import results
from tests.made.said import words
from tests.made.studies import study_with
from tests.unit.studies.sweep.test_result_text import finished

NEAR = Stratum("external.near_fault")
TRIALS = np.full(16, 128.0)  # 2,048 samples on 16 installations
ONE = {"candidates.phase_pickup_a": [0.1], "candidates.earth_pickup_a": [0.1]}
EACH = {"policy": {"p_false_max": 0.5, "p_false_max_each": 0.05}}


def counted(name: Stratum, *hits: float) -> Gathered:
    """Hits of each candidate among 2,048 samples, spread evenly."""
    total = np.stack([np.full(16, each / 16) for each in hits])
    return Gathered(name, total, TRIALS, np.zeros(total.shape), None, None, None, None)


def strata(study: Study, **hits: tuple[float, float]) -> dict[Stratum, Gathered]:
    """Of two candidates; none unless given, by the last part of the type's name."""
    weight = weights_of(study)
    return {
        name: counted(name, *hits.get(name.kind, (0.0, 0.0)))
        for name in (*weight.internal, *weight.external, LOAD)
    }


def doubts(study: Study, **hits: tuple[float, float]) -> list[EventDoubt]:
    return [*event_doubts(study, cast("Batch", SimpleNamespace(strata=strata(study, **hits))), 0)]


def test_a_kind_that_always_trips_is_told_however_rare_it_is() -> None:
    """near_fault is a sixth of the events; with a rate of a thousandth the mix shows 0.1 %."""
    study = study_with({"external_events.near_fault.per_year": 0.001})
    found = doubts(study, near_fault=(2048, 0))
    assert [(one.why, one.event) for one in found] == [
        (DoubtKind.TRIPS_OFTEN, "near_fault"),
        (DoubtKind.MAKES_MOST, "near_fault"),
    ][: len(found)]
    assert found[0].value == 1
    assert found[0].limit == 0.2
    assert found[0].share == pytest.approx(0.001 / 1.001)
    first, *_ = doubts_text(found, 7)
    assert isinstance(first, Caution)
    assert first.text.startswith("no. 7 trips falsely on 100 % (99.")
    told = "of the near_fault events, more than 20 %. These are 0.1 % of the external events"
    assert told in first.text


def test_most_of_the_false_trips_in_one_kind_are_told_where_the_counts_can_say_so() -> None:
    study = study_with()  # near_fault 0.2 a year, far_fault 1 a year
    (found,) = doubts(study, near_fault=(300, 0), far_fault=(6, 0))
    assert (found.why, found.event) == (DoubtKind.MAKES_MOST, "near_fault")
    assert found.low > 0.5
    assert found.value == pytest.approx(0.2 * 300 / (0.2 * 300 + 6))
    assert doubts(study) == []  # nothing seen says nothing
    assert doubts(study, near_fault=(3, 0)) == []  # nor do three hits
    assert (
        doubts(study, near_fault=(100, 0), far_fault=(16, 0)) == []
    )  # 56 %, and its interval holds a half


def test_a_study_with_one_kind_of_event_has_no_mix() -> None:
    study = study_with(
        {
            "external_events": [
                {
                    "name": "only",
                    "kind": "three_phase",
                    "per_year": 1,
                    "external_reactance_pu": 0.2,
                    "clearing_time_s": 0.1,
                }
            ]
        }
    )
    assert doubts(study, only=(200, 0)) == []
    assert [one.why for one in doubts(study, only=(900, 0))] == [DoubtKind.TRIPS_OFTEN]


def test_the_recommendation_carries_its_cautions() -> None:
    event = EventDoubt(DoubtKind.TRIPS_OFTEN, "near_fault", 1.0, 0.998, 1.0, 0.2, 0.0074)
    end = End("delay_s", 0.1, 0.0, 0.1)
    text = words(
        result_text(finished(results.candidates(), chosen=5, runner_up=6, doubts=(event, end)))
    )
    assert "Caution: no. 5 trips falsely on 100 % (99.8 to 100 %) of the near_fault events" in text
    assert "No. 5 stands at an end of the grid: delay 0.1 s (highest)." in text
    assert (
        text.index("Recommended setting: no. 5")
        < text.index("Caution: no. 5")
        < text.index("Median protected part of the winding")
    )


def test_cautions_stand_in_the_record_as_numbers() -> None:
    event = EventDoubt(DoubtKind.MAKES_MOST, "near_fault", 0.9, 0.8, 1.0, 0.5, 0.1)
    assert as_data(event) == {
        "kind": "makes_most",
        "event": "near_fault",
        "value": 0.9,
        "low": 0.8,
        "high": 1.0,
        "limit": 0.5,
        "share": 0.1,
    }
    assert as_data(End("delay_s", 0.1, 0.0, 0.1)) == {
        "kind": "end_of_range",
        "axis": "delay_s",
        "value": 0.1,
        "low": 0.0,
        "high": 0.1,
    }


def test_alike_cautions_of_several_choices_are_told_once() -> None:
    end = End("delay_s", 0.1, 0.0, 0.1)
    one, beyond = of_each({"a": (3, (end,)), "b": (3, (end,)), "c": (4, ())})
    assert isinstance(one, Paragraph)
    assert one.text.startswith('"a" and "b": no. 3 stands at an end')
    assert beyond == Paragraph(BEYOND)
