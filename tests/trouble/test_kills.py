"""SIGKILL at random moments; `kills` has the long run."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.trouble.kills import campaign


@pytest.mark.slow
def test_a_killed_run_goes_on_and_loses_nothing(tmp_path: Path) -> None:
    toll = campaign(5, 7, tmp_path)
    assert toll.kills == 5
    assert toll.solved_again == 0
