"""Runs that follow faults: the same whatever the workers, no other result moved, and faults without
a result counted."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from montecarlo.engine import winding
from montecarlo.engine.batch import run_batch
from montecarlo.engine.block import Block
from montecarlo.engine.clearing import Clearing, clearing_stages, sample_clearing
from montecarlo.engine.clearing_paths import SOUND
from montecarlo.engine.job import Job
from montecarlo.engine.progress import silent
from montecarlo.engine.sizes import designs
from montecarlo.engine.space import concerns
from montecarlo.engine.workers import workers_of
from montecarlo.engine.workers.packing import pack, unpack
from montecarlo.errors import RunStopped
from montecarlo.quantities import Array
from montecarlo.sampling.inputs import list_inputs
from montecarlo.sampling.stratum import EARTH
from montecarlo.sampling.transform import BESIDE
from montecarlo.secondary import steady
from montecarlo.study.candidates import lattices_of
from montecarlo.study.strata import strata
from studies.cli.main import main
from tests.made.clearing import (
    NEUTRAL,
    SCHEME,
    SMALL,
    TIMES,
    followed,
    part,
    probabilities,
    setting_of,
    with_parts,
)
from tests.made.studies import MINIMAL, REMOVE, study_with

RATE = {"dist": "lognormal", "median": 0.05, "sigma": 0.7, "truncate": [0.005, 0.4]}
TABLES: dict[str, Any] = {"fault_energy": TIMES, "damage": {}} | with_parts(
    part("relay", *SCHEME, rate=RATE), part("breaker", *SCHEME, *NEUTRAL)
)


def to_bytes(found: Clearing) -> bytes:
    """All that it holds, array by array."""
    assert found.burnt is not None
    blocks = [one for name in sorted(found.cleared, key=str) for one in found.cleared[name]]
    return b"".join(
        each.tobytes() for one in (*blocks, *found.burnt) for each in vars(one).values()
    )


# --- the same numbers ---------------------------------------------------------


def test_two_workers_give_the_bytes_of_one() -> None:
    """Of chunks of several event blocks too."""
    more = TABLES | {"study.samples": 40_000, "internal_faults.shares": {"earth": 0.5} | REST}
    one, two = (to_bytes(followed(more, workers)) for workers in (1, 2))
    assert one == two
    assert to_bytes(followed(more | {"study.seed": 7})) != one


REST = {"phase_phase": 0.25, "phase_phase_earth": 0.25}


def test_what_a_chunk_returns_is_kept_to_the_last_bit() -> None:
    found = followed(TABLES)
    assert found.burnt is not None
    for value in (found.cleared[EARTH][0], found.burnt[0]):
        again = unpack(pack(("chunk", (value, None))))[1][0]
        assert type(again) is type(value)
        assert all(np.array_equal(vars(again)[key], each) for key, each in vars(value).items())


def test_progress_reaches_what_the_stage_announces() -> None:
    study = study_with(SMALL | TABLES)
    (stage,) = clearing_stages(study)
    assert not [*clearing_stages(study_with(SMALL))]
    said: list[tuple[int, int]] = []

    def tell(done: int, total: int, name: str) -> None:
        assert name == stage.what
        said.append((done, total))

    sample_clearing(study, setting_of(study), 1, workers_of(1), tell)
    assert said[0][0] == 0
    assert said[-1][0] == said[-1][1] == stage.work
    assert said == sorted(said)


# --- no other result moves ----------------------------------------------------

TRAILING: dict[str, Any] = {  # inputs that stand behind all others
    "relay.measure": "fundamental",
    "relay.chain": {"filter": {"cutoff_hz": {"dist": "uniform", "low": 350, "high": 450}}},
    "fault_energy": TIMES,
    "earthing.resistance_ohm": REMOVE,
    "earthing.current_limit_a": {"dist": "uniform", "low": 60, "high": 70},
}


@pytest.mark.parametrize("varies", ["installation", "event"])
def test_the_tables_leave_every_other_draw(varies: str) -> None:
    drawn = []
    exponent = {"dist": "uniform", "low": 1, "high": 2, "varies": varies}
    # of two installations a block all dimensions of a net would be alike
    many = {"study.installations": 128, "study.earth_fault_samples": 128}
    for more in ({}, TABLES | {"damage": {"exponent": exponent}}):
        study = study_with(SMALL | TRAILING | many | more)
        job = Job(study, (), *designs(study))
        chunks = [job.design_of(name).chunks(name)[3] for name in strata(study)]
        drawn.append([Block(job, chunk).samples for chunk in chunks])
    for one, other in zip(*drawn, strict=True):
        assert {key for key in other if key not in one} == {
            key for key in other if key.startswith(BESIDE)
        }
        assert len(set(other) - set(one)) > 2
        assert all(np.array_equal(values, other[key]) for key, values in one.items())


def test_the_tables_add_no_dimension_to_the_search_for_rare_false_trips() -> None:
    study = study_with(SMALL | TABLES)
    beside = [item for item in list_inputs(study) if item.key.startswith(BESIDE)]
    assert len([item for item in beside if item.uncertain]) == 3
    assert not any(concerns(study, item, name) for item in beside for name in strata(study))


TIMES_FILE = """
[fault_energy]
breaker_time_s = 0.08
field_decay_time_constant_s = 1.0
undetected_time_s = 60.0
"""
BESIDE_FILE = """
[damage]

[dependability]
proof_test_years = 2

[[dependability.parts]]
name = "breaker"
paths = ["phase_elements", "earth_element"]
dangerous_per_year = 0
"""


def test_parts_that_never_fail_leave_every_other_table_byte_for_byte(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MPLBACKEND", "agg")
    for name, more in (("without", ""), ("with_it", BESIDE_FILE)):
        (tmp_path / f"{name}.toml").write_text(MINIMAL + TIMES_FILE + more)
        asked = ["run", f"{name}.toml", "--out", name, "--samples", "256", "--workers", "1"]
        assert main(asked) == 0, capsys.readouterr().err
    tables = sorted(path.name for path in (tmp_path / "without").glob("*.csv"))
    assert "by_type.csv" in tables
    for name in tables:
        one, other = (tmp_path / folder / name for folder in ("without", "with_it"))
        if name == "inputs.csv":
            rows = [[*csv.reader(path.read_text().splitlines())] for path in (one, other)]
            assert rows[0] == [row for row in rows[1] if not row[0].startswith(BESIDE)]
            assert len(rows[1]) > len(rows[0])
        else:
            assert one.read_bytes() == other.read_bytes(), name


# --- without a result ---------------------------------------------------------


LOADED: dict[str, Any] = {"candidates.phase_pickup_a": [0.0015]}  # many loads operate it


def no_phasors(monkeypatch: pytest.MonkeyPatch) -> None:
    """No solution by phasors on some installations."""
    by_phasors = steady.solve

    def some(*args: Any) -> steady.Steady:
        found = by_phasors(*args)
        for each in found:
            if each is not None:
                each[args[2].remanence[:, 0] > 0.5] = np.nan
        return found

    monkeypatch.setattr(steady, "solve", some)


def no_places(monkeypatch: pytest.MonkeyPatch) -> None:
    """No place where the elements begin to operate, though the load has a result."""
    positions = winding.critical_positions

    def some(block: Block, *args: Any) -> tuple[Array, ...]:
        found = positions(block, *args)
        for x in found:
            x[block.samples["ct.remanence_percent"][:, 0] > 30] = np.nan
        return found

    monkeypatch.setattr(winding, "critical_positions", some)


@pytest.mark.parametrize(
    ("changes", "spoil"), [({}, no_phasors), ({}, no_places), (LOADED, no_places)]
)
def test_faults_without_a_result_are_counted_and_left_out(
    changes: dict[str, Any],
    spoil: Callable[[pytest.MonkeyPatch], None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As a batch counts them."""
    spoil(monkeypatch)
    study = study_with(SMALL | changes | {"study.unresolved_share_max": 0.5})
    setting, crew = setting_of(study), workers_of(1)
    found = sample_clearing(study, setting, 1, crew, silent)
    batch = run_batch(study, lattices_of(study, setting), 1, crew, silent)
    told = {row.stratum: row for row in found.unresolved()}
    for name, p in probabilities(found, SOUND).items():
        counted = batch.strata[name]
        assert told[name].number == counted.unresolved.sum()
        assert (told[name].number > 0) == (name == EARTH or spoil is no_phasors)
        assert told[name].drawn == counted.trials.sum()
        assert 1 - p[:2].sum() == pytest.approx(counted.p[0], abs=1e-9)
        assert p.sum() == pytest.approx(1, abs=1e-12)
    with pytest.raises(RunStopped, match=r"samples .* of internal.earth, who clears them"):
        sample_clearing(study_with(SMALL | changes), setting, 1, crew, silent)
