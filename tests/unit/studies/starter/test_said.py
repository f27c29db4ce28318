"""What the terminal says of a starter that was written."""

from __future__ import annotations

from pathlib import Path

import pytest

from montecarlo.errors import StudyError
from studies.starter.plate import Plate, read_plate
from studies.starter.said import doubts, written
from studies.starter.scaling import Scaled
from tests.made.said import words


def said(**given: str) -> str:
    plate = read_plate({name.replace("_", "-"): text for name, text in given.items()})
    return words(written(Path("mine.toml"), plate))


def test_an_invented_machine_is_called_so() -> None:
    assert written(Path("mine.toml"), Plate()) == (
        "mine.toml: a starter study of an invented machine. Change it to yours, then:"
    )


def test_a_machine_is_said_with_what_follows_and_what_is_assumed() -> None:
    text = said(mva="800", kv="27", earthing_a="100")
    assert "machine of 800 MVA, 27 kV, 50 Hz. Rated current 17110 A, CTs 20000/1 A" in text
    assert "resistor 155.9 ohm for 100 A" in text.replace("Ω", "ohm")
    assert "Not given, so assumed: 50 Hz; CTs 20000/1 A." in text
    assert "Caution" not in text
    assert "Not given" not in said(mva="25", kv="11", hz="50", earthing_a="200", ct="1500/1")


def test_an_earthing_current_that_does_not_fit_is_a_caution() -> None:
    assert "--earthing-a 1000: an earth fault at the terminals gives 532 A." in said(
        mva="5", kv="27", earthing_a="1000"
    )
    assert "below the capacitive current of an earth fault, 10 A" in said(
        mva="800", kv="27", hz="60", earthing_a="5"
    )


def test_cautions_begin_at_the_limits() -> None:
    middle = Scaled(Plate(mva=800, kv=27))
    few = middle.capacitive_a
    counts = [
        len([*doubts(Scaled(Plate(mva=800, kv=27, earthing_a=current)))])
        for current in (0.99 * few, 1.01 * few)
    ]
    assert counts == [1, 0]
    small = Scaled(Plate(mva=5, kv=27)).solid_a
    counts = [
        len([*doubts(Scaled(Plate(mva=5, kv=27, earthing_a=current)))])
        for current in (0.99 * small, 1.01 * small)
    ]
    assert counts == [0, 1]


def test_nothing_is_said_of_a_name_plate_that_is_refused() -> None:
    with pytest.raises(StudyError):
        said(mva="0")
