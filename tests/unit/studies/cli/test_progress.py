"""What a person sees of a run: which stage of how many, whole counts, one estimate of all."""

from __future__ import annotations

from contextlib import closing
from typing import Any

import pytest

from montecarlo.engine.progress import COMPILING
from montecarlo.engine.stages import Stage
from montecarlo.quantities.compiled import KeptCode, when_compiling
from studies import KINDS
from studies.cli.progress import Bar, Plan, line, time_left
from tests.made.studies import study_with

STAGES = (Stage("one", 100), Stage("two", 300), Stage("three", 100), Stage("writing", 100))


class Terminal:
    """A stderr that says it is a terminal."""

    encoding = "utf-8"

    def __init__(self) -> None:
        self.text = ""

    def write(self, text: str) -> int:
        self.text += text
        return len(text)

    def flush(self) -> None: ...

    def isatty(self) -> bool:
        return True


class Clock:
    """A second each time that somebody looks."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        self.now += 1.0
        return self.now


def test_the_share_is_of_the_work_of_all_stages() -> None:
    plan = Plan(STAGES)
    plan.begin("one")
    assert (plan.number, plan.total, plan.share) == (1, 4, 0.0)
    plan.part = 0.5
    assert plan.share == pytest.approx(50 / 600)
    plan.begin("two")
    plan.part = 0.5
    assert (plan.number, plan.total) == (2, 4)
    assert plan.share == pytest.approx(250 / 600)


def test_what_does_not_come_is_left_out_and_what_comes_again_is_added() -> None:
    plan = Plan(STAGES)
    for what in ("one", "three"):
        plan.begin(what)
    assert (plan.number, plan.total, plan.added) == (2, 3, 0)
    plan.part = 1.0
    assert plan.share == pytest.approx(200 / 300)
    plan.begin("one")  # once more, as long as it was
    assert (plan.number, plan.total, plan.added) == (3, 4, 1)
    assert plan.share == pytest.approx(200 / 400)
    plan.begin("never heard of")
    plan.begin("writing")
    assert (plan.number, plan.total, plan.added) == (5, 5, 2)
    plan.part = 1.0
    assert plan.share == 1.0


@pytest.mark.parametrize(
    ("share", "elapsed_s", "said"),
    [
        (0.01, 60.0, "time left not known yet"),
        (0.5, 1.0, "time left not known yet"),
        (0.5, 44.0, "about 40 s left"),
        (0.999, 60.0, "about 10 s left"),
        (0.25, 60.0, "about 3 min left"),
        (0.02, 200.0, "about 2.5 h left"),
    ],
)
def test_the_time_left_is_rounded_to_what_is_known(
    share: float, elapsed_s: float, said: str
) -> None:
    assert time_left(share, elapsed_s) == said


def test_a_line_has_stage_whole_counts_and_one_estimate_in_any_width() -> None:
    plan = Plan(STAGES)
    plan.begin("one")
    plan.begin("two")
    plan.part = 0.5
    found = line(plan, 524_288, 1_048_576, 50.0, 100)
    assert found.startswith("stage 2 of 4, two |###")
    assert found.endswith(" | 524,288 of 1,048,576, about 70 s left")
    assert len(found) == 100
    assert line(plan, 5, 10, 50.0, 50) == "stage 2 of 4, two: 5 of 10, about 70 s left"
    for width in range(20, 120):
        assert len(line(plan, 524_288, 1_048_576, 50.0, width)) <= width
    plan.begin("one")
    assert "stage 3 of 5 (1 added), one" in line(plan, 0, 10, 50.0, 100)


def test_a_run_is_one_line_that_is_taken_away(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stderr", terminal := Terminal())
    monkeypatch.setenv("COLUMNS", "80")
    with closing(Bar(STAGES, Clock())) as progress:
        progress(0, 0, COMPILING)
        for stage in STAGES:
            for done in range(5):
                progress(done * 1000, 4000, stage.what)
    first, *drawn = terminal.text.split("\r")
    assert first == "compiling the solvers (first use only) ...\n"
    assert max(map(len, drawn)) < 80
    assert [text for text in drawn if text.startswith("stage 2 of 4, two |")]
    assert "2,000 of 4,000" in terminal.text
    assert terminal.text.endswith(" \r")
    assert "\n" not in "".join(drawn)
    assert "\x1b" not in terminal.text  # no colour, whatever NO_COLOR says


def test_nothing_is_drawn_where_nobody_looks(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with closing(Bar(STAGES)) as progress:
        progress(0, 10, "one")
        progress(10, 10, "one")
        progress.note("something")
    assert capsys.readouterr() == ("", "")


def test_many_small_steps_are_not_all_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stderr", terminal := Terminal())
    with closing(Bar(STAGES, lambda: 5.0)) as progress:
        for done in range(1001):
            progress(done, 1000, "one")
    assert terminal.text.count("\r") == 4  # begun, done, and taken away


SMALL: dict[str, Any] = {
    "study.samples": 128,
    "study.installations": 16,
    "study.earth_fault_samples": 32,
    "study.rare_samples": 512,
    "policy.p_false_max": 0.5,
    "candidates.stabilising_resistance_ohm": [300],
}
MORE: dict[str, dict[str, Any]] = {
    "other model": {"study.compare_remanence_models": True},
    "setting_sweep": {
        "policy.assumption_sets": [{"name": "low", "changes": {"ct.knee_voltage_v": 450}}],
    },
    "scheme_comparison": {"scheme.kind": ["per_phase", "two_phase_one_earth"]},
    "earthing_options": {
        "earthing_options": [
            {"name": "10 ohm", "resistance_ohm": 10},
            {"name": "40 ohm", "resistance_ohm": 40},
        ],
        "fault_energy": {
            "breaker_time_s": 0.08,
            "field_decay_time_constant_s": 1.0,
            "undetected_time_s": 10,
        },
    },
    "uncertainty_drivers": {},
    "alternatives": {"alternatives": [{"name": "less", "changes": {"ct.knee_voltage_v": 450}}]},
}


@pytest.mark.slow
@pytest.mark.parametrize("name", [*MORE])
def test_a_run_begins_the_stages_that_its_plan_names(name: str) -> None:
    assert {*KINDS} < {*MORE}
    kind = name if name in KINDS else "setting_sweep"
    study = study_with(SMALL | {"study.kind": kind} | MORE[name])
    begun: list[str] = []

    def progress(done: int, total: int, what: str) -> None:
        assert 0 <= done <= total
        if total and not done:
            begun.append(what)

    KINDS[kind]().run(study, workers=1, progress=progress)
    planned = [stage.what for stage in KINDS[kind]().stages(study)]
    # Wider inputs are tried for rare false trips alone, a later round draws one of them again
    assert [what for what in planned if what not in begun] in (
        [],
        [what for what in planned if "wider inputs" in what],
    )
    assert [what for what in dict.fromkeys(begun) if what not in planned] == []


def test_compiling_is_told_once_and_only_where_code_is_compiled(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    told: list[str] = []
    kept: dict[str, object] = {"there": object()}
    monkeypatch.setattr(
        "numba.core.caching.FunctionCache.load_overload", lambda self, sig, target: kept.get(sig)
    )
    code = KeptCode.__new__(KeptCode)
    with when_compiling(lambda: told.append("compiling")):
        assert code.load_overload("there", None) is not None
        assert told == []
        assert code.load_overload("not there", None) is None
        assert code.load_overload("nor there", None) is None
    assert told == ["compiling"]
    assert code.load_overload("not there", None) is None  # nobody waits for it
    assert told == ["compiling"]
