"""Kept samples: what the files say is what the tables say, whoever wrote them."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from montecarlo import Result, run_study, sample_frames
from montecarlo.engine import winding
from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.keep import run_and_keep
from montecarlo.engine.pickup_columns import Column
from montecarlo.engine.sizes import designs
from montecarlo.errors import StudyError
from montecarlo.estimates.conditional import at_place, critical_position, winding_nodes
from montecarlo.quantities import Array
from montecarlo.sampling.design import Chunk
from montecarlo.sampling.stratum import EARTH, EVOLVING, Stratum
from montecarlo.secondary.remanence import other_model
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.description import Study
from studies import KINDS
from studies.cli.main import main
from studies.report import sample_files
from studies.report.record import PROVENANCE
from studies.report.sample_files import SampleFiles
from tests.made.studies import FEW_TYPES, REMOVE, minimal_study_text, study_table, study_with

PLAIN: dict[str, Any] = {
    "study.samples": 192,
    "study.installations": 32,
    "study.earth_fault_samples": 64,
    "candidates.delay_s": [0.0, 0.06],
    "candidates.earth_pickup_a": [0.02, 0.2],
    "candidates.stabilising_resistance_ohm": [300],
    "policy.p_false_max": 0.9,
}
SMALL = PLAIN | {
    "scheme.kind": ["two_phase_one_earth", "biased"],
    "candidates.first_slope": [0.0, 0.2],
    "candidates.existing": {
        "scheme": "biased",
        "phase_pickup_a": 0.3,
        "first_slope": 0.1,
        "delay_s": 0.04,
    },
}
GREATER_OF = {
    "scheme.kind": "biased",
    "scheme.bias_form": "greater_of",
    "candidates.first_slope": [0.3],
    "candidates.earth_pickup_a": REMOVE,
    "candidates.stabilising_resistance_ohm": REMOVE,
}
NO_EARTH = {"phase_phase": 0.5, "phase_phase_earth": 0.2, "three_phase": 0.3}
SAME = ("stabilising_resistance_ohm", "first_slope", "second_slope", "turning_point_a")


def kept(folder: Path, changes: dict[str, Any], workers: int = 1) -> Result:
    with SampleFiles(folder) as keep:
        return run_study(study_with(changes), workers=workers, keep_samples=keep)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("kept")


@pytest.fixture(scope="module")
def result(folder: Path) -> Result:
    return kept(folder, SMALL)


def columns_for(folder: Path, file: str, what: str, setting: Setting) -> dict[str, str]:
    """The columns of a file that judge a setting, by the elements' axis, as a reader finds them in
    the table."""
    table = pd.read_csv(folder / sample_files.COLUMNS)
    mine = table[
        (table["file"] == file) & (table["what"] == what) & (table["scheme"] == setting.scheme)
    ]
    for name in SAME:
        value = getattr(setting, name)
        if not (name == "stabilising_resistance_ohm" and setting.scheme == "biased"):
            mine = mine[mine[name].isna() if value is None else mine[name] == value]
    mine = mine[mine["delay_s"].isna() | (mine["delay_s"] == setting.delay_s)]
    found = dict(zip(mine["element"], mine["column"], strict=True))
    assert len(found) == len(mine) == 1 + (setting.earth_pickup_a is not None)
    return found


@lru_cache
def rows_of(path: Path) -> pd.DataFrame:
    return pd.read_parquet(path)


def operated(folder: Path, stratum: str, setting: Setting, what: str = "critical pick-up") -> Array:
    """Whether each row of a file operates an element of the setting."""
    file = f"samples_{stratum.replace('.', '_')}.parquet"
    rows = rows_of(folder / file)
    assert rows["resolved"].all()
    return np.any(
        [
            rows[column] > getattr(setting, f"{axis}_pickup_a")
            for axis, column in columns_for(folder, file, what, setting).items()
        ],
        axis=0,
    )


def missed(folder: Path, stratum: str, setting: Setting) -> Array:
    return ~operated(folder, stratum, setting) | operated(folder, stratum, setting, "load pick-up")


def test_counts_from_the_files_are_those_of_the_tables(folder: Path, result: Result) -> None:
    first = result.outcome.first
    counted = [name for name in first.strata if name != EARTH]
    assert {name.partition(".")[0] for name in counted} == {"internal", "external", "state"}
    for number, setting in enumerate(first.settings):
        for name in counted:
            count = missed if name.startswith("internal.") else operated
            assert (
                count(folder, name, setting).sum() == first.strata[name].total.sum(axis=1)[number]
            ), (name, setting)


def test_faults_that_operated_before_are_told_apart(tmp_path: Path) -> None:
    """Two small CTs, of which one saturates first, before the internal fault."""
    follows = {
        "internal_faults.shares": NO_EARTH | {"phase_phase": 0.4, "evolving": 0.1},
        "internal_faults.evolving": {
            "event": "near_fault",
            "after_s": {"dist": "uniform", "low": 0.03, "high": 0.08},
            "kind": "phase_phase",
        },
        "ct.knee_voltage_v": {"dist": "uniform", "low": 10.0, "high": 60.0},
        "candidates.delay_s": [0.0, 0.01],
    }
    first = kept(tmp_path, SMALL | follows).outcome.first
    total, before = (
        values.sum(axis=1)
        for values in (first.strata[EVOLVING].total, first.strata[EVOLVING].before)
        if values is not None
    )
    for number, setting in enumerate(first.settings):
        assert missed(tmp_path, EVOLVING, setting).sum() == total[number]
        had = operated(tmp_path, EVOLVING, setting, "load pick-up")
        assert had.sum() == before[number]
    assert before.max() > 0


@pytest.mark.slow
def test_probabilities_of_every_candidate_follow_from_the_files(tmp_path: Path) -> None:
    result = kept(tmp_path, SMALL | {"internal_faults.shares": NO_EARTH})
    judged, events = result.outcome.first.judgement, result.study.external_events
    rates = np.array([event.per_year.centre() for event in events])
    for number, setting in enumerate(result.outcome.first.settings):
        p_missed = sum(
            share * missed(tmp_path, f"internal.{kind}", setting).mean()
            for kind, share in NO_EARTH.items()
        )
        p_false = sum(
            rate * operated(tmp_path, f"external.{event.name}", setting).mean()
            for event, rate in zip(events, rates / rates.sum(), strict=True)
        )
        assert p_missed == pytest.approx(judged.missed.total[number], rel=1e-12, abs=1e-15)
        assert p_false == pytest.approx(judged.false.total[number], rel=1e-12, abs=1e-15)


def test_keeping_changes_no_number(result: Result) -> None:
    plain = run_study(study_with(SMALL), workers=1)
    pd.testing.assert_frame_equal(result.candidates, plain.candidates, check_exact=True)
    pd.testing.assert_frame_equal(result.by_type, plain.by_type, check_exact=True)


def test_rows_are_keyed_and_every_column_is_explained(folder: Path, result: Result) -> None:
    table = pd.read_csv(folder / sample_files.COLUMNS)
    files = sorted(path.name for path in folder.iterdir() if path.suffix == ".parquet")
    assert files == sorted(table["file"].unique())
    assert not any(path.is_dir() for path in folder.iterdir())
    for file in files:
        rows, mine = pd.read_parquet(folder / file), table[table["file"] == file]
        assert list(rows.columns) == list(mine["column"])
        assert mine["meaning"].notna().all()
        assert not rows.duplicated(["installation", "event"]).any()
        assert rows["installation"].nunique() == 32
        assert (rows["weight"] == 1).all()
        for key in ("machine.subtransient_reactance_pu", "ct.knee_voltage_v[line_end.L3]"):
            of_installations = rows.groupby("installation")[key].first().to_numpy()
            assert rows.groupby("installation")[key].nunique().eq(1).all()
            whole = result.installations[f"input/{key.partition('[')[0]}"]
            assert of_installations == pytest.approx(whole if whole.ndim == 1 else whole[:, 5])


@pytest.mark.slow
def test_two_workers_write_the_same_bytes_a_row_group_at_a_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pyarrow.parquet import ParquetFile

    waiting = []
    plain = sample_files.SampleFiles._flush

    def flush(self: sample_files.SampleFiles) -> None:
        waiting.append(sum(map(sample_files._length, self._waiting)))
        plain(self)

    monkeypatch.setattr(sample_files, "ROW_GROUP", 40)
    monkeypatch.setattr(sample_files.SampleFiles, "_flush", flush)
    one, two = tmp_path / "one", tmp_path / "two"
    kept(one, PLAIN)
    kept(two, PLAIN, workers=2)
    assert {path.name: path.read_bytes() for path in one.iterdir()} == {
        path.name: path.read_bytes() for path in two.iterdir()
    }
    chunk = 192  # samples of all blocks of installations, solved side by side
    assert max(waiting) == 40 // chunk * chunk + chunk
    with ParquetFile(one / "samples_external_near_fault.parquet") as file:
        assert file.num_row_groups == 4
        assert file.schema_arrow.field("load.current_pu").metadata[b"unit"] == b"pu"


# --- weighted samples ---------------------------------------------------------


@pytest.mark.slow
def test_weighted_samples_give_the_probability_of_rare_false_trips(tmp_path: Path) -> None:
    event = study_table()["external_events"][0]
    result = kept(tmp_path, PLAIN | {"study.rare_samples": 4096, "external_events": [event]})
    rows = pd.read_parquet(tmp_path / "samples_weighted_near_fault.parquet")
    assert len(rows) == 4096 == rows["installation"].nunique()
    error = rows["weight"].std() / len(rows) ** 0.5
    assert abs(rows["weight"].mean() - 1) < 5 * error  # by chance once in a million
    first = result.outcome.first
    weighted = first.strata["external.near_fault"].weighted
    assert weighted is not None
    for number, setting in enumerate(first.settings):
        p = (rows["weight"] * operated(tmp_path, "weighted.near_fault", setting)).mean()
        assert p == pytest.approx(
            weighted.sums.total[number] / weighted.sums.trials, rel=1e-9, abs=1e-15
        )


# --- earth faults -------------------------------------------------------------


def test_a_place_between_the_solved_ones_is_read_as_critical_positions_are() -> None:
    nodes, x = winding_nodes(15), np.linspace(0, 1, 50)
    gain, load = (
        np.linspace(0.5, 3, 50),
        0.3 - 0.2j,
    )  # |a·x + b|² is a parabola: the interpolation is exact
    currents = np.abs(gain[:, None] * nodes + load)
    assert at_place(nodes, currents, x) == pytest.approx(np.abs(gain * x + load), rel=1e-12)
    place, _ = critical_position(nodes, currents, [0.6])
    inside = (place[:, 0] > 0) & (place[:, 0] < 1)
    assert inside.sum() > 20
    assert at_place(nodes, currents, place[:, 0])[inside] == pytest.approx(0.6, rel=1e-9)
    currents[3, 7] = np.nan
    assert np.isnan(at_place(nodes, currents, x)).tolist() == [k == 3 for k in range(50)]


def earth_block(study: Study) -> Block:
    job = Job(study, candidate_lattices(study), *designs(study))
    return Block(job, job.design_of(EARTH).chunks(EARTH)[0])


@pytest.mark.parametrize("changes", [SMALL, PLAIN | GREATER_OF], ids=["sum", "greater_of"])
def test_the_pickup_at_the_sampled_place_says_what_the_critical_position_says(
    changes: dict[str, Any],
) -> None:
    block = earth_block(study_with(changes | {"study.earth_fault_samples": 2048}))
    found, x = winding.solved(block), block.samples["internal_faults.position"]
    compared = agree = 0
    for lattice in block.job.lattices:
        notes = dict.fromkeys(("re_entries", "interpolation", "interpolated"), 0.0)
        positions = dict(
            zip(
                ("phase", "earth"),
                winding.critical_positions(block, lattice, found, notes),
                strict=True,
            )
        )
        for what, held in winding.pickups_at_place(block, lattice, found):
            settings = getattr(lattice, f"{what.axis}_pickup_a")
            for pickup in what.pickups_a:
                delay = 0 if what.delay_s is None else lattice.delay_s.index(what.delay_s)
                beyond = x > positions[what.axis][:, settings.index(pickup), delay]
                compared += x.size
                agree += int(((held > pickup) == beyond).sum())
        assert notes["re_entries"] == 0  # the missed part is one stretch from the neutral
    assert compared > 200
    assert agree == compared


def test_each_earth_setting_is_judged_by_one_column_for_its_delay(
    folder: Path, result: Result
) -> None:
    table = pd.read_csv(folder / sample_files.COLUMNS).query(
        "file == 'samples_internal_earth.parquet' and what == 'critical pick-up' and scheme =="
        " 'two_phase_one_earth'"
    )
    rows, x = rows_of(folder / "samples_internal_earth.parquet"), "internal_faults.position"
    for delay in (0.0, 0.06):
        mine = table[
            (table["element"] == "earth") & (table["delay_s"].isna() | (table["delay_s"] == delay))
        ]
        assert sorted(a for cell in mine["judges_a"] for a in str(cell).split()) == ["0.02", "0.2"]
        for column in mine["column"]:
            near, far = (rows[column][part].mean() for part in (rows[x] < 0.3, rows[x] > 0.7))
            assert near < 0.5 * far  # the fault's current grows with its distance


# --- names of inputs ----------------------------------------------------------


def names_of(changes: dict[str, Any], stratum: Stratum) -> set[str]:
    study = study_with(PLAIN | changes)
    job = Job(study, candidate_lattices(study), *designs(study))
    _, rows = run_and_keep(job, job.design_of(stratum).chunks(stratum)[0])
    names = [column.name for column in rows]
    assert len(set(names)) == len(names)
    assert all(
        values.shape == (job.design_of(stratum).samples_in(Chunk(stratum, 0, 0, 0, 0)),)
        for values in rows.values()
    )
    return set(names)


def test_an_end_with_cts_of_its_own_has_its_own_columns_only() -> None:
    spread = {"dist": "uniform", "low": 250, "high": 350}
    found = names_of({"ct.line_end.knee_voltage_v": spread}, Stratum("internal.phase_phase"))
    knees = {name for name in found if "knee_voltage_v" in name}
    assert knees == {f"ct.knee_voltage_v[neutral_end.L{k}]" for k in (1, 2, 3)} | {
        f"ct.line_end.knee_voltage_v[L{k}]" for k in (1, 2, 3)
    }
    assert "ct.lead_resistance_ohm" in found  # shared: one value
    assert {f"relay.pickup_error_percent[{k}]" for k in ("L1", "L2", "L3", "earth")} <= found


def test_the_ct_in_the_neutral_conductor_and_the_breaker_have_columns() -> None:
    spread = {"dist": "uniform", "low": 250, "high": 350}
    found = names_of(
        {
            "scheme.kind": "restricted_earth_fault",
            "candidates.phase_pickup_a": REMOVE,
            "scheme.watched_phases": REMOVE,
            "ct.neutral_conductor": {"knee_voltage_v": spread},
            "states.breaker_open_share": 0.2,
        },
        EARTH,
    )
    assert {"ct.neutral_conductor.knee_voltage_v", "breaker_open"} <= found


@pytest.mark.usefixtures("result")
def test_what_has_no_part_in_a_stratum_is_left_out(folder: Path) -> None:
    far, earth = (
        set(pd.read_parquet(folder / f"samples_{name}.parquet"))
        for name in ("external_far_fault", "internal_earth")
    )
    assert "external_events.far_fault.clearing_time_s" in far
    assert not any("near_fault" in name or name.startswith("internal_faults") for name in far)
    assert not any(name.startswith("external_events") for name in earth)


# --- the command line ---------------------------------------------------------


def test_the_command_puts_them_into_its_folder_and_replaces_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    text = (
        minimal_study_text()
        .replace("installations = 32", "installations = 16")
        .replace("delay_s = [0]", "delay_s = [0.1]")
    )
    (tmp_path / "s.toml").write_text(text)
    command = ["run", "s.toml", "--samples", "32", "--workers", "1"]
    assert main([*command, "--keep-samples"]) == 0
    results = tmp_path / "s-results"
    kept_files = {path.name for path in results.iterdir() if path.name.startswith("samples_")}
    assert len(kept_files) == 8
    assert kept_files <= set(json.loads((results / PROVENANCE).read_text())["files"])
    assert len(pd.read_parquet(results / "samples_external_far_fault.parquet")) == 32
    assert main([*command, "--replace"]) == 0
    assert not any(path.name.startswith("samples_") for path in results.iterdir())
    assert {path.name for path in tmp_path.iterdir()} == {"s.toml", "s-results"}
    capsys.readouterr()


# --- several studies in a run --------------------------------------------------

FEW = FEW_TYPES | {"study.samples": 32, "study.installations": 16, "study.earth_fault_samples": 16}
ENERGY = {
    "breaker_time_s": 0.1,
    "field_decay_time_constant_s": 1.0,
    "undetected_time_s": 60.0,
}
SETS = [{"name": "unlike cores", "changes": {"ct.remanence_percent": 60}}]
KINDS_OF: dict[str, dict[str, Any]] = {
    "setting_sweep": {"policy.assumption_sets": SETS},
    "scheme_comparison": {"scheme.kind": ["two_phase_one_earth", "per_phase"]},
    "earthing_options": {
        "earthing_options": [{"name": "200 A"}, {"name": "20 A", "resistance_ohm": 317.5}],
        "fault_energy": ENERGY,
    },
    "uncertainty_drivers": {
        "study.samples": 1024,
        "candidates.stabilising_resistance_ohm": [0],
        "candidates.phase_pickup_a": [0.5],
        "candidates.earth_pickup_a": [0.2, 0.3],
    },
    "alternatives": {
        "policy.assumption_sets": SETS,
        "alternatives": [{"name": "less", "changes": {"earthing.resistance_ohm": 200.0}}],
    },
}


def parts_of(study: Study) -> dict[tuple[str, ...], Study]:
    """Every study that a run of the kind solves, by the names that lead to it."""
    alone: dict[tuple[str, ...], Study]
    if study.options:
        alone = {(name,): option for name, option in study.options}
    elif study.alternative_studies:
        alone = {("as stated",): study, **{(name,): one for name, one in study.alternative_studies}}
    else:
        alone = {(): study}
    return alone | {
        (*parts, name): one
        for parts, stated in alone.items()
        for name, one in stated.assumption_sets
    }


@pytest.mark.parametrize(
    "kind",
    [
        "setting_sweep",
        *(pytest.param(kind, marks=pytest.mark.slow) for kind in KINDS_OF if "sweep" not in kind),
    ],
)
def test_every_kind_keeps_the_samples_of_each_study_that_it_solves(kind: str) -> None:
    study = study_with(FEW | KINDS_OF[kind] | {"study.kind": kind, "policy.p_false_max": 0.9})
    kept_rows: dict[tuple[tuple[str, ...], str], list[Any]] = {}

    def keep(
        stratum: Stratum, rows: Any, *, weighted: bool = False, parts: tuple[str, ...] = ()
    ) -> None:
        assert not weighted
        kept_rows.setdefault((parts, str(stratum)), []).append(rows)

    KINDS[kind]().run(study, workers=1, keep_samples=keep)
    wanted = parts_of(study)
    assert {parts for parts, _ in kept_rows} == set(wanted)
    for parts, one in wanted.items():
        frames = sample_frames(one)
        assert {name for where, name in kept_rows if where == parts} == set(frames)
        for name, frame in frames.items():
            chunks = kept_rows[parts, name]
            for column in chunks[0]:
                values = np.concatenate([rows[column] for rows in chunks])
                pd.testing.assert_series_equal(
                    pd.Series(values, name=column.name), frame[column.name], check_exact=True
                )


@pytest.mark.slow
def test_the_other_remanence_model_has_its_own_samples() -> None:
    study = study_with(FEW | {"study.compare_remanence_models": True, "policy.p_false_max": 0.9})
    seen = set()

    def keep(stratum: Stratum, rows: Any, **where: Any) -> None:
        seen.add(where.get("parts", ()))

    run_study(study, workers=1, keep_samples=keep)
    assert seen == {(), (other_model(study.ct.remanence_model),)}


@pytest.mark.slow
def test_the_command_writes_a_folder_for_each_alternative(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    text = minimal_study_text().replace('kind = "setting_sweep"', 'kind = "alternatives"')
    (tmp_path / "s.toml").write_text(
        text.replace("installations = 32", "installations = 16")
        + '[[alternatives]]\nname = "40 %"\nchanges = { "ct.remanence_percent" = 40 }\n'
    )
    command = ["run", "s.toml", "--samples", "32", "--workers", "1"]
    assert main([*command, "--keep-samples"]) == 0
    results = tmp_path / "s-results"
    folders = {path.name for path in results.iterdir() if path.is_dir()}
    assert folders == {"samples_as_stated", "samples_40"}
    table = pd.read_csv(results / sample_files.COLUMNS)
    assert set(table["part"]) == {"as stated", "40 %"}
    for file, part in table[["file", "part"]].drop_duplicates().itertuples(index=False):
        rows = pd.read_parquet(results / file)
        assert list(rows.columns) == list(table["column"][table["file"] == file])
        assert file.startswith({"as stated": "samples_as_stated/", "40 %": "samples_40/"}[part])
    assert set(table["file"]) <= set(json.loads((results / PROVENANCE).read_text())["files"])
    assert main([*command, "--replace"]) == 0
    assert not any(path.name.startswith("samples_") for path in results.iterdir())


def test_parts_with_names_alike_have_folders_of_their_own(tmp_path: Path) -> None:
    row = {Column("x", "A", "a current", "input"): np.arange(3.0)}
    names = ["20 A", "20 a", "20%A", "= 20 A", "äöü", "ü"]
    with SampleFiles(tmp_path) as keep:
        for name in names:
            keep(EARTH, row, parts=(name,))
    folders = sorted(path.name for path in tmp_path.iterdir() if path.is_dir())
    assert len({name.casefold() for name in folders}) == len(names)
    assert all(name.isascii() for name in folders)
    text = (tmp_path / sample_files.COLUMNS).read_text(encoding="utf-8")
    assert ",'= 20 A," in text


# --- refusals -----------------------------------------------------------------


def test_without_pyarrow_nothing_is_sampled(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sample_files, "find_spec", lambda name: None)
    with pytest.raises(StudyError, match="pip install pyarrow, or leave the option out"):
        SampleFiles(tmp_path)
    assert not list(tmp_path.iterdir())


def test_a_full_disk_is_told_in_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pyarrow.parquet.ParquetWriter.write_table", full)
    with pytest.raises(StudyError, match="No space left on device"):
        kept(tmp_path, PLAIN)


def test_every_gate_keeps_pickups_of_its_own(tmp_path: Path) -> None:
    gate = {"name": "held", "start": "angle", "within_degrees": 60.0, "stays_s": 0.03}
    changes = PLAIN | {
        "scheme.kind": "biased",
        "scheme.gates": [gate],
        "candidates.gate": ["none", "held"],
        "candidates.first_slope": [0.1],
        "candidates.earth_pickup_a": REMOVE,
        "candidates.stabilising_resistance_ohm": REMOVE,
        "internal_faults.shares": NO_EARTH,
        "ct.knee_voltage_v": 60.0,  # small enough to saturate
    }
    kept(tmp_path, changes)
    file = "samples_external_near_fault.parquet"
    table = pd.read_csv(tmp_path / sample_files.COLUMNS, keep_default_na=False)
    mine = table[(table["file"] == file) & (table["what"] == "critical pick-up")]
    named = mine.set_index(["gate", "delay_s"])["column"]
    assert sorted(named.index) == [
        ("held", "0.0"),
        ("held", "0.06"),
        ("none", "0.0"),
        ("none", "0.06"),
    ]
    rows = pd.read_parquet(tmp_path / file)
    free, held = (rows[named[name, "0.0"]] for name in ("none", "held"))
    assert (held <= free).all()
    assert (held < free).any()


def test_a_released_earth_element_keeps_pickups_of_its_own(tmp_path: Path) -> None:
    gate = {"name": "released", "start": "no_neutral_current", "start_pu": 0.1}
    changes = PLAIN | {
        "scheme.kind": "biased_restricted_earth_fault",
        "scheme.bias_current": "largest",
        "scheme.gates": [gate],
        "ct.neutral_conductor": {},
        "candidates.earth_gate": ["none", "released"],
        "candidates.first_slope": [0.1],
        "candidates.phase_pickup_a": REMOVE,
        "candidates.stabilising_resistance_ohm": REMOVE,
    }
    kept(tmp_path, changes)
    file = "samples_internal_earth.parquet"
    table = pd.read_csv(tmp_path / sample_files.COLUMNS, keep_default_na=False)
    mine = table[table["file"] == file]
    rows = pd.read_parquet(tmp_path / file)
    for what in ("critical pick-up", "load pick-up"):
        named = mine[mine["what"] == what].groupby("gate")["column"].first()
        free, held = (rows[named[name]] for name in ("none", "released"))
        assert (held <= free).all()
        assert (held < free).any() == (what == "critical pick-up")  # load restrains in any case
