"""A slice of `python -m tests.fuzz`: mutated study files through `check`, the same ones every
time."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from tests.fuzz.judge import Verdict, check, furnish, refusal_faults
from tests.fuzz.mutations import BASES, Case, cases

LIMIT_S = 60.0  # a suite shares its machine; what hangs, hangs longer


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("fuzz")
    furnish(made)
    (made / "study.toml").write_text(BASES["unit_13_8kv"], encoding="utf-8")
    assert check(made / "study.toml", 300.0).code == 0  # compiles
    return made


def test_nonsense_is_refused_in_lines_and_the_rest_is_a_study(folder: Path) -> None:
    file, codes = folder / "study.toml", Counter[int | None]()

    @settings(
        max_examples=60,
        database=None,
        deadline=None,
        derandomize=True,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(cases)
    def judge(case: Case) -> None:
        file.write_bytes(case.content)
        found = check(file, LIMIT_S)
        codes[found.code] += 1
        assert not found.wrong, f"{case.base}, {case.kind}: {found.wrong}"

    judge()
    assert codes[2] > 20  # both are tried
    assert codes[0] > 5


@pytest.mark.parametrize(
    ("stderr", "wrong"),
    [
        ("statorodds: study.samples: 0, must be at least 1\n", ""),
        ("statorodds: s.toml: no such file\n", ""),
        ("Traceback (most recent call last):\n", "stderr is"),
        ("", "stderr is"),
        ("statorodds: something went wrong\n", "line"),
        ("study.samples: 0\n", "line"),
        ("statorodds: study.title: \x1b[31m\n", "line"),
        ("statorodds: study.title: " + 3000 * "x" + "\n", "line"),
        ("statorodds: study.title: Input should be a valid string\n", "words of a library"),
        (70 * "statorodds: study.title: 1\n", "70 lines"),
    ],
)
def test_the_judge_sees_what_it_is_for(stderr: str, wrong: str) -> None:
    found = refusal_faults(Verdict(2, "", 0.0, "", stderr), Path("s.toml"))
    assert found.startswith(wrong) if wrong else not found
