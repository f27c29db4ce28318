"""What a run that is stopped tells and leaves."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from montecarlo.engine.leading import Leading
from montecarlo.engine.run import run
from studies.cli.listing import SO_FAR, is_unfinished
from studies.cli.progress import Bar
from studies.cli.so_far import answer_so_far
from tests.made.studies import FEW_TYPES, study_with

CHANGES = FEW_TYPES | {
    "study.samples": 2048,
    "study.racing": True,
    "study.rare_samples": 0,
    "policy.p_false_max": 0.9,
}


class Stopped(Bar):
    """Ctrl-C as soon as so many rounds are full."""

    def __init__(self, rounds: int) -> None:
        super().__init__()
        self.rounds = rounds

    def leading(self, found: Leading) -> None:
        super().leading(found)
        self.rounds -= 1

    def __call__(self, done: int, total: int, what: str) -> None:
        if not self.rounds:
            raise KeyboardInterrupt
        super().__call__(done, total, what)


def test_the_answer_of_the_last_full_round_is_told_and_kept(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    study, bar = study_with(CHANGES), Stopped(1)
    with pytest.raises(KeyboardInterrupt), answer_so_far(bar, tmp_path):
        run(study, workers=1, progress=bar)
    first, second, third = capsys.readouterr().err.splitlines()
    assert "the first 128 of 2,048 samples, not checked on others" in first
    assert second.startswith("leading after 128 samples")
    assert third.endswith(str(tmp_path / SO_FAR))
    assert is_unfinished(tmp_path)  # so that the same command goes on
    table = pd.read_csv(tmp_path / SO_FAR)
    assert set(table["samples"]) == {128}
    (leads,) = table[table["leads"]].to_dict("records")
    assert bar.found is not None
    assert leads["p_missed"] == pytest.approx(bar.found.p_missed)
    assert leads["p_missed_low"] <= leads["p_missed"] <= leads["p_missed_high"]


def test_before_the_first_round_there_is_nothing_to_tell(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(KeyboardInterrupt), answer_so_far(Bar(), tmp_path):
        raise KeyboardInterrupt
    assert capsys.readouterr().err == ""
    assert not [*tmp_path.iterdir()]


def test_a_folder_that_takes_no_table_keeps_no_run_from_stopping(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bar = Stopped(1)
    with pytest.raises(KeyboardInterrupt), answer_so_far(bar, tmp_path / "gone"):
        run(study_with(CHANGES), workers=1, progress=bar)
    assert "so_far.csv" not in capsys.readouterr().err
