"""Files that a person names: ordinary, in the study's folder, of a bounded size, in UTF-8; whatever
else is there gets a line and never holds the program up."""

from __future__ import annotations

import os
import re
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from montecarlo.errors import MOST_FAULTS, StudyError
from montecarlo.quantities import files
from montecarlo.quantities.columns import LARGEST_CSV, POINT, read_column
from montecarlo.quantities.files import OversizeError, read_bounded
from montecarlo.study import reword
from montecarlo.study.read import (
    LARGEST_FILE,
    MOST_DEPTH,
    MOST_LETTERS,
    MOST_PARTS,
    MOST_TABLES,
    parse_study,
    read_study,
)
from studies.measured.values import LARGEST, read_measured
from tests.made.studies import faults_of, minimal_study_text, study_table

ENDLESS = ["/dev/zero", "/dev/stdin", "pipe", "/proc/self/pagemap"]
HEAD = "test,quantity,unit,measured,uncertainty\n"


@pytest.fixture(autouse=True)
def no_waiting() -> Iterator[None]:
    """A test of this file that waits for a pipe or a device ends with a failure, not never."""

    def end(number: int, frame: object) -> None:
        raise AssertionError("still reading")

    before = signal.signal(signal.SIGALRM, end)
    signal.alarm(20)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "folder").mkdir()
    (tmp_path / "dangling").symlink_to("nothing")
    (tmp_path / "loop").symlink_to("loop")
    (tmp_path / "study.toml").write_text(minimal_study_text())
    (tmp_path / "link.toml").symlink_to("study.toml")
    (tmp_path / "zero").symlink_to("/dev/zero")
    return tmp_path


def said_of(path: Path) -> str:
    with pytest.raises(StudyError) as caught:
        read_study(path)
    (fault,) = caught.value.faults
    assert fault.startswith(f"{path}: ")
    assert fault.isprintable()
    return fault


# --- the study file -----------------------------------------------------------


@pytest.mark.parametrize(
    "name", [*ENDLESS, "folder", "dangling", "loop", "zero", "x" * 300, "nul\0"]
)
def test_what_is_no_ordinary_file_is_refused_at_once(folder: Path, name: str) -> None:
    path = Path(name) if name.startswith("/") else folder / name
    with pytest.raises(StudyError) as caught:
        read_study(path)
    assert len(caught.value.faults) == 1
    assert caught.value.faults[0].isprintable()


def test_a_link_to_a_study_is_a_study(folder: Path) -> None:
    assert read_study(folder / "link.toml") == read_study(folder / "study.toml")


def test_a_file_that_grows_or_hides_its_size_is_read_no_further_than_it_may(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"12345")
    assert read_bounded(tmp_path / "a", 5) == b"12345"
    with pytest.raises(OversizeError, match=r"^5 bytes$"):
        read_bounded(tmp_path / "a", 4)
    with pytest.raises(OversizeError, match=r"^more than 4 bytes$"):
        read_bounded(Path("/proc/self/status"), 4)  # says that it has 0
    assert read_bounded(Path("/proc/self/comm"), 100)


def test_a_file_that_becomes_a_pipe_after_the_first_look_holds_nobody_up(folder: Path) -> None:
    with pytest.raises(OSError, match="not an ordinary file"):
        read_bounded(folder / "pipe", 10)
    with pytest.raises(OSError, match="not an ordinary file"):
        read_bounded(Path("/dev/zero"), 10)
    assert files.WITHOUT_WAITING & os.O_NONBLOCK


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (minimal_study_text().encode("utf-16"), "byte 1 is not UTF-8 text; save the file as UTF-8"),
        (minimal_study_text().encode("utf-16-le"), "not valid TOML"),
        (b"# \xe9\n" + minimal_study_text().encode(), "byte 3 is not UTF-8 text"),
        (b"a." * MOST_PARTS + b"b = 1\n", f"line 1: a key of {MOST_PARTS} parts or more"),
        (b"\n[" + b"a . " * 100_000 + b"b]\n", f"line 2: a key of {MOST_PARTS} parts or more"),
        (
            b"x = { " + b"'a'.\"b\"." * 60_000 + b"c = 1 }\n",
            f"line 1: a key of {MOST_PARTS} parts or more",
        ),
        (b"[" + b"a" * 900_000 + b"\n", "not valid TOML"),
        (b"[[a]]\n" * 3 + b"[a]\n" + b"[" + b"a" * 900_000 + b"]\n", "not valid TOML"),
    ],
)
def test_what_would_take_a_parser_long_is_refused_before(
    tmp_path: Path, content: bytes, words: str
) -> None:
    (tmp_path / "s.toml").write_bytes(content)
    assert len(content) <= LARGEST_FILE
    said = said_of(tmp_path / "s.toml")
    assert words in said
    assert len(said) < len(str(tmp_path)) + 400


def test_points_within_texts_and_numbers_are_no_long_key(tmp_path: Path) -> None:
    text = minimal_study_text().replace("An invented machine", "See there. " * 200 + "...." * 200)
    (tmp_path / "s.toml").write_text(text.replace("[0, 300]", f"[{', '.join(['0.5'] * 300)}]"))
    assert read_study(tmp_path / "s.toml").candidates.stabilising_resistance_ohm == (0.5,)


# --- too much of it -----------------------------------------------------------


def test_more_tables_than_anybody_lists_are_one_fault() -> None:
    tables = [{"name": "x", "kind": "three_phase"}] * 200_000
    assert faults_of({"external_events": tables}) == (
        f"external_events: 200000 tables, must be at most {MOST_TABLES}; leave some out",
    )
    assert faults_of({"policy.assumption_sets": tables}) == (
        f"policy.assumption_sets: 200000 tables, must be at most {MOST_TABLES}; leave some out",
    )


@pytest.mark.parametrize("wrap", [lambda inner: [inner], lambda inner: {"a": inner}])
def test_depth_is_bounded_wherever_it_is(wrap: object) -> None:
    deep: object = 1
    for _ in range(100_000):
        deep = wrap(deep)  # type: ignore[operator]
    for key in ("x", "study.title", "policy.assumption_sets"):
        table = study_table()
        top, _, inner = key.partition(".")
        table[top] = (
            deep
            if not inner
            else table[top]
            | {
                inner: [{"name": "x", "changes": {"ct.x": deep}}]
                if inner == "assumption_sets"
                else deep
            }
        )
        with pytest.raises(StudyError) as caught:
            parse_study(table, Path())
        (fault,) = caught.value.faults
        assert fault.startswith(key)
        assert f"more than {MOST_DEPTH} deep inside each other; mend that place" in fault
    while isinstance(deep, (list, dict)):  # one by one: to free it whole would recurse
        deep = deep.popitem()[1] if isinstance(deep, dict) else deep.pop()


def test_a_text_is_as_long_as_a_cell_can_show() -> None:
    assert faults_of(
        {"study.title": "x" * (MOST_LETTERS + 1), "ct.knee_voltage_v.source": "y" * 10**6}
    ) == (
        "ct.knee_voltage_v.source: a text of 1000000 characters, must be at most 10000; shorten it",
        "study.title: a text of 10001 characters, must be at most 10000; shorten it",
    )


def test_of_many_faults_the_first_are_told() -> None:
    faults = faults_of({f"x{k}": 1 for k in range(20_000)})
    assert len(faults) == MOST_FAULTS
    assert faults[-1] == "and more; mend these first"
    assert StudyError(*faults).faults == faults
    (error,) = [StudyError(*map(str, range(MOST_FAULTS)))]
    assert error.faults[-1] == str(MOST_FAULTS - 1)


def test_a_long_list_of_wrong_values_is_one_fault_and_hides_no_other(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    looked: list[object] = []
    walk = reword._Place.__init__

    def counted(self: reword._Place, data: object, location: tuple[int | str, ...]) -> None:
        looked.append(location)
        walk(self, data, location)

    monkeypatch.setattr(reword._Place, "__init__", counted)
    faults = faults_of({"scheme.kind": [1] * 20_000, "machine.rated_power_va": "much"})
    assert [fault.split(":")[0] for fault in faults] == ["machine.rated_power_va", "scheme.kind"]
    assert len(looked) < 200


@pytest.mark.parametrize("name", ["a\nb", "\x1b[31m", "\u202eabc", "x" * 61])
def test_a_name_that_no_figure_can_show_is_refused(name: str) -> None:
    changes = {"ct.remanence_percent": 0}
    (fault,) = faults_of({"policy.assumption_sets": [{"name": name, "changes": changes}]})
    assert fault.startswith("policy.assumption_sets[0].name: ")
    assert fault.endswith(
        ", must be of 1 to 60 printable characters; it stands in tables and figures"
    )
    (fault,) = faults_of(
        {"policy": {"least_annual_cost": {"missed_fault": 1, "false_trip": 1, "unit": name}}}
    )
    assert fault.startswith("policy.least_annual_cost.unit: ")


# --- columns of a CSV file ----------------------------------------------------


@pytest.mark.parametrize(
    "name", [*ENDLESS, "folder", "dangling", "loop", "zero", "../study.toml", "x" * 300]
)
def test_a_column_comes_from_an_ordinary_file_of_the_folder(folder: Path, name: str) -> None:
    with pytest.raises(StudyError) as caught:
        read_column(folder, name, "a")
    (fault,) = caught.value.faults
    assert fault.isprintable()
    assert any(
        words in fault
        for words in (
            "is not a file in",
            "must lie in the study file's folder or below it; copy",
            "cannot be read: File name too long",
        )
    )


def test_a_large_csv_is_refused_unread(tmp_path: Path) -> None:
    with (tmp_path / "a.csv").open("wb") as file:
        file.truncate(10**11)  # a hole: no disk is used
    with pytest.raises(StudyError, match=f"100000000000 bytes, must be at most {LARGEST_CSV}"):
        read_column(tmp_path, "a.csv", "a")


@pytest.mark.parametrize(
    "content",
    [
        b"a\n" + b"1" * 200_000 + b"\n",
        b'a\n"1\n2\n',
        b"a\n1\0\n",
        b"\0",
        b"",
        "a\n1\n".encode("utf-16"),
        b"a\n\xe9\n",
        b"a\rb\r",
        b"a\n1_0\n\n,,\n",
    ],
)
def test_any_other_csv_is_a_line(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "a.csv").write_bytes(content)
    with pytest.raises(StudyError) as caught:
        read_column(tmp_path, "a.csv", "a")
    (fault,) = caught.value.faults
    assert fault.startswith('"a.csv"')
    assert fault.splitlines() == [fault]
    assert len(fault) < 300


# Of other scripts, spreadsheets and programs.
NO_NUMBERS = [
    "1_000",
    "\u0661\u0662",
    "\uff11\uff12",
    "1\u00a0000",
    "1 000",
    '"0,95"',
    "'1",
    "0x10",
    "1e",
    "+-1",
    "1.2.3",
    "inf",
    "nan",
    "1e999",
    "\u22121",
    "1e3_0",
]


@pytest.mark.parametrize("cell", NO_NUMBERS)
def test_a_cell_that_is_no_plain_number_is_refused_by_both_readers(
    tmp_path: Path, cell: str
) -> None:
    (tmp_path / "a.csv").write_text(f"n,a\n1,2.5\n1,{cell}\n", encoding="utf-8")
    with pytest.raises(StudyError, match=rf'^"a.csv" line 3: .* is not a finite number; {POINT}'):
        read_column(tmp_path, "a.csv", "a")
    (tmp_path / "m.csv").write_text(f"{HEAD}x,y,A,{cell},1\n", encoding="utf-8")
    with pytest.raises(
        StudyError, match=f"m.csv line 2: measured: .* must be a number .*; {POINT}"
    ):
        read_measured(tmp_path / "m.csv")


def test_a_decimal_comma_is_refused_by_both_readers_and_not_cut_off(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("a\n1\n0,95\n")
    with pytest.raises(StudyError) as caught:
        read_column(tmp_path, "a.csv", "a")
    assert caught.value.faults == (
        (
            '"a.csv" line 3: "0,95" has 2 cells, more cells than columns in the first line (1);'
            " write decimals with a point and nothing between digits, as in 1234.5"
        ),
    )
    (tmp_path / "m.csv").write_text(f"{HEAD}x,y,A,0,95,1\n")
    with pytest.raises(
        StudyError, match=r'line 2: "x,y,A,0,95,1" has 6 cells, more cells than col'
    ):
        read_measured(tmp_path / "m.csv")


def test_a_study_with_a_decimal_comma_in_its_csv_is_refused(tmp_path: Path) -> None:
    (tmp_path / "ohms.csv").write_text("ohm\n0,95\n0,4\n")
    law = '{ dist = "empirical", file = "ohms.csv", column = "ohm" }'
    key = "earth_fault_resistance_ohm"
    text = re.sub(f"(?m)^{key} = .*", f"{key} = {law}", minimal_study_text())
    assert law in text
    (tmp_path / "s.toml").write_text(text)
    with pytest.raises(StudyError, match=f'{key}.file: "ohms.csv" line 2: "0,95" has 2 cells'):
        read_study(tmp_path / "s.toml")


PLAIN = [("1", 1.0), ("-.5", -0.5), ("+1.", 1.0), (" 2.5e-3 ", 0.0025), ("1E2", 100.0)]


@pytest.mark.parametrize(("cell", "value"), PLAIN)
def test_plain_numbers_are_read(tmp_path: Path, cell: str, value: float) -> None:
    (tmp_path / "a.csv").write_text(f"a,b\n{cell},note\n{cell}\n")
    assert read_column(tmp_path, "a.csv", "a") == (value, value)


# --- measured values ----------------------------------------------------------


@pytest.mark.parametrize("name", [*ENDLESS, "folder", "dangling", "loop", "zero"])
def test_measured_values_come_from_an_ordinary_file(folder: Path, name: str) -> None:
    with pytest.raises(StudyError) as caught:
        read_measured(Path(name) if name.startswith("/") else folder / name)
    assert len(caught.value.faults) == 1


@pytest.mark.parametrize(
    "content",
    [
        b"#" * (LARGEST + 1),
        HEAD.encode("utf-16"),
        HEAD.encode() + b"\0,\0,\0,nan,1\n",
        HEAD.encode() + b'"x\n',
        HEAD.encode() + b"a" * 200_000,
        b"\xff",
        b"",
        HEAD.encode() + b"x,y,A,1,1\n" * 30_000,
    ],
)
def test_any_measured_file_is_rows_or_lines(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "m.csv").write_bytes(content)
    with pytest.raises(StudyError) as caught:
        read_measured(tmp_path / "m.csv")
    assert len(caught.value.faults) <= MOST_FAULTS
