"""The command compare on invented results: what differs, what is refused, what it writes."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from montecarlo.estimates.verdicts import Verdict
from studies.cli.main import main
from studies.compare.estimates import FALSE, MISSED, PROTECTED, RATES, compared
from studies.compare.figures import MOST_CHOICES, choices_figure
from studies.compare.keys import differing_keys
from studies.compare.read import read_sides
from studies.report.look import look
from studies.report.look import said as said_of
from studies.report.record import SEAL, sealed
from studies.report.words import VERDICTS
from tests.made.finished_runs import (
    EXTERNAL_PER_YEAR,
    INTERNAL_PER_YEAR,
    curves,
    finished_run,
    judged,
)
from tests.made.results import candidates

CHOSEN = 7
KNEE = '{ nominal = 300, tolerance_percent = 10, shape = "normal", source = "assumed" }'


def sweep(folder: Path, shift: float = 0.0, chosen: int | None = CHOSEN, **more: Any) -> Path:
    """Results whose p_missed are higher by `shift`."""
    frame = candidates()
    moved = {name: frame[name] + shift for name in (MISSED, f"{MISSED}_low", f"{MISSED}_high")}
    frame = judged(frame.assign(**moved), chosen)
    return finished_run(folder, {"candidates": frame, "protected_winding": curves(frame)}, **more)


def said(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    assert main(["compare", *map(str, arguments)]) == 0
    return capsys.readouterr().out


def refusal(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    assert main(["compare", *map(str, arguments)]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    lines = told.err.splitlines()
    assert len(lines) == 1
    return lines[0]


# --- figures ------------------------------------------------------------------


def test_a_copy_gives_no_difference(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one = sweep(tmp_path / "one")
    shutil.copytree(one, tmp_path / "two")
    out = tmp_path / "out"
    text = said(capsys, one, tmp_path / "two", "--out", out)
    assert text.startswith("No key differs.\nBoth runs hold the same figures.\n")
    settings = pd.read_csv(out / "compared_settings.csv")
    assert len(settings) == 5 * len(candidates())
    assert not settings[["difference", "low", "high"]].any(axis=None)
    assert set(settings["verdict"]) == {VERDICTS[Verdict.ITSELF]}
    assert not (out / "compared_keys.csv").exists()


def test_a_real_difference_is_told_with_its_limits(tmp_path: Path) -> None:
    sides = read_sides(sweep(tmp_path / "one"), sweep(tmp_path / "two", 0.1, seed=2))
    rows = compared(*sides, same=False).choices.set_index("quantity")
    missed, yearly = rows.loc[MISSED], rows.loc[RATES[MISSED]]
    assert missed["candidate_a"] == missed["candidate_b"] == CHOSEN
    assert missed["difference"] == pytest.approx(0.1)
    # both limits lie 0.01 from their estimates
    assert missed["high"] - missed["difference"] == pytest.approx(0.01 * np.sqrt(2))
    assert missed["difference"] - missed["low"] == pytest.approx(0.01 * np.sqrt(2))
    assert missed["verdict"] is Verdict.APART
    for name in ("a", "a_low", "b_high", "difference", "low", "high"):
        assert yearly[name] == pytest.approx(INTERNAL_PER_YEAR * missed[name])
    false = rows.loc[RATES[FALSE]]
    assert false["a_high"] == pytest.approx(EXTERNAL_PER_YEAR * rows.loc[FALSE, "a_high"])
    assert (rows.loc[[FALSE, PROTECTED], "verdict"] == Verdict.ALIKE).all()


def test_the_protected_winding_has_limits_from_its_curve(tmp_path: Path) -> None:
    sides = read_sides(sweep(tmp_path / "one"), sweep(tmp_path / "two", seed=2))
    row = compared(*sides, same=False).choices.set_index("quantity").loc[PROTECTED]
    # P(detected) rises by 1 over a tenth of the winding, and its limits lie 0.03 from it
    assert row["a_high"] - row["a"] == pytest.approx(0.003, abs=3e-4)
    assert row["a"] - row["a_low"] == pytest.approx(0.003, abs=3e-4)


def test_without_curves_the_protected_winding_is_not_judged(tmp_path: Path) -> None:
    frame = judged(candidates(), CHOSEN)
    runs = [finished_run(tmp_path / name, {"candidates": frame}) for name in ("one", "two")]
    rows = compared(*read_sides(*runs), same=False).choices.set_index("quantity")
    assert rows.loc[PROTECTED, "verdict"] == ""
    assert rows.loc[PROTECTED, "difference"] == 0


def test_a_rate_that_nothing_shows_is_not_judged(tmp_path: Path) -> None:
    frame = judged(candidates(), CHOSEN).assign(p_false=0.0, p_false_low=0.0, false_per_year=0.0)
    runs = [finished_run(tmp_path / name, {"candidates": frame}) for name in ("one", "two")]
    rows = compared(*read_sides(*runs), same=False).choices.set_index("quantity")
    assert rows.loc[RATES[FALSE], "verdict"] == ""
    assert rows.loc[FALSE, "verdict"] is Verdict.ALIKE


def test_settings_are_matched_by_their_values(tmp_path: Path) -> None:
    fewer = judged(candidates(ohms=(300.0,)))
    one = finished_run(tmp_path / "one", {"candidates": judged(candidates())})
    two = finished_run(tmp_path / "two", {"candidates": fewer})
    found = compared(*read_sides(one, two), same=False)
    settings = found.settings[found.settings["quantity"] == MISSED]
    assert len(settings) == len(fewer)
    for axis in ("phase_pickup_a", "earth_pickup_a", "stabilising_resistance_ohm", "delay_s"):
        pd.testing.assert_series_equal(
            settings[f"{axis}_a"], settings[f"{axis}_b"], check_names=False
        )
    assert (settings["candidate_a"] != settings["candidate_b"]).any()
    assert not len(found.choices)


# --- inputs -------------------------------------------------------------------


def test_changed_keys_are_listed(tmp_path: Path) -> None:
    changes = {
        "knee_current_a = 0.03": "knee_current_a = 0.04",
        "per_year = 0.2": "per_year = 0.3",
        "p_false_max = 0.01": "p_false_max = 0.02",
        KNEE: KNEE.replace("assumed", "measured"),
        "delay_s = [0]": "delay_s = [0, 0.1]",
    }
    sides = read_sides(sweep(tmp_path / "one"), sweep(tmp_path / "two", changes=changes))
    keys = differing_keys(*sides).set_index("key")
    assert set(keys.index) == {
        "ct.knee_current_a",
        "ct.knee_voltage_v, source",
        "external_events.near_fault.per_year",
        "policy.p_false_max",
        "candidates.delay_s",
    }
    assert tuple(keys.loc["ct.knee_current_a"]) == ("0.03 A", "0.04 A")
    assert tuple(keys.loc["policy.p_false_max"]) == ("0.01", "0.02")
    assert tuple(keys.loc["candidates.delay_s"]) == ("0", "0, 0.1")
    assert tuple(keys.loc["ct.knee_voltage_v, source"]) == ("assumed", "measured")


def test_a_default_that_is_written_out_is_no_difference(tmp_path: Path) -> None:
    changes = {'kind = "two_phase': 'phase_stabilising_ohm = 0\nkind = "two_phase'}
    sides = read_sides(sweep(tmp_path / "one"), sweep(tmp_path / "two", changes=changes))
    assert not len(differing_keys(*sides))


def test_seed_and_samples_are_those_of_the_run(tmp_path: Path) -> None:
    sides = read_sides(
        sweep(tmp_path / "one"), sweep(tmp_path / "two", seed=5, samples_asked=64, version="2")
    )
    keys = differing_keys(*sides).set_index("key")
    assert tuple(keys.loc["study.seed"]) == ("20260101", "5")
    assert tuple(keys.loc["study.samples"]) == ("512", "64")
    assert tuple(keys.loc["version of the program"]) == ("1.2", "2")


# --- what is said and written -------------------------------------------------


def test_what_is_said_fits_80_columns(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    changes = {KNEE: KNEE.replace("assumed", "a long story " * 9)}
    one, two = sweep(tmp_path / "one"), sweep(tmp_path / "two", 0.1, chosen=8, changes=changes)
    text = said(capsys, one, two, "--out", tmp_path / "out")
    body = [line for line in text.splitlines() if str(tmp_path) not in line]
    assert max(map(len, body)) <= 80
    assert text.startswith("1 key of the inputs differs.\nThe choices differ.\n")
    assert "Both runs used seed 20260101" in text


def test_a_choice_of_one_run_alone_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one, two = sweep(tmp_path / "one"), sweep(tmp_path / "two", 0.02, chosen=None)
    text = said(capsys, one, two, "--out", tmp_path / "out")
    assert "Only run A chooses a setting; run B chooses none." in text


def test_the_folder_has_a_name_of_its_own_and_nothing_is_overwritten(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    one, two = sweep(Path("one")), sweep(Path("two"), 0.1)
    said(capsys, one, two)
    made = Path("one-two-compared")
    assert sorted(path.name for path in made.iterdir()) == sorted(
        ["compare.html"]
        + [f"compared_{name}.csv" for name in ("choices", "settings")]
        + [f"compared_{name}.{end}" for name in ("choices", "settings") for end in ("png", "svg")]
    )
    page = (made / "compare.html").read_text(encoding="utf-8")
    assert page.count("<svg") == 2
    assert "exists and is not empty" in refusal(capsys, one, two)
    assert sorted(path.name for path in Path().iterdir()) == ["one", "one-two-compared", "two"]


# --- refusals -----------------------------------------------------------------


def _record(folder: Path, **other: Any) -> None:
    """A record that was written with other words."""
    path = folder / "provenance.json"
    record = {key: value for key, value in json.loads(path.read_text()).items() if key != SEAL}
    path.write_text(json.dumps(sealed(record | other)))


def _spoil(name: str, old: str, new: str) -> Callable[[Path], Any]:
    def spoilt(folder: Path) -> None:
        text = (folder / name).read_text()
        assert old in text
        (folder / name).write_text(text.replace(old, new, 1))

    return spoilt


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (_spoil("candidates.csv", "0.1", "0.2"), "candidates.csv is not as the run left it"),
        (
            _spoil("protected_winding.csv", "0.1", "0.2"),
            "protected_winding.csv is not as the run left it",
        ),
        (_spoil("inputs.csv", "0.03", "0.04"), "inputs.csv is not as the run left it"),
        (_spoil("s.toml", "0.03", "0.04"), "s.toml is not as the run left it"),
        (_spoil("provenance.json", "1.2", "1.3"), "provenance.json is not as the run left it"),
        (lambda folder: (folder / "candidates.csv").unlink(), "candidates.csv are needed"),
        (lambda folder: (folder / "provenance.json").unlink(), "is no folder of a finished run"),
        (lambda folder: _record(folder, sha256=[]), "is no folder of a finished run"),
        (lambda folder: _record(folder, seed="x"), "provenance.json is not as the run left it"),
        (lambda folder: _record(folder, study_kind=None), "is not as the run left it"),
        (lambda folder: _record(folder, study_kind="a_new_one"), "of the kind a new one"),
        (
            lambda folder: _record(folder, study_kind="scheme_comparison"),
            "holds results of the kind setting sweep",
        ),
    ],
)
def test_what_is_no_result_is_one_line(
    spoil: Callable[[Path], Any],
    told: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    one, two = sweep(tmp_path / "one"), sweep(tmp_path / "two", seed=2)
    spoil(two)
    assert told in refusal(capsys, one, two, "--out", tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_nonsense_in_place_of_folders_is_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    one = sweep(tmp_path / "one")
    assert "is the same folder as" in refusal(capsys, one, tmp_path / "one" / ".." / "one")
    for nonsense in (one / "candidates.csv", tmp_path / "absent", Path("/dev/null")):
        assert "is no folder of a finished run" in refusal(capsys, one, nonsense)
        assert "is no folder of a finished run" in refusal(capsys, nonsense, one)
    (tmp_path / "file").write_text("")
    two = sweep(tmp_path / "two", seed=2)
    assert "is a file" in refusal(capsys, one, two, "--out", tmp_path / "file")
    assert "make it first" in refusal(capsys, one, two, "--out", tmp_path / "no" / "out")


@pytest.mark.parametrize(
    ("column", "values"), [("p_missed", None), ("p_missed", "x"), ("candidate", "=1+1")]
)
def test_a_table_of_another_version_is_one_line(
    column: str, values: str | None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    frame = judged(candidates())
    other = frame.drop(columns=column) if values is None else frame.assign(**{column: values})
    one = finished_run(tmp_path / "one", {"candidates": frame})
    two = finished_run(tmp_path / "two", {"candidates": other})
    line = refusal(capsys, one, two, "--out", tmp_path / "out")
    assert "run the study again" in line


# --- several choices ----------------------------------------------------------


def side_by_side(folder: Path, names: list[str], shift: float = 0.0) -> Path:
    """Results of a study with alternatives, each with its own choice."""
    parts = []
    for place, name in enumerate(names):
        frame = judged(candidates(), CHOSEN + place % 2)
        moved = {key: frame[key] + shift for key in (MISSED, f"{MISSED}_low", f"{MISSED}_high")}
        parts.append(frame.assign(**moved, alternative=name))
    every = pd.concat(parts, ignore_index=True)
    texts = []
    for place, name in enumerate(names[1:]):
        changed = f'{{ "machine.synchronous_reactance_pu" = {1.2 + 0.1 * place:.1f} }}'
        texts.append(f'[[alternatives]]\nname = "{name}"\nchanges = {changed}\n')
    changes = {
        'kind = "setting_sweep"': 'kind = "alternatives"',
        "[machine]": "\n".join([*texts, "[machine]"]),
    }
    frames = {"candidates": every, "alternatives": every[every["chosen"]]}
    return finished_run(folder, frames, changes)


def test_alternatives_are_matched_by_their_names(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one = side_by_side(tmp_path / "one", ["as stated", "new CTs", "only in one"])
    two = side_by_side(tmp_path / "two", ["as stated", "new CTs", "only in two"], shift=0.3)
    out = tmp_path / "out"
    text = said(capsys, one, two, "--out", out)
    choices = pd.read_csv(out / "compared_choices.csv")
    missed = choices[choices["quantity"] == MISSED].set_index("name")
    both = missed.loc[["as stated", "new CTs"]]
    assert both["difference"].to_numpy() == pytest.approx(0.3)
    assert (both["verdict"] == VERDICTS[Verdict.APART]).all()
    assert set(missed.index) == {"as stated", "new CTs"}
    assert "only in one" in text
    assert "only in two" in text
    assert "new CTs" in text
    assert "not known (not known)" not in (out / "compare.html").read_text("utf-8")


def test_choices_without_a_row_are_named_below_the_figure(tmp_path: Path) -> None:
    runs = [side_by_side(tmp_path / run, ["as stated", "new CTs"]) for run in ("one", "two")]
    two = compared(*read_sides(*runs), same=False).choices
    names = [f"alternative {k}" for k in range(MOST_CHOICES + 2)]
    own = two[two["name"] == "new CTs"]
    with look():
        figure = choices_figure(pd.concat([own.assign(name=name) for name in names]))
    assert len(figure.axes[0].get_yticks()) == MOST_CHOICES
    assert said_of(figure) == f"Not drawn: {names[-2]} and {names[-1]}."
