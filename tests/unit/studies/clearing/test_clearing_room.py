"""Sentences and figures of who clears a fault: the numbers of the tables, and no more."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from montecarlo.engine import clearing_inputs
from montecarlo.engine.progress import silent
from montecarlo.engine.workers import workers_of
from montecarlo.frames.clearing import NOBODY, RATE_WORDS, ClearingFrames
from montecarlo.frames.damage import ALL
from montecarlo.frames.limits import limit_columns
from montecarlo.relays.backup import ELEMENTS
from studies.clearing.figures import damage, failures_by_interval, who_clears
from studies.clearing.run import DAMAGE, INPUTS, clearing
from studies.clearing.text import clearing_text, inputs_text
from studies.report.blocks import Items
from studies.report.look import look
from studies.report.numbers import percent, with_limits
from studies.sweep.recommendation import nobody_clears, worth
from tests.made import results
from tests.made.clearing import SMALL, TIMES, followed, part, with_parts
from tests.made.studies import study_with

BOTH: dict[str, Any] = with_parts(
    part("relay", "phase_elements", "earth_element", spurious_per_year=0.01),
    part("trip_supply", "phase_elements", "earth_element", "neutral_voltage", rate=0.01),
) | {
    "fault_energy": TIMES,
    "damage": {"exponent": 1.5, "zones": [{"name": "one coil", "current_a": 10, "time_s": 1}]},
}


@pytest.fixture(scope="module")
def found() -> ClearingFrames:
    return ClearingFrames(followed(BOTH))


def test_the_sentences_have_the_tables_numbers(found: ClearingFrames) -> None:
    text = " ".join(clearing_text(found))
    rows = found.who_clears().set_index(["type", "failure_rates", "path"])["p"]
    for words in RATE_WORDS.values():
        assert percent(rows[ALL, words, NOBODY], 3) in text
    assert "Parts trip by themselves 0.01 times a year" in text
    assert "The part most likely to fail on demand is the relay: 5 %" in text
    assert "2 years" in text
    assert "one coil" in text
    mean = found.damage().set_index("path").loc[ALL, "mean_s"]
    assert f"as much damage as 10 A in {mean:,.3g} s" in text.replace("e+0", "e0")


def test_without_failures_and_damage_the_sentences_are_few() -> None:
    (only,) = clearing_text(ClearingFrames(followed({})))
    assert only.startswith("Internal faults within the scheme's scope are cleared first by")


def test_the_curve_of_damage_ends_at_the_tables_ends(found: ClearingFrames) -> None:
    seconds, share, nobody = found.above(200)
    rows = found.damage().set_index("path")
    assert (np.diff(share) <= 1e-12).all()
    assert share[-1] == pytest.approx(0, abs=1e-9)
    assert nobody[0] <= rows.loc[NOBODY, "p"] + 1e-12
    assert (nobody <= share + 1e-12).all()
    half = seconds[int(np.argmax(share < 0.5))]
    assert half == pytest.approx(rows.loc[ALL, "median_s"], rel=0.15)


def test_figures_are_drawn_from_the_tables(found: ClearingFrames) -> None:
    with look():
        bars = who_clears(found.who_clears()).axes[0]
        curve = damage(*found.above(100), 10.0).axes[0]
        tests = failures_by_interval(found.tests()).axes[0]
    widths = sum(patch.get_width() for patch in bars.patches)  # type: ignore[attr-defined]
    assert widths == pytest.approx(100 * found.who_clears()["type"].nunique(), rel=1e-6)
    assert [line.get_label() for line in curve.lines] == ["all earth faults", "nobody clears them"]
    assert [*tests.lines[0].get_xdata()] == [0.5, 1, 2, 4, 8]  # type: ignore[arg-type]


def test_no_input_is_named_where_none_changes_the_damage(found: ClearingFrames) -> None:
    import pandas as pd

    row = {"input": "a", "way": "higher", "by": 1.0, "unit": "s", "damage_change_share": 0.2}
    low, high = "damage_change_s_low", "damage_change_s_high"
    assert [*inputs_text(pd.DataFrame([row | {low: -1.0, high: 1.0}]))] == []
    (said,) = inputs_text(pd.DataFrame([row | {low: 1.0, high: 2.0}]))
    assert "A higher by 1 s (+20 %)" in said


def test_the_answer_of_a_sweep_says_how_often_nobody_clears(found: ClearingFrames) -> None:
    study, row = found.clearing.study, results.candidates().iloc[0].to_dict()
    own = nobody_clears(cast(Any, SimpleNamespace(chosen=3, cleared=found)))
    assert [*own] == [3]
    line = (
        "With back-up and failures of parts counted, nobody clears"
        f" {with_limits(own[3], 'p_nobody')}."
    )
    without = [*worth(study, row)]
    assert [*worth(study, row, own[3])] == [without[0], line, *without[1:]]
    assert own[3]["p_nobody"] == found.nobody().p
    assert nobody_clears(cast(Any, SimpleNamespace(chosen=3, cleared=None))) == {}


def test_failures_of_parts_are_said_to_be_counted_where_they_are(found: ClearingFrames) -> None:
    own = limit_columns("p_nobody", (0.1, 0.05, 0.2))
    row, study = results.candidates().iloc[0].to_dict(), found.clearing.study
    without = study.model_copy(update={"dependability": None})
    assert "nobody" not in " ".join(worth(study, row))
    for text, counted in (
        (worth(without, row | own), "With back-up counted"),
        (worth(without, row, own), "With back-up counted"),
        (worth(study, row | own), "With back-up counted and all parts sound"),
        (worth(study, row | limit_columns("p_nobody", (0, 0, 0)), own), "With back-up and"),
    ):
        (said,) = (line for line in text if "nobody" in line)
        assert said.startswith(counted)
        assert said.endswith("nobody clears 10 % (5 to 20 %).")


def test_back_up_is_said_to_be_counted_where_there_is_one(found: ClearingFrames) -> None:
    own = limit_columns("p_nobody", (0.1, 0.05, 0.2))
    row, study = results.candidates().iloc[0].to_dict(), found.clearing.study
    for backup in (None, study.backup and study.backup.model_copy(update=dict.fromkeys(ELEMENTS))):
        alone = study.model_copy(update={"backup": backup})
        (said,) = (line for line in worth(alone, row, own) if "nobody" in line)
        assert said == "With failures of parts counted, nobody clears 10 % (5 to 20 %)."
        bare = alone.model_copy(update={"dependability": None})
        assert "nobody" not in " ".join(worth(bare, row, own))


def test_no_table_of_inputs_where_none_changes_the_damage(monkeypatch: pytest.MonkeyPatch) -> None:
    import pandas as pd

    study = study_with(SMALL | BOTH)
    cleared = ClearingFrames(followed(BOTH))
    result = cast(Any, SimpleNamespace(study=study, chosen=None, cleared=cleared))
    whole = clearing(result, workers_of(1), silent)
    with monkeypatch.context() as nothing:
        nothing.setattr("studies.clearing.run.inputs_frame", lambda *_: pd.DataFrame())
        without_effect = clearing(result, workers_of(1), silent)
    monkeypatch.setattr(clearing_inputs, "uncertain_inputs", lambda _: [])
    for fewer in (without_effect, clearing(result, workers_of(1), silent)):
        assert [*whole.frames] == [*fewer.frames, INPUTS]
        assert DAMAGE in fewer.frames
        said, left = (cast(Items, part.text[-1]).texts for part in (whole, fewer))
        assert left == said[:-1]
