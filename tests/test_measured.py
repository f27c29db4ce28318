"""The command measured on a small run: what it says, what it refuses."""

from __future__ import annotations

import csv
import io
import json
import math
import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from montecarlo.errors import StudyError
from montecarlo.study.axes import Setting
from studies.cli.main import main
from studies.commissioning.expected import Sheet
from studies.measured.run import expected_of
from studies.measured.values import Measured
from studies.report.record import SEAL, is_as_sealed, sealed
from tests.made.studies import REMOVE, minimal_study_text, study_with

Row = dict[str, str]
CHANGES = {
    "p_false_max = 0.01": "p_false_max = 0.9",
    "installations = 32": "installations = 256\nrare_samples = 0",
    "step = 0.02": "step = 0.04",
    "stabilising_resistance_ohm = [0, 300]": "stabilising_resistance_ohm = [300]",
    '{ nominal = 300, tolerance_percent = 10, shape = "normal", source = "assumed" }': (
        '{ dist = "empirical", file = "data/k.csv", column = "knee_v" }'
    ),
}


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("measured")
    text = minimal_study_text()
    for old, new in CHANGES.items():
        assert old in text
        text = text.replace(old, new)
    (folder / "s.toml").write_text(text)
    (folder / "data").mkdir()
    (folder / "data" / "k.csv").write_text(
        "knee_v\n" + "\n".join(str(290 + 2 * k) for k in range(12))
    )
    options = ["--workers", "1", "--samples", "640", "--out", str(folder / "run")]
    assert main(["run", str(folder / "s.toml"), *options]) == 0
    shutil.rmtree(folder / "data")  # what a run needs later stands in its results
    return folder / "run"


def sheet(run: Path) -> list[Row]:
    with (run / "commissioning.csv").open(newline="") as lines:
        return list(csv.DictReader(lines))


def filled(run: Path, path: Path, fill: Callable[[Row], dict[str, Any]]) -> Path:
    """The commissioning table with some cells changed."""
    rows = [row | {key: str(value) for key, value in fill(row).items()} for row in sheet(run)]
    with path.open("w", newline="") as lines:
        writer = csv.DictWriter(lines, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    return path


def through_l1(row: Row) -> dict[str, Any]:
    """One leg's residual in the through test, at the upper end of its band."""
    if (row["test"], row["quantity"]) == ("through", "relay circuit L1"):
        return {"measured": row["high"], "uncertainty": 0.0004}
    return {}


def through_ct(row: Row) -> dict[str, Any]:
    """One CT's secondary current in the through test, likewise."""
    if (row["test"], row["quantity"]) == ("through", "CT line_end.L1"):
        return {"measured": row["high"], "uncertainty": 0.0004}
    return {}


def test_it_tells_before_and_after(
    run: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    measured = filled(run, tmp_path / "m.csv", through_ct)
    assert main(["measured", str(run), str(measured), "--out", str(tmp_path / "u.csv")]) == 0
    said = capsys.readouterr()
    text = " ".join(said.out.split())
    assert said.err == ""
    assert "of the 256 sampled installations fit these values together" in text
    assert "before" in text
    assert "after" in text
    moved = said.out.partition("INPUTS THAT MOVED")[2].splitlines()[2].split()
    assert moved[0] == "ct.turns_ratio_error_percent[3]"
    assert float(moved[4]) < -0.1  # more secondary current: fewer turns
    with (tmp_path / "u.csv").open(newline="") as lines:
        rows = list(csv.DictReader(lines))
    with (run / "candidates.csv").open(newline="") as lines:
        candidates = list(csv.DictReader(lines))
    assert [row["chosen"] for row in rows] == [row["chosen"] for row in candidates]
    for row, stated in zip(rows, candidates, strict=True):
        if stated["batch"] == "1":  # the same batch, all counted
            assert float(row["p_false"]) == pytest.approx(float(stated["p_false"]))
            assert float(row["p_missed"]) == pytest.approx(float(stated["p_missed"]))
        for name in ("p_missed", "p_false", "p_missed_weighed", "p_false_weighed"):
            assert (
                0
                <= float(row[f"{name}_low"])
                <= float(row[name])
                <= float(row[f"{name}_high"])
                <= 1
            )
        for name in ("p_missed", "p_false"):
            gap = float(row[f"{name}_weighed"]) - float(row[name])
            assert gap == pytest.approx(float(row[f"{name}_change"]), abs=1e-8)


def test_a_poor_instrument_changes_nothing(run: Path, tmp_path: Path) -> None:
    measured = filled(
        run,
        tmp_path / "m.csv",
        lambda row: through_l1(row) and through_l1(row) | {"uncertainty": 100},
    )
    assert main(["measured", str(run), str(measured), "--out", str(tmp_path / "u.csv")]) == 0
    with (tmp_path / "u.csv").open(newline="") as lines:
        assert all(
            abs(float(row[f"{name}_change"])) < 1e-9
            for row in csv.DictReader(lines)
            for name in ("p_missed", "p_false")
        )


def test_another_injected_current_moves_what_is_expected(
    run: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def at_900(row: Row) -> dict[str, Any]:
        if (row["test"], row["quantity"]) == ("through", "CT line_end.L2"):
            return {
                "injected_primary_a": 900,
                "measured": 0.9 * float(row["expected"]),
                "uncertainty": 0.002,
            }
        return {}

    measured = filled(run, tmp_path / "m.csv", at_900)
    assert main(["measured", str(run), str(measured), "--out", str(tmp_path / "u.csv")]) == 0
    assert "0.6 ± 0.002" in capsys.readouterr().out


def test_pickups_can_be_measured_too(
    run: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    measured = filled(
        run,
        tmp_path / "m.csv",
        lambda row: (
            {"measured": row["high"], "uncertainty": 0.005 * float(row["expected"])}
            if row["injected_primary_a"] == ""
            and row["quantity"] == "pick-up earth"
            and row["test"] in ("at the relay", "line_end.L1")
            else {}
        ),
    )
    assert main(["measured", str(run), str(measured), "--out", str(tmp_path / "u.csv")]) == 0
    assert "relay.pickup_error_percent[3]" in capsys.readouterr().out


# --- refusals -----------------------------------------------------------------


def refusal(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    capsys.readouterr()
    assert main(["measured", *arguments]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    lines = said.err.splitlines()
    assert len(lines) == 1
    return lines[0]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"unit": "mA"}, 'unit "mA", must be "A secondary"'),
        ({"measured": 5.0}, "no sampled installation comes within 4 uncertainties of it"),
        ({"measured": "0,002"}, 'measured: "0,002" must be a number'),
        ({"measured": "nan"}, 'measured: "nan" must be a number'),
        ({"uncertainty": ""}, 'uncertainty: "" must be a number above 0 in A secondary'),
        ({"uncertainty": 0}, 'uncertainty: "0" must be a number above 0'),
        ({"uncertainty": 1e-6, "measured": 0.0012}, "uncertain"),
        ({"test": "thruogh"}, "did you mean through?"),
        ({"quantity": "relay circuit L9"}, "did you mean relay circuit L"),
        ({"injected_primary_a": 5000}, "injected_primary_a 5000 A, must be at most 1.25 times"),
        (
            {"injected_secondary_a": 1},
            (
                "injected_secondary_a 1 A has no place in test through; take the column"
                " injected_primary_a"
            ),
        ),
        ({"measured": "", "uncertainty": ""}, "no row has a measured value"),
    ],
)
def test_what_does_not_fit_is_one_line(
    change: dict[str, Any], said: str, run: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    measured = filled(
        run, tmp_path / "m.csv", lambda row: through_l1(row) and through_l1(row) | change
    )
    assert said in refusal(capsys, str(run), str(measured), "--out", str(tmp_path / "u.csv"))
    assert not (tmp_path / "u.csv").exists()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("test,quantity,unit,measured,uncertainty,mesured\n", "did you mean measured?"),
        ("test;quantity;unit;measured;uncertainty\n", "separated by commas"),
        ("test,quantity,unit,measured\n", "column uncertainty is missing"),
        ("test,quantity,unit,measured,uncertainty,test\n", 'column "test" stands twice'),
        ("", "column test is missing"),
        (
            "test,quantity,unit,measured,uncertainty\n"
            "through,relay circuit L1,A secondary,0.001,0.001,9\n",
            "more cells than columns",
        ),
        (
            "test,quantity,unit,measured,uncertainty\n"
            + 2 * "through,relay circuit L1,A secondary,0.001,0.01\n",
            "stands there more than once",
        ),
        ('test,quantity,unit,measured,uncertainty\n"through,leg', "cannot be read as CSV"),
    ],
)
def test_a_table_that_is_none_is_one_line(
    text: str, said: str, run: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "m.csv").write_text(text)
    assert said in refusal(
        capsys, str(run), str(tmp_path / "m.csv"), "--out", str(tmp_path / "u.csv")
    )


def test_too_few_installations_are_told_with_their_number(
    run: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    measured = filled(
        run,
        tmp_path / "m.csv",
        lambda row: (
            {"measured": row["expected"], "uncertainty": 0.0004} if row["test"] == "through" else {}
        ),
    )
    line = refusal(capsys, str(run), str(measured), "--out", str(tmp_path / "u.csv"))
    assert (
        "effective of 256 sampled installations fit these values together, at least 10 are"
        " needed" in line
    )


def test_files_are_named(
    run: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    measured = str(filled(run, tmp_path / "m.csv", through_l1))
    assert "no such file" in refusal(capsys, str(run), "absent.csv")
    assert "is no folder of a finished run" in refusal(capsys, str(tmp_path), measured)
    (tmp_path / "m-weighed.csv").write_text("mine")
    assert "exists already" in refusal(capsys, str(run), measured)
    assert np.all(
        [name in ("m.csv", "m-weighed.csv") for name in (path.name for path in tmp_path.iterdir())]
    )


def test_the_folder_of_an_older_version_is_refused_by_its_file(
    run: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old = tmp_path / "old"
    shutil.copytree(run, old)
    (old / "installations.npz").rename(old / "plants.npz")
    line = refusal(capsys, str(old), str(filled(run, tmp_path / "m.csv", through_l1)))
    assert line.endswith(
        f"{old}: an older version of the program ran it, plants.npz is now called"
        " installations.npz; run the study again"
    )


def npy(array: np.ndarray[Any, Any]) -> bytes:
    """A single array as NumPy writes it, one of objects as a pickle."""
    file = io.BytesIO()
    np.save(file, array)
    return file.getvalue()


@pytest.mark.parametrize(
    "spoil",
    [
        lambda folder: (folder / "installations.npz").write_bytes(b""),
        lambda folder: (folder / "installations.npz").write_bytes(b"PK\x03\x04 and no more"),
        lambda folder: (folder / "installations.npz").write_bytes(
            (folder / "installations.npz").read_bytes()[:-3000]
        ),
        lambda folder: (folder / "installations.npz").write_bytes(npy(np.zeros(3))),
        lambda folder: (folder / "installations.npz").write_bytes(
            npy(np.array([{}], dtype=object))
        ),
        lambda folder: (folder / "provenance.json").write_text("[" * 100_000),
        lambda folder: (folder / "provenance.json").write_text("null"),
        lambda folder: (folder / "provenance.json").write_bytes(b"\xff\xfe\x00"),
        lambda folder: _recorded(folder, study_file="../s.toml"),
        lambda folder: _recorded(folder, study_file=["s.toml"]),
        lambda folder: _recorded(folder, study_file="/etc/passwd"),
        lambda folder: _recorded(folder, chosen="1"),
        lambda folder: _recorded(folder, chosen=10**6),
        lambda folder: _recorded(folder, seed="x"),
        lambda folder: _recorded(folder, samples_asked=[]),
        lambda folder: _recorded(folder, study_digest="0"),
        lambda folder: _recorded(folder, sha256=[]),
        lambda folder: np.savez(folder / "installations.npz", **{"input/x": np.zeros(256)}),
        lambda folder: _edited(folder / "s.toml", "p_false_max = 0.9", "p_false_max = 0.8"),
        lambda folder: _edited(folder / "inputs" / "1-k.csv", "300", "299"),
        lambda folder: (folder / "inputs" / "1-k.csv").unlink(),
    ],
)
def test_a_folder_that_is_not_as_the_run_left_it_is_refused(
    spoil: Callable[[Path], Any], run: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    measured, folder = filled(run, tmp_path / "m.csv", through_ct), tmp_path / "run"
    shutil.copytree(run, folder)
    spoil(folder)
    refusal(capsys, str(folder), str(measured), "--out", str(tmp_path / "u.csv"))


def _edited(path: Path, old: str, new: str) -> None:
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


def _recorded(folder: Path, **other: Any) -> None:
    """The folder's provenance with other words."""
    path = folder / "provenance.json"
    record = json.loads(path.read_text())
    del record[SEAL]
    path.write_text(json.dumps(sealed(record | other)))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"chosen": ', '"chosen": 1'),
        ('"version": "', '"version": "9'),
        ('"seed": ', '"seed": 1'),
        ("\n}", ',"x": 1\n}'),
        ('"sha256_of_the_rest": "', '"sha256_of_the_rest": "0'),
    ],
)
def test_a_record_that_was_changed_is_refused(
    old: str, new: str, run: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The chosen candidate too, to which every injection and its expected current belong."""
    measured, folder = filled(run, tmp_path / "m.csv", through_ct), tmp_path / "run"
    shutil.copytree(run, folder)
    _edited(folder / "provenance.json", old, new)
    said = refusal(capsys, str(folder), str(measured), "--out", str(tmp_path / "u.csv"))
    assert "provenance.json is not as the run left it" in said


def test_a_record_in_another_order_and_layout_is_the_same(run: Path) -> None:
    text = (run / "provenance.json").read_text()
    record = json.loads(text)
    assert is_as_sealed(record)
    assert is_as_sealed(json.loads(json.dumps(dict(reversed(record.items())))))


# --- rows that weight no installation ------------------------------------------------


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (
            {"injected_primary_a": 100.0},
            "injected_primary_a 100 A has no place in test slope point 2",
        ),
        (
            {"injected_secondary_a": 5.0},
            "injected_secondary_a 5 A, must be at most 1.25 times the sheet's",
        ),
        ({"unit": "A primary"}, 'unit "A primary", must be "A secondary"'),
        (
            {"test": "suddenly", "quantity": "operating time phase L1", "unit": "ms"},
            'unit "ms", must be "s"',
        ),
    ],
)
def test_a_point_or_a_time_that_does_not_fit_is_refused(change: dict[str, Any], said: str) -> None:
    row = replace(
        Measured(
            7,
            "slope point 2",
            "pick-up phase L1, neutral_end.L1 raised",
            "A secondary",
            math.nan,
            math.nan,
            0.9,
            0.01,
        ),
        **change,
    )
    with pytest.raises(StudyError, match=re.escape(f"m.csv line 7: {said}")):
        expected_of(biased(), [row], Path("m.csv"))


def test_another_held_current_moves_a_point() -> None:
    """x = (0.1 + 1.1 h)/0.9 for pick-up 0.1 A, slope 0.2, the mean of both ends' currents."""
    row = Measured(
        7,
        "slope point 2",
        "pick-up phase L1, neutral_end.L1 raised",
        "A secondary",
        math.nan,
        0.7,
        0.9,
        0.01,
    )
    expected, aside = expected_of(biased(), [row], Path("m.csv"))
    assert not expected
    assert aside[row] == pytest.approx((0.1 + 1.1 * 0.7) / 0.9, rel=1e-6)


def biased() -> Sheet:
    study = study_with(
        {
            "scheme.kind": "biased",
            "candidates.earth_pickup_a": REMOVE,
            "candidates.first_slope": [0.2],
            "candidates.stabilising_resistance_ohm": REMOVE,
            "relay.pickup_error_percent": 0,
        }
    )
    return Sheet(study, Setting("biased", 0.1, None, 0.0, 0.0, 0.2))
