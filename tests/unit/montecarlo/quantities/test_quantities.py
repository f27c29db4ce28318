"""Numbers and distributions: the families against scipy.stats, reading with its faults, ranges, CSV
columns."""

from __future__ import annotations

import math
import pickle
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import pytest
from pydantic import TypeAdapter, ValidationError
from pydantic_core import PydanticCustomError
from scipy import stats

from montecarlo.errors import StudyError
from montecarlo.plant.earthing import Earthing, EarthingOption
from montecarlo.quantities import (
    Distribution,
    Plain,
    Quantity,
    Ranged,
    Section,
    meaning_of,
    number,
    read_distribution,
    tables_of,
)
from montecarlo.quantities.columns import read_column
from montecarlo.quantities.wording import LONGEST, bare, listed, one_line, shown
from montecarlo.study.description import Study

U = np.array([2.0**-54, 1e-6, 0.01, 0.2, 0.5, 0.77, 0.99, 1 - 1e-9])

# Our table, and the frozen distribution of scipy.stats (1.17) that it must equal.
FAMILIES = [
    ({"dist": "uniform", "low": -2, "high": 5}, stats.uniform(-2, 7)),
    ({"dist": "normal", "mean": 3, "sd": 0.7}, stats.norm(3, 0.7)),
    ({"dist": "lognormal", "median": 2, "sigma": 1.2}, stats.lognorm(1.2, scale=2)),
    ({"dist": "triangular", "low": 1, "mode": 1.5, "high": 4}, stats.triang(0.5 / 3, 1, 3)),
    ({"dist": "triangular", "low": 1, "mode": 1, "high": 4}, stats.triang(0, 1, 3)),
    ({"dist": "triangular", "low": 1, "mode": 4, "high": 4}, stats.triang(1, 1, 3)),
    ({"dist": "beta", "alpha": 2, "beta": 5, "low": -1, "high": 3}, stats.beta(2, 5, -1, 4)),
    ({"dist": "weibull", "shape": 1.7, "scale": 40}, stats.weibull_min(1.7, scale=40)),
    ({"nominal": 60, "tolerance_percent": 10, "shape": "uniform"}, stats.uniform(54, 12)),
    ({"nominal": -60, "tolerance_percent": 10, "shape": "triangular"}, stats.triang(0.5, -66, 12)),
    ({"nominal": 60, "tolerance_percent": 10, "shape": "normal"}, stats.truncnorm(-3, 3, 60, 3)),
    ({"dist": "normal", "mean": 0, "sd": 2, "truncate": [-1, 5]}, stats.truncnorm(-0.5, 2.5, 0, 2)),
]


@pytest.mark.parametrize(
    ("table", "theirs"),
    FAMILIES,
    ids=lambda item: str(item.get("dist", item.get("shape"))) if isinstance(item, dict) else "",
)
def test_families_are_those_of_scipy_stats(table: dict[str, Any], theirs: Any) -> None:
    ours = read_distribution(table)
    spread = theirs.std()
    assert ours.ppf(U) == pytest.approx(theirs.ppf(U), rel=1e-9, abs=1e-9 * spread)
    x = np.linspace(theirs.ppf(0.001) - spread, theirs.ppf(0.999) + spread, 41)
    assert ours.cdf(x) == pytest.approx(theirs.cdf(x), rel=1e-9, abs=1e-12)
    assert ours.support() == pytest.approx(theirs.support())
    assert ours.mean() == pytest.approx(theirs.mean(), rel=1e-6, abs=1e-6 * spread)
    assert ours.centre() == pytest.approx(theirs.median())


def test_discrete_values_come_with_their_weights() -> None:
    law = read_distribution({"dist": "discrete", "values": [3, 1, 2], "weights": [0.5, 0.2, 0.3]})
    assert law.ppf([0.1, 0.2, 0.21, 0.5, 0.51, 1 - 2**-53]).tolist() == [1, 1, 2, 2, 3, 3]
    assert law.cdf([0.9, 1, 2.5, 3]) == pytest.approx([0, 0.2, 0.5, 1])
    assert law.mean() == pytest.approx(2.3)
    assert not law.is_continuous


def test_a_value_of_no_weight_is_outside_the_support() -> None:
    law = read_distribution({"dist": "discrete", "values": [-5, 1], "weights": [0, 1]})
    assert law.support() == (1, 1)


def test_empirical_values_weigh_alike() -> None:
    law = read_distribution({"dist": "empirical", "values": [4, 2, 2, 8]})
    assert law.ppf([0.25, 0.5, 0.75, 0.9]).tolist() == [2, 2, 4, 8]
    assert law.mean() == 4


def test_a_number_has_no_spread() -> None:
    law = read_distribution(7)
    assert law == number(7.0)
    assert law.is_number
    assert law.ppf(U).tolist() == [7.0] * len(U)
    assert law.cdf([6.9, 7]).tolist() == [0, 1]
    assert read_distribution({"value": 7, "source": "nameplate"}).source == "nameplate"


@pytest.mark.parametrize(
    "table",
    [table for table, _ in FAMILIES]
    + [
        3.5,
        {"value": 3, "source": "test report"},
        {"dist": "empirical", "values": [1.0, 2.0]},
        {
            "dist": "discrete",
            "values": [1.0, 2.0],
            "weights": [0.5, 0.5],
            "varies": "event",
            "shared": True,
        },
    ],
)
def test_as_table_is_what_the_file_would_say(table: Any) -> None:
    law = read_distribution(table)
    again = read_distribution(law.as_table())
    assert again == law
    assert pickle.loads(pickle.dumps(law)).ppf(0.3) == again.ppf(0.3)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        (True, "true is not a finite number"),
        ("63.5", '"63.5" is not a finite number'),
        (math.nan, "nan is not a finite number"),
        (math.inf, "inf is not a finite number"),
        (10**400, "is not a finite number"),
        ([1], "[1] is not a finite number"),
        ({}, "is no quantity"),
        ({"value": "x"}, '"x" is not a finite number; give one'),
        ({"dist": "uniform", "low": "x", "high": 1}, '"x" is not a finite number; give one'),
        ({"dist": "lognormal", "median": 1, "sigma": 1e308}, "values too large to compute with"),
        ({"value": 1, "unit": "ohm"}, "may carry only source"),
        ({"dist": "lognorml"}, "did you mean lognormal?"),
        ({"dist": ["normal"]}, "it is one of uniform"),
        ({"dist": "tolerance", "nominal": 1}, "it is one of uniform"),
        ({"dist": "normal", "mean": 1}, "also needs sd"),
        ({"dist": "normal", "mean": 1, "sd": 0}, "must be above 0"),
        (
            {"dist": "normal", "mean": 1, "sd": 1, "std": 1},
            "unknown in the normal distribution; did you mean sd?",
        ),
        (
            {"nominal": 1, "tolerance_percent": 5},
            'needs its shape: shape = "uniform", "triangular" or "normal"',
        ),
        ({"nominal": 1, "shape": "uniform"}, "also needs tolerance_percent"),
        (
            {"nominal": 0, "tolerance_percent": 5, "shape": "uniform"},
            "has no tolerance in per cent",
        ),
        (
            {"nominal": 1, "tolerance_percent": 5, "shape": "flat"},
            "say uniform, triangular or normal",
        ),
        ({"dist": "uniform", "low": 2, "high": 2}, "must lie below high"),
        ({"dist": "triangular", "low": 1, "mode": 5, "high": 2}, "between low and high"),
        ({"dist": "discrete", "values": [1, 2], "weights": [1]}, "1 weights for 2 values"),
        ({"dist": "discrete", "values": [1, 2], "weights": [0.5, 0.6]}, "not to 1.1"),
        ({"dist": "discrete", "values": [], "weights": []}, "expected a list"),
        (
            {"dist": "empirical", "values": [1, math.nan]},
            "nan is not a finite number; give numbers",
        ),
        (
            {"dist": "empirical", "values": [1], "truncate": [0, 2]},
            "unknown in the empirical distribution",
        ),
        ({"dist": "normal", "mean": 0, "sd": 1, "truncate": [3, 1]}, "must lie below"),
        ({"dist": "normal", "mean": 0, "sd": 1, "truncate": [9, 10]}, "must keep at least 1e-06"),
        ({"dist": "normal", "mean": 0, "sd": 1, "truncate": [0, math.inf]}, "two finite numbers"),
        ({"dist": "normal", "mean": 0, "sd": 1, "shared": "yes"}, "say true or false"),
        ({"dist": "normal", "mean": 0, "sd": 1, "varies": "year"}, 'say "installation" or "event"'),
        ({"dist": "normal", "mean": 0, "sd": 1, "source": 3}, "expected a text"),
        ({"dist": "uniform", "low": -1e308, "high": 1.5e308}, "too large to compute with"),
        ({"dist": "weibull", "shape": 1e-9, "scale": 1}, "too large to compute with"),
        ({"dist": "lognormal", "median": 1, "sigma": 1e200}, "too large to compute with"),
        ({"dist": "empirical", "file": "x.csv"}, "needs file and column"),
        ({"dist": "empirical", "file": "x.csv", "column": "a"}, "no folder to start from"),
    ],
)
def test_a_table_that_is_no_distribution_is_refused(table: Any, words: str) -> None:
    with pytest.raises(PydanticCustomError) as caught:
        read_distribution(table)
    assert words in str(caught.value)


def test_all_faults_of_a_table_are_told_at_once() -> None:
    with pytest.raises(PydanticCustomError) as caught:
        read_distribution({"dist": "lognormal", "median": -1, "sigm": 2, "shared": 1})
    assert [key for key, _ in (caught.value.context or {})["faults"]] == [
        "sigm",
        "",
        "median",
        "shared",
    ]


# --- ranges -------------------------------------------------------------------

OHM = Quantity("ohm", "a resistance", 0.0, high=100.0, above=True, usual=(0.01, 50.0))


def read_as(quantity: Quantity | Plain, value: Any) -> Any:
    return TypeAdapter(
        Annotated[Distribution if isinstance(quantity, Quantity) else float, quantity]
    ).validate_python(value, strict=True)


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0, "0 ohm, must be above 0 and at most 100 ohm"),
        (-1, "-1 ohm, must be"),
        (101, "101 ohm, must be"),
        (70, "the widest range seen in practice; is the unit prefix right?"),
        ({"dist": "normal", "mean": 5, "sd": 1}, "cut it with truncate = [low, high]"),
        ({"dist": "uniform", "low": 0, "high": 1}, "can be 0 ohm"),
        ({"dist": "discrete", "values": [0, 1], "weights": [0.1, 0.9]}, "take that value out"),
        ({"dist": "uniform", "low": 1, "high": 2, "shared": True}, "one value already"),
    ],
)
def test_a_value_that_can_leave_its_range_is_refused(value: Any, words: str) -> None:
    with pytest.raises(ValidationError) as caught:
        read_as(OHM, value)
    assert words in str(caught.value)


@pytest.mark.parametrize(
    "value",
    [
        5,
        {"dist": "normal", "mean": 5, "sd": 1, "truncate": [1, 9]},
        {
            "dist": "lognormal",
            "median": 5,
            "sigma": 1,
            "truncate": [0, 100],
        },  # comes near 0, never there
        {"dist": "discrete", "values": [0, 1], "weights": [0, 1]},
    ],
)
def test_a_value_inside_its_range_is_taken(value: Any) -> None:
    law = read_as(OHM, value)
    assert np.all((law.ppf(U) > 0) & (law.ppf(U) <= 100))


@pytest.mark.parametrize("value", [True, "1", math.nan, math.inf, 0, 11, 10**400, None])
def test_a_plain_number_is_a_number_in_its_range(value: Any) -> None:
    with pytest.raises(ValidationError):
        TypeAdapter(Annotated[float, Plain("s", "a time", 0.0, 10.0, above=True)]).validate_python(
            value, strict=True
        )


def all_tables(model: type[Any] = Study) -> list[type[Any]]:
    inner = [
        table for field in model.model_fields.values() for table in tables_of(field.annotation)
    ]
    return [model, *(found for table in inner for found in all_tables(table))]


def test_every_field_has_a_unit_and_a_meaning() -> None:
    """Numbers a unit, a text and a range; names, choices, switches and tables a text."""
    for table in all_tables():
        assert issubclass(table, Section)
        for name, field in table.model_fields.items():
            key, meaning = f"{table.__name__}.{name}", meaning_of(field)
            if not isinstance(meaning, Ranged):
                as_in_earthing = (
                    table is EarthingOption and name in Earthing.model_fields
                )  # read once more there
                pair = key in {"Relay.range_a", "Policy.front"}  # checked together
                assert "float" not in str(field.annotation) or pair or as_in_earthing, key
                assert "Distribution" not in str(field.annotation), key
                assert meaning is not None, key
                assert meaning.text, key
            else:
                assert meaning.unit, key
                assert meaning.text, key


# --- columns of CSV files -----------------------------------------------------


def test_a_column_is_read_beside_the_study(tmp_path: Path) -> None:
    (tmp_path / "tests").mkdir()
    (tmp_path / "tests" / "knees.csv").write_text(
        "\ufeffct, knee_v \nA,300\nB, 312.5\n\nC,3e2\n", encoding="utf-8"
    )
    law = read_distribution(
        {"dist": "empirical", "file": "tests/knees.csv", "column": "knee_v"}, tmp_path
    )
    assert law.parameters["values"] == (300.0, 312.5, 300.0)
    assert law.source == "tests/knees.csv, column knee_v"
    own = read_distribution(
        {"dist": "empirical", "file": "tests/knees.csv", "column": "knee_v", "source": "report 7"},
        tmp_path,
    )
    assert own.source == "report 7"


@pytest.mark.parametrize(
    "file",
    [
        "../knees.csv",
        "/etc/passwd",
        "a/../../knees.csv",
        "C:\\knees.csv",
        "..\\knees.csv",
        "link.csv",
        "folder/inside.csv",
        "loop.csv",
        "nul\0l.csv",
    ],
)
def test_a_column_from_outside_the_folder_is_refused(tmp_path: Path, file: str) -> None:
    folder = tmp_path / "study"
    folder.mkdir()
    for place in (tmp_path, tmp_path / "elsewhere"):
        place.mkdir(exist_ok=True)
        for name in ("knees.csv", "inside.csv"):
            (place / name).write_text("knee_v\n300\n")
    (folder / "link.csv").symlink_to(tmp_path / "knees.csv")
    (folder / "folder").symlink_to(tmp_path / "elsewhere")
    (folder / "loop.csv").symlink_to(folder / "loop.csv")
    with pytest.raises(StudyError, match=r"must lie in the study file's folder|is not a file"):
        read_column(folder, file, "knee_v")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"knee\n300\n", 'column "knee_v" is missing in the first line, which has "knee"'),
        (b"knee_v;x\n300;1\n", "cells are separated by commas"),
        (b"knee_v,knee_v\n1,2\n", "stands twice"),
        (b"", "which has nothing"),
        (b"knee_v\n", "has no numbers"),
        (b"knee_v\n300\n3OO\n", 'line 3: "3OO" is not a finite number'),
        (b"x,knee_v\n1,300\n2\n", 'line 3: "" is not a finite number'),
        (b"knee_v\nnan\n", "is not a finite number"),
        (b"knee_v\n0\n1e-31\n", 'line 3: "1e-31", must be 0 or at least 1e-30 either way'),
        (b"knee_v\n1e999\n", "is not a finite number"),
        (b"knee_v\n\xff\n", "is not UTF-8"),
        (b'knee_v\n"3\n', "cannot be read"),
    ],
)
def test_a_column_that_holds_no_numbers_is_refused(
    tmp_path: Path, content: bytes, words: str
) -> None:
    (tmp_path / "knees.csv").write_bytes(content)
    with pytest.raises(StudyError) as caught:
        read_column(tmp_path, "knees.csv", "knee_v")
    assert words in str(caught.value)


# --- wording ------------------------------------------------------------------


def test_values_are_shown_short_and_on_one_line() -> None:
    assert [shown(v) for v in (True, 1, 0.1, 2.0, "a", None, [1, [2]], {"a b": {}})] == [
        "true",
        "1",
        "0.1",
        "2.0",
        '"a"',
        "nothing",
        "[1, [...]]",
        '{"a b" = {...}}',
    ]
    for value in ("x\n\x85\u2028y", "z" * 500, list(range(500)), 10**5000, {"k": "\r"}):
        assert len(shown(value)) <= LONGEST
        assert len(shown(value).splitlines()) == 1
    assert one_line("Ω\n") == "Ω\\n"
    assert (bare("a-1"), bare("a b"), bare(3)) == ("a-1", '"a b"', "3")
    assert (listed([]), listed("a"), listed("ab"), listed("abc", "or")) == (
        "",
        "a",
        "a and b",
        "a, b or c",
    )
