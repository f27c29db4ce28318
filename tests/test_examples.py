"""The examples in docstrings give what they say, and the names of the package are what they are
said to be."""

from __future__ import annotations

import doctest
import importlib
import os
import pkgutil
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

import montecarlo
from montecarlo import read_study, run_study, sample_frames
from montecarlo.errors import StudyError
from tests.made.studies import study_with

ROOT = Path(__file__).parents[1]
FLAGS = doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS


def with_examples() -> list[str]:
    """Modules of the engine whose text has examples."""
    found = ["montecarlo"]
    for module in pkgutil.walk_packages(montecarlo.__path__, "montecarlo."):
        path = ROOT / Path(*module.name.split(".")).with_suffix(".py")
        if path.exists() and ">>> " in path.read_text(encoding="utf-8"):
            found.append(module.name)
    return found


@pytest.mark.parametrize("name", with_examples())
def test_examples_give_what_they_say(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    failed, tried = doctest.testmod(importlib.import_module(name), optionflags=FLAGS)
    assert tried
    assert not failed


def test_every_name_of_the_package_is_there_and_says_what_it_is() -> None:
    assert set(montecarlo.__all__) == set(montecarlo.PLACES)
    for name in montecarlo.__all__:
        assert getattr(montecarlo, name).__doc__
    with pytest.raises(AttributeError, match="no attribute 'other'"):
        montecarlo.other  # noqa: B018


def test_sample_frames_are_the_samples_of_the_study_s_own_batch() -> None:
    """The share of samples that trip is the count that the table of the run rests on."""
    study = study_with({"candidates.phase_pickup_a": [0.2], "candidates.earth_pickup_a": [0.1]})
    result = run_study(study, workers=1)
    name = f"external.{study.external_events[0].name}"
    (frame,) = sample_frames(study, [name]).values()
    pickups = frame.filter(like="critical_pickup_a[")
    earth = pickups.filter(like=", earth").iloc[:, 0] > 0.1
    phase = pickups.filter(like=", phase").iloc[:, 0] > 0.2
    row = result.by_type.query("type == @study.external_events[0].name").iloc[0]
    first = result.outcome.first.strata[next(s for s in result.outcome.first.strata if s == name)]
    assert len(frame) == row["samples"]
    assert (earth | phase).sum() == first.total[0].sum()
    assert isinstance(frame, pd.DataFrame)
    with pytest.raises(StudyError, match=r"external\.nothing is not sampled; name some of"):
        sample_frames(study, ["external.nothing"])


def test_reading_a_study_imports_no_solver() -> None:
    code = (
        "import sys, montecarlo; montecarlo.read_study('configs/unit_13_8kv.toml');"
        "assert not {'pandas', 'joblib', 'matplotlib'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True, env={**os.environ})


def test_a_study_can_be_read_with_fewer_samples() -> None:
    assert read_study(ROOT / "configs" / "unit_13_8kv.toml", samples=256).study.samples == 256
