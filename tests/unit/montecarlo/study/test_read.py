"""The door: files, wording of faults, grids and snapping, digest of the study."""

from __future__ import annotations

import copy
import math
import pickle
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from montecarlo.errors import StudyError
from montecarlo.plant.events.kinds import KINDS
from montecarlo.quantities.wording import listed, shown
from montecarlo.study.grids import MOST_POINTS
from montecarlo.study.read import LARGEST_FILE, digest, parse_study, read_study
from studies.report.notes import move_sentences
from tests.made.studies import REMOVE, faults_of, minimal_study_text, study_table, study_with

HERE = Path(".")
KIND_WORDS = listed(map(shown, KINDS), "or")


# --- files --------------------------------------------------------------------


def test_a_file_is_read(tmp_path: Path) -> None:
    file = tmp_path / "study.toml"
    file.write_bytes(b"\xef\xbb\xbf" + minimal_study_text().replace("\n", "\r\n").encode())
    study = read_study(file)
    assert study == study_with()
    assert study.machine.frequency_hz == 50
    assert study.candidates.earth_pickup_a == (0.02, 0.04, 0.06, 0.08, 0.1)
    assert study.moves == ()


def test_samples_and_seed_stand_in_for_those_of_the_file(tmp_path: Path) -> None:
    file = tmp_path / "study.toml"
    file.write_text(minimal_study_text())
    study = read_study(str(file), samples=64, seed=0)
    assert (study.study.samples, study.study.seed) == (64, 0)
    with pytest.raises(StudyError, match=r"^study\.samples: 0, must be at least 1"):
        read_study(file, samples=0)
    with pytest.raises(StudyError, match=r"^study\.seed: -1, must be"):
        read_study(file, seed=-1)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"[study]\ntitle = \n", "not valid TOML: Invalid value (at line 2, column 9)"),
        (b"[earthing]\nresistance_ohm = 6,3\n", "line 2, column 19"),
        (b"a = \xff", "byte 5 is not UTF-8 text; save the file as UTF-8"),
        (b"a = " + b"[" * 5000, "nested too deeply"),
        (b"a = " + b"9" * 5000, "cannot be read"),
        (b"#" * (LARGEST_FILE + 1), f"{LARGEST_FILE + 1} bytes, must be at most {LARGEST_FILE}"),
        (None, "no such file; check the path"),
        ("folder", "is a folder; name the study file in it"),
    ],
)
def test_a_file_that_is_no_study_file_is_refused(
    tmp_path: Path, content: bytes | str | None, words: str
) -> None:
    file = tmp_path / "study.toml"
    if isinstance(content, bytes):
        file.write_bytes(content)
    elif content:
        file.mkdir()
    with pytest.raises(StudyError) as caught:
        read_study(file)
    assert len(caught.value.faults) == 1
    assert str(caught.value).startswith(f"{file}: ")
    assert words in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1


def test_csv_columns_lie_beside_the_study_file(tmp_path: Path) -> None:
    text = minimal_study_text().replace(
        "knee_current_a = 0.03",
        'knee_current_a = { dist = "empirical", file = "k.csv", column = "a" }',
    )
    (tmp_path / "study.toml").write_text(text)
    with pytest.raises(StudyError, match=r'^ct\.knee_current_a\.file: "k\.csv" is not a file in '):
        read_study(tmp_path / "study.toml")
    (tmp_path / "k.csv").write_text("a\n0.02\n0.03\n")
    assert read_study(tmp_path / "study.toml").ct.knee_current_a.parameters["values"] == (
        0.02,
        0.03,
    )
    (tmp_path / "k.csv").write_text("a\n0.02\n-0.03\n")
    with pytest.raises(
        StudyError, match=r"^ct\.knee_current_a: can be -0\.03 A, must be at least 0"
    ):
        read_study(tmp_path / "study.toml")


# --- wording ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "value", "line"),
    [
        (
            "earthing.resistence_ohm",
            6,
            "earthing.resistence_ohm: unknown; did you mean resistance_ohm?",
        ),
        (
            "machine.resistance_ohm",
            6,
            "machine.resistance_ohm: unknown; it belongs in [earthing] or [[earthing_options]]",
        ),
        (
            "external_events.near_fault.knd",
            1,
            "external_events.near_fault.knd: unknown; did you mean kind?",
        ),
        (
            "network.rubbish",
            1,
            "network.rubbish: unknown; known here: reactance_pu, x_over_r, external_capacitance_f",
        ),
        (
            "my table",
            {},
            (
                '"my table": unknown; known here: study, machine, winding, network, load, states,'
                " earthing, ct, scheme, relay, backup, internal_faults, external_events,"
                " candidates, policy, correlations, fault_energy, damage, dependability,"
                " earthing_options, alternatives, waveforms, document"
            ),
        ),
        (
            "earthing.resistance_ohm",
            REMOVE,
            (
                "earthing: no resistor given; give exactly one of resistance_ohm, current_limit_a,"
                " and transformer_ratio with secondary_resistance_ohm"
            ),
        ),
        (
            "policy",
            REMOVE,
            "policy: missing; give a table: limits that the chosen setting must meet",
        ),
        (
            "external_events.0.kind",
            REMOVE,
            f"external_events.near_fault.kind: missing; give {KIND_WORDS}",
        ),
        (
            "external_events.0.kind",
            "three_fase",
            f'external_events.near_fault.kind: "three_fase"; expected {KIND_WORDS}',
        ),
        (
            "external_events.near_fault.clearing_tme_s",
            1,
            "external_events.near_fault.clearing_tme_s: unknown; did you mean clearing_time_s?",
        ),
        (
            "external_events.near_fault.resistance_ohm",
            1,
            (
                "external_events.near_fault.resistance_ohm: unknown; it belongs in [earthing] or"
                " [[earthing_options]]"
            ),
        ),
        (
            "machine.line_voltage_v",
            "11 kV",
            'machine.line_voltage_v: "11 kV"; expected a number: rated line-to-line voltage [V]',
        ),
        (
            "machine.line_voltage_v",
            True,
            "machine.line_voltage_v: true is not a number; give the rated line-to-line voltage [V]",
        ),
        (
            "machine.line_voltage_v",
            math.nan,
            "machine.line_voltage_v: nan; expected a number: rated line-to-line voltage [V]",
        ),
        (
            "machine.line_voltage_v",
            11,
            "machine.line_voltage_v: 11 V, must be at least 100 and at most 50000 V; give such a"
            " value: rated line-to-line voltage",
        ),
        (
            "machine.winding_exponent",
            True,
            (
                "machine.winding_exponent: true is not a number; give the k in Z_w(x) = R_w x + jX"
                " x^k: 2 (ampere-turns squared) or 1 (linear, as in textbooks) [-]"
            ),
        ),
        (
            "earthing.resistance_ohm",
            True,
            "earthing.resistance_ohm: true is not a finite number; give a number or a distribution",
        ),
        (
            "earthing.resistance_ohm",
            -6,
            "earthing.resistance_ohm: -6 ohm, must be above 0 ohm;"
            " give such a value: neutral earthing resistor, cold",
        ),
        (
            "earthing.resistance_ohm",
            math.inf,
            "earthing.resistance_ohm: inf is not a finite number; give a number or a distribution",
        ),
        (
            "earthing.resistance_ohm",
            {"nominal": 6, "tolerance_percent": 10},
            (
                'earthing.resistance_ohm: a tolerance needs its shape: shape = "uniform",'
                ' "triangular" or "normal"'
            ),
        ),
        (
            "ct.knee_voltage_v",
            {"dist": "normal", "mean": 1, "sdd": 1, "sd": 1},
            "ct.knee_voltage_v.sdd: unknown in the normal distribution; did you mean sd?",
        ),
        (
            "ct.neutral_end.knee_voltage",
            3,
            "ct.neutral_end.knee_voltage: unknown; did you mean knee_voltage_v?",
        ),
        (
            "machine.stator_capacitance_f",
            0.2,
            "machine.stator_capacitance_f: 0.2 F, must be at least 0 and at most 0.0001 F; give"
            " such a value: stator winding to earth, per phase",
        ),
        (
            "study.samples",
            1.5,
            "study.samples: 1.5; expected a whole number: sampled events of each counted type [-]",
        ),
        ("scheme.kind", "per_fase", 'scheme.kind: "per_fase" is unknown; did you mean per_phase?'),
        (
            "scheme.kind",
            3,
            (
                "scheme.kind: 3; expected a text or a list of these: per_phase,"
                " two_phase_one_earth, biased, restricted_earth_fault,"
                " biased_restricted_earth_fault, biased_with_restricted_earth_fault, split_phase,"
                " core_balance, neutral_to_neutral, or the name of a scheme in [[scheme.custom]]"
            ),
        ),
        (
            "scheme.watched_phases",
            ["L1"],
            'scheme.watched_phases: ["L1"]; expected a list of 2, each "L1", "L2" or "L3": the'
            " two phases that have a phase element",
        ),
        (
            "scheme.watched_phases",
            ["L1", "L1"],
            "scheme.watched_phases: L1 is named twice; name two different phases",
        ),
        (
            "internal_faults.shares.earth",
            0.7,
            "internal_faults.shares: the shares sum to 0.9; they must sum to 1",
        ),
        (
            "external_events",
            {"name": "x"},
            (
                'external_events: {name = "x"}; expected a list of tables, each under its own'
                " [[...]]: events outside the zone, each a table [[external_events]]"
            ),
        ),
        (
            "correlations",
            [{"between": ["ct.knee_voltage_v"], "rho": 0.1}],
            (
                'correlations[0].between: ["ct.knee_voltage_v"]; expected a list of 2, each a text:'
                ' keys of the two inputs, as "ct.knee_voltage_v"'
            ),
        ),
        (
            "machine",
            3,
            (
                "machine: 3; expected a table: the machine: rating, reactances, time constants,"
                " winding"
            ),
        ),
        ("study.title", "a\nb\x85c", None),
        (
            "ct.saturation_exponent",
            10,
            (
                "ct.saturation_exponent: 10 is even; the excitation curve is odd in flux: use an"
                " odd power"
            ),
        ),
    ],
)
def test_a_fault_names_key_value_limit_and_cure(key: str, value: Any, line: str | None) -> None:
    if line is None:
        assert study_with({key: value}).study.title == value
    else:
        assert faults_of({key: value}) == (line,)


def test_all_faults_are_told_at_once_each_on_its_line() -> None:
    faults = faults_of(
        {
            "earthing.resistence_ohm": 1,
            "machine.line_voltage_v": True,
            "internal_faults.shares.earth": 0.7,
            "policy.false_per_year_max": 1,
            "external_events.far_fault.kind": 3,
            "candidates.delay_s": [],
            "ct.remanence_percent": {"dist": "uniform", "low": -90, "high": 90},
        }
    )
    assert [fault.split(":")[0] for fault in faults] == [
        "machine.line_voltage_v",
        "earthing.resistence_ohm",
        "internal_faults.shares",
        "external_events.far_fault.kind",
        "candidates.delay_s",
        "policy",
        "ct.remanence_percent",
    ]


def test_an_item_without_a_name_of_its_own_goes_by_its_index() -> None:
    assert faults_of({"external_events.1.name": REMOVE})[0].startswith(
        "external_events[1].name: missing"
    )
    same = faults_of({"external_events.1.name": "near_fault", "external_events.0.kind": 3})
    assert any(fault.startswith("external_events[0].kind: 3; expected") for fault in same)


def test_an_event_of_no_kind_is_told_with_what_is_wrong_whatever_its_kind() -> None:
    faults = faults_of(
        {
            "external_events.near_fault.kind": [1],
            "external_events.near_fault.clering_time_s": 1,
            "external_events.near_fault.rubbish": 1,
        }
    )
    assert faults == (
        f"external_events.near_fault.kind: [1]; expected {KIND_WORDS}",
        "external_events.near_fault.clering_time_s: unknown; did you mean clearing_time_s?",
        "external_events.near_fault.rubbish: unknown; take it out",
    )
    assert faults_of({"external_events": [3]}) == (
        "external_events[0]: 3; expected a table with name, kind, per_year",
    )


def test_the_table_given_is_left_as_it_was() -> None:
    table = study_table({"relay.step_a": 0.05, "candidates.earth_pickup_a": [0.07, 0.1]})
    before = copy.deepcopy(table)
    parse_study(table, HERE)
    assert table == before


# --- grids --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("grid", "points"),
    [
        ([0.2, 0.1, 0.2], (0.1, 0.2)),
        ([1], (1.0,)),
        ({"from": 0.1, "to": 0.3, "step": 0.1}, (0.1, 0.2, 0.3)),
        ({"from": 0.1, "to": 0.35, "step": 0.1}, (0.1, 0.2, 0.3)),
        ({"from": 0.1, "to": 0.1, "step": 1}, (0.1,)),
        ({"from": 0.01, "to": 1, "step": 0.01}, tuple(k / 100 for k in range(1, 101))),
        ({"from": 0.005, "to": 0.02, "step": 0.005}, (0.005, 0.01, 0.015, 0.02)),
        ({"from": 1, "to": 3, "step": 1}, (1.0, 2.0, 3.0)),
    ],
)
def test_a_grid_is_sorted_unique_and_holds_its_end(grid: Any, points: tuple[float, ...]) -> None:
    assert study_with({"candidates.phase_pickup_a": grid}).candidates.phase_pickup_a == points


@given(st.integers(1, 200), st.integers(0, 300), st.sampled_from([0.001, 0.0025, 0.01, 0.05, 0.1]))
@settings(max_examples=50, deadline=None)
def test_a_grid_has_as_many_points_as_steps_and_one(start: int, steps: int, step: float) -> None:
    grid = {"from": start * step, "to": (start + steps) * step, "step": step}
    points = study_with(
        {"candidates.phase_pickup_a": grid, "candidates.earth_pickup_a": [0.1]}
    ).candidates.phase_pickup_a
    assert len(points) == steps + 1
    assert points == pytest.approx([(start + k) * step for k in range(steps + 1)], rel=1e-11)


@pytest.mark.parametrize(
    ("key", "grid", "line"),
    [
        ("phase_pickup_a", [], "phase_pickup_a: [] is empty; name at least one setting in A"),
        ("phase_pickup_a", 0.1, "phase_pickup_a: 0.1 is not a grid; write [0.1]"),
        (
            "phase_pickup_a",
            "0.1",
            (
                'phase_pickup_a: "0.1" is not a grid; give a list of numbers or { from = ..., to ='
                " ..., step = ... }"
            ),
        ),
        (
            "phase_pickup_a",
            [0, 0.1],
            "phase_pickup_a: 0 A, must be above 0 and at most 50 A; give such a value: phase"
            " pick-ups, secondary; for schemes with phase elements",
        ),
        (
            "earth_pickup_a",
            {"from": 0, "to": 1, "step": 0.5},
            "earth_pickup_a: 0 A, must be above 0 and at most 50 A; give such a value: earth"
            " pick-ups, secondary; for schemes with an earth element",
        ),
        (
            "earth_pickup_a",
            [20, 60, 80],
            "earth_pickup_a: 60 A and 1 more, must be above 0 and at most 50 A; give such a value:"
            " earth pick-ups, secondary; for schemes with an earth element",
        ),
        (
            "delay_s",
            [-0.1],
            "delay_s: -0.1 s, must be at least 0 and at most 60 s; give such a value: delays of"
            " every element",
        ),
        ("delay_s", [True], "delay_s: true is not a finite number; give numbers in s"),
        ("delay_s", [math.nan], "delay_s: nan is not a finite number; give numbers in s"),
        ("delay_s", {"from": 0, "to": 1, "step": 0}, "delay_s.step: 0 s, must be above 0"),
        (
            "delay_s",
            {"from": 1, "to": 0, "step": 1},
            "delay_s.from: 1 s lies above to = 0 s; swap them",
        ),
        ("delay_s", {"from": 0, "to": 1}, "delay_s.step: missing; a range takes from, to and step"),
        (
            "delay_s",
            {"from": 0, "to": 1, "step": 1, "by": 1},
            "delay_s.by: unknown in a range; it takes from, to and step",
        ),
        (
            "delay_s",
            {"from": 0, "to": math.inf, "step": 1},
            "delay_s.to: inf is not a finite number; give one",
        ),
        ("first_slope", [True], "first_slope: true is not a finite number; give numbers"),
        ("first_slope", [], "first_slope: [] is empty; name at least one setting"),
        (
            "first_slope",
            {"from": 0.1, "to": 0.5, "step": 0},
            "first_slope.step: 0, must be above 0",
        ),
        (
            "first_slope",
            {"from": 0.5, "to": 0.1, "step": 0.1},
            "first_slope.from: 0.5 lies above to = 0.1; swap them",
        ),
        (
            "phase_pickup_a",
            {"from": 0.1, "to": 50, "step": 1e-9},
            (
                f"phase_pickup_a: 49900000001 points, must be at most {MOST_POINTS}; take a wider"
                " step or a narrower range"
            ),
        ),
        (
            "phase_pickup_a",
            {"from": 1, "to": 50, "step": 1e-30},
            (
                f"phase_pickup_a: far too many points, must be at most {MOST_POINTS}; take a wider"
                " step or a narrower range"
            ),
        ),
    ],
)
def test_a_grid_that_is_none_is_refused(key: str, grid: Any, line: str) -> None:
    assert faults_of({f"candidates.{key}": grid})[0] == f"candidates.{line}"


def test_too_many_candidates_are_refused() -> None:
    grid = [0.01 * k for k in range(1, 301)]
    assert faults_of({"candidates.phase_pickup_a": grid, "candidates.earth_pickup_a": grid}) == (
        "candidates: 180000 settings in all, must be at most 100000; take coarser grids",
    )


def test_pickups_snap_to_the_relay() -> None:
    study = study_with(
        {
            "relay.step_a": 0.03,
            "candidates.phase_pickup_a": [0.3, 0.6],
            "candidates.earth_pickup_a": [0.02, 0.025, 0.03, 0.1],
        }
    )
    assert study.candidates.phase_pickup_a == (0.3, 0.6)
    assert study.candidates.earth_pickup_a == (0.03, 0.09)
    assert tuple(move_sentences(study)) == (
        (
            "candidates.earth_pickup_a: moved to the relay's step of 0.03 A: 0.02 to 0.03, 0.025 to"
            " 0.03, 0.1 to 0.09 A."
        ),
        "candidates.earth_pickup_a: 2 of 4 pick-ups fell on another's step; 2 are left.",
    )


def test_steps_count_from_the_lower_end_of_the_range_and_stay_inside() -> None:
    study = study_with(
        {
            "relay.step_a": 0.04,
            "relay.range_a": [0.05, 0.2],
            "candidates.phase_pickup_a": [0.1, 0.2],
            "candidates.earth_pickup_a": [0.05],
        }
    )
    assert study.candidates.phase_pickup_a == (
        0.09,
        0.17,
    )  # 0.21 would be nearer to 0.2, and is out of range


def test_pickups_outside_the_relays_range_are_refused() -> None:
    assert faults_of(
        {
            "relay.range_a": [0.05, 0.15],
            "candidates.phase_pickup_a": [0.1, 0.2],
            "relay.step_a": 0.05,
        }
    ) == (
        (
            "candidates.phase_pickup_a: 0.2 A, 0.05 ... 0.15 A is the relay's range; keep the grid"
            " inside it"
        ),
        (
            "candidates.earth_pickup_a: 0.02, 0.04 A, 0.05 ... 0.15 A is the relay's range; keep"
            " the grid inside it"
        ),
    )
    assert faults_of({"relay.step_a": 0.1, "candidates.earth_pickup_a": [0.04, 0.1]}) == (
        (
            "candidates.earth_pickup_a: 0.04 A, which would be set to 0 by the relay's step of 0.1"
            " A; start the grid at one step"
        ),
    )


def test_what_was_told_travels_with_the_study() -> None:
    study = study_with({"relay.step_a": 0.03, "candidates.phase_pickup_a": [0.1]})
    assert study.moves
    assert study.model_copy(update={"load": study.load}).moves == study.moves
    assert pickle.loads(pickle.dumps(study)).moves == study.moves
    assert pickle.loads(pickle.dumps(study)) == study
    assert "moves" not in str(study.model_dump())


def test_the_existing_setting_is_not_moved() -> None:
    existing = {"phase_pickup_a": 0.101, "earth_pickup_a": 0.033}
    study = study_with({"relay.step_a": 0.01, "candidates.existing": existing})
    assert study.candidates.existing is not None
    assert study.candidates.existing.earth_pickup_a == 0.033
    assert study.moves == ()


# --- digest -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "same"),
    [
        ({"study.title": "another"}, True),
        ({"ct.knee_voltage_v.source": "test report 12"}, True),
        ({"document": {"number": "E-12", "revision": "B", "checked_by": "somebody"}}, True),
        ({"machine.line_voltage_v": 11000.0, "machine.frequency_hz": 50}, True),
        (
            {
                "earthing.resistance_ohm": {
                    "shape": "uniform",
                    "tolerance_percent": 10.0,
                    "nominal": 21.2,
                }
            },
            True,
        ),
        ({"ct.knee_current_a": {"value": 0.03, "source": "report"}}, True),
        ({"candidates.earth_pickup_a": [0.02, 0.04, 0.06, 0.08, 0.1]}, True),
        ({"scheme.kind": ["two_phase_one_earth"]}, True),
        ({"study.unresolved_share_max": 0.5}, True),
        ({"earthing.resistance_ohm": 21.2}, False),
        ({"study.seed": 1}, False),
        ({"study.samples": 513}, False),
        ({"policy.p_false_max": 0.02}, False),
        ({"ct.lead_resistance_ohm.shared": False}, False),
        ({"ct.knee_voltage_v.varies": "event"}, False),
        ({"relay.pickup_error_percent.truncate": [-3, 2]}, False),
        ({"scheme.watched_phases": ["L3", "L1"]}, False),
        ({"candidates.delay_s": [0, 0.1]}, False),
        ({"ct.line_end": {"knee_current_a": 0.04}}, False),
    ],
)
def test_the_digest_is_of_what_changes_numbers(changes: dict[str, Any], same: bool) -> None:
    assert (digest(study_with(changes)) == digest(study_with())) is same


@pytest.mark.parametrize("place", ["policy.assumption_sets", "alternatives"])
def test_the_digest_is_of_numbers_in_a_csv_file_that_only_a_change_names(
    place: str, tmp_path: Path
) -> None:
    measured = {"dist": "empirical", "file": "knees.csv", "column": "v"}
    table = study_table(
        {place: [{"name": "measured", "changes": {"ct.knee_voltage_v": measured}}]}
        | ({"study.kind": "alternatives"} if place == "alternatives" else {})
    )
    found = set()
    for knee_v in (300, 200):
        (tmp_path / "knees.csv").write_text("v\n" + f"{knee_v}\n" * 10)
        found.add(digest(parse_study(table, tmp_path)))
    assert len(found) == 2


def test_the_digest_is_the_same_in_another_process() -> None:
    code = (
        "from tests.made.studies import study_with; from montecarlo.study.read import digest\n"
        "print(digest(study_with()))"
    )
    root = Path(__file__).parents[4]
    out = subprocess.run(
        [sys.executable, "-c", code],
        cwd=root,
        env={"PYTHONHASHSEED": "7", "PYTHONPATH": str(root)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert out.stdout.strip() == digest(study_with())
    assert len(out.stdout.strip()) == 64


def test_reading_does_not_import_slow_packages() -> None:
    code = (
        "import sys; from tests.made.studies import study_with; study_with()\nprint([name for name"
        " in ('scipy.stats', 'pandas', 'seaborn', 'matplotlib') if name in sys.modules])"
    )
    root = Path(__file__).parents[4]
    out = subprocess.run(
        [sys.executable, "-c", code],
        cwd=root,
        env={"PYTHONPATH": str(root)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert out.stdout.strip() == "[]"


RATE = "sampling rate of the COMTRADE records"
BEFORE = "how long a record shows the load before the event begins"


@pytest.mark.parametrize(
    ("key", "value", "limits"),
    [
        ("sampling_rate_hz", 1999, "must be at least 2000 and at most 20000 Hz"),
        ("sampling_rate_hz", 48_000, "must be at least 2000 and at most 20000 Hz"),
        ("before_s", 0.1, "must be at least 0.2 and at most 0.5 s"),
        ("before_s", 0.6, "must be at least 0.2 and at most 0.5 s"),
    ],
)
def test_records_have_a_rate_and_a_time_before_the_event_within_limits(
    key: str, value: float, limits: str
) -> None:
    (fault,) = faults_of({f"waveforms.{key}": value})
    unit, text = ("Hz", RATE) if key.endswith("_hz") else ("s", BEFORE)
    assert fault == f"waveforms.{key}: {value:g} {unit}, {limits}; give such a value: {text}"


def test_how_records_are_sampled_leaves_the_digest_alone() -> None:
    other = study_with({"waveforms": {"sampling_rate_hz": 6400, "before_s": 0.5}})
    assert other.waveforms.sampling_rate_hz == 6400
    assert digest(other) == digest(study_with({}))
