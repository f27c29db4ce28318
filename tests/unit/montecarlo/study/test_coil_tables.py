"""Windings by a table of their coils: read back they are the same, and every fault of a table is a
line that begins with its key."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from montecarlo.errors import StudyError
from montecarlo.plant.turns.table import COLUMNS, Coil, CoilTable
from montecarlo.study.description import Study
from montecarlo.study.read import digest, read_study
from studies.report.inputs import inputs_of, study_again
from studies.report.terminal import shown
from studies.turns.coils import coil_frame
from studies.turns.faults import OfWinding
from studies.turns.frames import catalogue_frame, turn_fault_frame
from studies.turns.text import winding_by_hand
from tests.made.coils import fractional, table_text

TEXT = (Path(__file__).parents[4] / "configs" / "turn_faults_10_5kv.toml").read_text("utf-8")
BUILT_IN = 'pitch = 5\nbranches = 2\nturns_per_coil = 3\nlayout = "alternate"'
LISTED = 'table = "coils.csv"\nbranches = 2\nturns_per_coil = 3\n'
Rows = list[list[str]]


def study_in(folder: Path, winding: str, changes: tuple[tuple[str, str], ...] = ()) -> Study:
    """The shipped study with that in place of its coils, and texts in place of others."""
    text = TEXT.replace(BUILT_IN, winding)
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = folder / "study.toml"
    path.write_text(text, "utf-8")
    return read_study(path)


def coils_text(study: Study) -> str:
    """What a run writes of them."""
    return str(coil_frame(OfWinding(study).contacts.coils).to_csv(index=False))


def frames_text(study: Study) -> str:
    of = OfWinding(study)
    frames = catalogue_frame(of), turn_fault_frame(of)
    return "".join(str(frame.to_csv(index=False)) for frame in frames)


# --- the same again -----------------------------------------------------------


@pytest.mark.parametrize("layout", ["half", "alternate"])
@pytest.mark.parametrize(("pitch", "branches"), [(5, 2), (6, 4), (4, 6)])
def test_a_built_in_layout_read_back_is_the_same(
    tmp_path: Path, layout: str, pitch: int, branches: int
) -> None:
    built = BUILT_IN.replace("= 5", f"= {pitch}").replace("es = 2", f"es = {branches}")
    stated = study_in(tmp_path, built.replace("alternate", layout))
    (tmp_path / "coils.csv").write_text(coils_text(stated), "utf-8")
    listed = study_in(tmp_path, LISTED.replace("es = 2", f"es = {branches}"))
    assert frames_text(listed) == frames_text(stated)
    assert coils_text(listed) == coils_text(stated)
    assert shown(winding_by_hand(listed)) == shown(winding_by_hand(stated))


def test_the_order_of_lines_and_other_columns_change_nothing(tmp_path: Path) -> None:
    file = tmp_path / "coils.csv"
    head, *lines = coils_text(study_in(tmp_path, BUILT_IN)).splitlines()
    file.write_text("\n".join([head, *lines]), "utf-8")
    stated = digest(study_in(tmp_path, LISTED))
    file.write_text("\n".join([f"{head},note", *(f"{line},x" for line in lines[::-1])]), "utf-8")
    assert digest(study_in(tmp_path, LISTED)) == stated
    first, second = lines[0], lines[1]
    exchanged = [first.replace("1,upper", "2,upper"), second.replace("2,upper", "1,upper")]
    file.write_text("\n".join([head, *exchanged, *lines[2:]]), "utf-8")
    assert digest(study_in(tmp_path, LISTED)) != stated


def test_results_hold_the_table_and_are_read_again(tmp_path: Path) -> None:
    home, results = tmp_path / "home", tmp_path / "results"
    (home / "data").mkdir(parents=True)
    text = coils_text(study_in(tmp_path, BUILT_IN))
    (home / "data" / "coils.csv").write_text(text, "utf-8")
    study = study_in(home, LISTED.replace("coils.csv", "data/coils.csv"))
    content = (home / "study.toml").read_bytes()
    filed = inputs_of(content, home)
    assert filed == {"inputs/1-coils.csv": text.encode()}
    (results / "inputs").mkdir(parents=True)
    (results / "study.toml").write_bytes(content)
    (results / "inputs" / "1-coils.csv").write_bytes(text.encode())
    counts = {"samples": study.study.samples, "seed": study.study.seed}
    again = study_again(results, "study.toml", **counts, expected=digest(study))
    assert again.winding == study.winding.model_copy(  # type: ignore[union-attr]
        update={"table": again.winding.table}  # type: ignore[union-attr]
    )


# --- a fractional-slot winding ------------------------------------------------

SMALL = (("slots = 288", "slots = 54"), ("pole_pairs = 24", "pole_pairs = 4"))


def test_a_fractional_slot_winding_is_in_words(tmp_path: Path) -> None:
    """q = 9/4 has the distribution factor of q = 9, 0.9555; pitch 6 of 6.75: sin(80 deg)."""
    (tmp_path / "coils.csv").write_text(table_text(fractional()), "utf-8")
    study = study_in(tmp_path, LISTED, SMALL)
    text = " ".join(shown(winding_by_hand(study)).split())
    assert "54 slots, 8 poles, q = 2.25; coils span 6 of 6.75 slots." in text
    assert "k_d = 0.9555, k_p = 0.9848, k_w = 0.9410" in text
    frame = turn_fault_frame(OfWinding(study)).set_index(["class", "gap"])
    closed, model = frame.loc[("one_turn", "closed_form")], frame.loc[("within_coil", "shielded")]
    ratio = model["fault_current_median_a"] / closed["fault_current_median_a"]
    assert ratio == pytest.approx(1, abs=0.05)


# --- faults -------------------------------------------------------------------


def faults(folder: Path, text: str, winding: str = LISTED) -> list[str]:
    (folder / "coils.csv").write_text(text, "utf-8")
    with pytest.raises(StudyError) as caught:
        study_in(folder, winding, SMALL)
    return str(caught.value).splitlines()


def cell(row: int, column: str, value: object) -> Callable[[Rows], None]:
    def change(rows: Rows) -> None:
        rows[row][COLUMNS.index(column)] = str(value)

    return change


def exchanged(old: tuple[str, ...], new: tuple[str, ...], column: str) -> Callable[[Rows], None]:
    """Words of a column for each other, in every row."""

    def change(rows: Rows) -> None:
        words = dict(zip(old, new, strict=True))
        at = COLUMNS.index(column)
        for row in rows:
            row[at] = words.get(row[at], row[at])

    return change


def turned(phase: str, branch: str) -> Callable[[Rows], None]:
    """The other direction of a branch."""

    def change(rows: Rows) -> None:
        for row in rows:
            if (row[2], row[3]) == (phase, branch):
                row[5] = "lower" if row[5] == "upper" else "upper"

    return change


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (cell(0, "upper_slot", "1.0"), 'line 2: upper_slot: "1.0" is not a whole number; write'),
        (cell(0, "order", ""), 'line 2: order: "" is not a whole number; write digits'),
        (cell(0, "branch", -1), 'line 2: branch: "-1" is not a whole number'),
        (cell(0, "phase", "R"), 'line 2: phase: "R", must be L1, L2 or L3'),
        (cell(0, "entered", "top"), 'line 2: entered: "top", must be upper or lower'),
        (cell(0, "entered", "upper,7"), 'line 2: "1,7,L1,1,1,upper,7" has 7 cells, more cells'),
        (cell(0, "upper_slot", 55), "line 2: upper_slot: 55, must be 1 ... 54 (slots); mend one"),
        (cell(0, "lower_slot", 0), "line 2: lower_slot: 0, must be 1 ... 54 (slots)"),
        (cell(0, "branch", 3), "line 2: branch: 3, must be 1 ... 2 (branches)"),
        (cell(0, "order", 10), "line 2: order: 10, must be 1 ... 9 (coils of a branch, slots/("),
        (cell(0, "lower_slot", 1), "line 2: lower_slot: 1, must be another slot than upper_slot"),
        (
            cell(1, "upper_slot", 1),
            "line 3: upper_slot: 1 stands in line 2 too, must stand once; g",
        ),
        (cell(0, "lower_slot", 8), "line 3: lower_slot: 8 stands in line 2 too, must stand once"),
        (
            cell(1, "order", 1),
            "line 3: order: 1 of branch 1 of L1 stands in line 2 too, must stand",
        ),
        (lambda rows: rows.pop(), "53 coils, must be as many as slots, 54; give a row a coil"),
        (lambda rows: rows.extend(rows * 30), "more than 1200 rows; give one a slot of the stator"),
        (
            turned("L2", "2"),
            "branch 2 of L2 has 100 % of the EMF of branch 1, turned by 180 degrees",
        ),
        (
            cell(0, "entered", "lower"),
            "branch 2 of L1 has 125.2 % of the EMF of branch 1, turned by 7.51",
        ),
        (
            exchanged(("L2", "L3"), ("L3", "L2"), "phase"),
            "the EMF of L2 lags that of L1 by 240 degrees, must be 120 within 1; exchange two",
        ),
        (
            exchanged(("upper", "lower"), ("upper", "upper"), "entered"),
            "branch 1 of L1 has a winding factor of",
        ),
    ],
)
def test_a_fault_is_one_line(tmp_path: Path, change: Callable[[Rows], None], said: str) -> None:
    rows = [list(map(str, coil)) for coil in fractional()]
    change(rows)
    found = faults(tmp_path, table_text(rows))
    assert all(line.startswith('winding.table: "coils.csv"') for line in found), found
    assert any(said in line for line in found), found


def test_phases_turned_together_lag_by_60_degrees(tmp_path: Path) -> None:
    rows = [list(map(str, coil)) for coil in fractional()]
    for branch in ("1", "2"):
        turned("L3", branch)(rows)
    (line,) = faults(tmp_path, table_text(rows))
    assert "the EMF of L3 lags that of L1 by 60 degrees, must be 240 within 1" in line


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", 'column "upper_slot" is missing in the first line, which has nothing'),
        ("upper_slot;lower_slot", 'column "entered" is missing in the first line, which has'),
        (",".join([*COLUMNS, "order"]), 'column "order" stands twice in the first line'),
        (",".join(COLUMNS), "0 coils, must be as many as slots, 54"),
        ('"' + "x" * 200_000, "cannot be read as CSV"),
        ("x" * 1_000_001, "must be at most 1000000; keep the columns needed"),
    ],
)
def test_a_file_that_is_no_table_of_coils(tmp_path: Path, text: str, said: str) -> None:
    found = faults(tmp_path, text)
    assert any(said in line for line in found), found
    assert all(line.startswith('winding.table: "coils.csv"') for line in found)


@pytest.mark.parametrize(
    ("winding", "said"),
    [
        (
            LISTED + "pitch = 6",
            "winding.pitch: 6, must be absent beside table; take one of the two",
        ),
        (LISTED + 'layout = "half"', 'winding.layout: "half", must be absent beside table; take'),
        (LISTED.replace("es = 2", "es = 4"), "winding.slots: 54, must be a multiple of 3 branches"),
        (LISTED.replace("coils", "coil"), 'winding.table: "coil.csv" is not a file in'),
        (
            LISTED.replace("coils", "../coils"),
            'winding.table: "../coils.csv" must lie in the study',
        ),
        (
            LISTED.replace('"coils.csv"', "3"),
            "winding.table: 3; expected a text, the name of a",
        ),
        (BUILT_IN.partition("\n")[2], "winding.pitch: missing; give the coil's span in slots, or"),
        (BUILT_IN.rpartition("\n")[0], 'winding.layout: missing; give "half" or "alternate", or a'),
    ],
)
def test_keys_beside_a_table(tmp_path: Path, winding: str, said: str) -> None:
    found = faults(tmp_path, table_text(fractional()), winding)
    assert any(line.startswith(said) for line in found), found


def test_coils_may_run_either_way(tmp_path: Path) -> None:
    """A coil whose upper side is the right one spans as many slots."""
    rows = [
        Coil(c.lower_slot, c.upper_slot, *c[2:5], "lower" if c.entered == "upper" else "upper")
        for c in fractional()
    ]
    (tmp_path / "coils.csv").write_text(table_text(rows), "utf-8")
    one = OfWinding(study_in(tmp_path, LISTED, SMALL))
    assert set(one.contacts.coils.span) == {6}
    assert one.factors[0] == pytest.approx(0.9555, abs=5e-5)
    assert isinstance(one.winding.table, CoilTable)
