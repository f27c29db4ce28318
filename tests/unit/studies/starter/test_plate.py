"""The name-plate of the command line: what it takes, and what it says to nonsense."""

from __future__ import annotations

import pytest

from montecarlo.errors import StudyError
from studies.starter.plate import READERS, Plate, next_standard_a, read_plate


def test_what_is_given_replaces_the_starter_s_and_the_rest_stays() -> None:
    assert read_plate(dict.fromkeys(READERS)) == Plate()
    plate = read_plate({"mva": "25", "kv": "11.0", "hz": None, "ct": "1500/5"})
    assert plate == Plate(
        mva=25, kv=11, primary_a=1500, secondary_a=5, given=frozenset({"mva", "kv", "ct"})
    )
    assert (plate.hz, plate.earthing_a) == (50, 200)
    assert read_plate({"hz": "16.7", "earthing-a": "1e3"}).earthing_a == 1000


def test_rated_values_by_hand() -> None:
    plate = Plate(mva=25, kv=11)
    assert plate.rated_a == pytest.approx(1312.16, abs=0.01)
    assert plate.phase_v == pytest.approx(6350.85, abs=0.01)
    assert plate.base_ohm == pytest.approx(4.84)
    assert (plate.ct_a, plate.turns) == (1500, 1500)


@pytest.mark.parametrize(
    ("current_a", "standard_a"),
    [(10, 10), (10.1, 12.5), (99, 100), (100, 100), (750, 750), (751, 1000), (17107, 20000)],
)
def test_the_next_standard_primary_current(current_a: float, standard_a: float) -> None:
    assert next_standard_a(current_a) == standard_a


POWER = "must be the rated apparent power in MVA, 1 to 2000; leave it out for the starter's 8"
NUMBER = "1 to 2000, a number such as 12.5; leave it out"
VOLTAGE = "must be the line-to-line voltage in kV, 1 to 30; leave it out for the starter's 6.6"
RATIO = "must be PRIMARY/SECONDARY in A; give both, as 1500/1 or 1500/5"


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        *(("mva", text, f"--mva {text}: {POWER}") for text in ("0", "-5", "1e9")),
        *(("mva", text, POWER) for text in ("1" * 500, "1e999")),
        *(("mva", text, NUMBER) for text in ("", "nan", "inf", "25MVA", "2_5", "25,5", "٢٥")),
        ("kv", "0.4", f"--kv 0.4: {VOLTAGE}"),
        ("kv", "11000", VOLTAGE),
        ("hz", "55", "--hz 55: must be the rated frequency, 50, 60, 16.7 or 25 Hz; a study file"),
        ("hz", "nan", "must be the rated frequency"),
        ("earthing-a", "0", "--earthing-a 0: must be the current of the earthing resistor"),
        ("earthing-a", "2001", "1 to 2000; leave it out for the starter's 200"),
        *(("ct", text, RATIO) for text in ("1500", "1500/", "/1", "1500/1/1", "a/b", "nan/1")),
        ("ct", "1500/7", "--ct 1500/7: the secondary is 7 A, must be 1 or 5 A"),
        ("ct", "0/1", "--ct 0/1: the primary is 0 A, must be 10 to 60000 A; give the ratio"),
        ("ct", "1e9/1", "the primary is 1e+09 A"),
    ],
)
def test_nonsense_is_a_line_with_value_limit_and_cure(name: str, text: str, said: str) -> None:
    with pytest.raises(StudyError) as refused:
        read_plate({name: text})
    (line,) = refused.value.faults
    assert said in line
    assert line.startswith(f"--{name} ")
    assert len(line) < 250


def test_every_wrong_option_has_its_line() -> None:
    with pytest.raises(StudyError) as refused:
        read_plate({"mva": "0", "kv": "11", "ct": "1500"})
    assert [fault.split()[0] for fault in refused.value.faults] == ["--mva", "--ct"]


def test_a_rated_current_far_above_the_ct_is_refused_and_a_little_is_not() -> None:
    with pytest.raises(StudyError) as refused:
        read_plate({"mva": "25", "kv": "11", "ct": "100/1"})
    assert refused.value.faults == (
        (
            "--ct 100/1: the machine's rated current of 1312 A is 13.1 times the CT's primary, must"
            " be at most 2 times; give the ratio on the CT's own plate, or check --mva and --kv"
        ),
    )
    assert read_plate({"mva": "25", "kv": "11", "ct": "1000/1"}).ct_a == 1000


def test_a_current_that_no_ct_carries_is_refused() -> None:
    with pytest.raises(StudyError, match=r"^--mva 2000: at 6\.6 kV the rated current is 174955 A"):
        read_plate({"mva": "2000"})
