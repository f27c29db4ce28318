"""Every study in configs/ and the starter, run with few samples; and every form of scheme on its
own."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from montecarlo.errors import StudyError
from montecarlo.relays.places import OF_BRANCHES, carried
from montecarlo.relays.schemes import OF_GROUPS
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from montecarlo.study.read import parse_study
from montecarlo.study.wiring import wiring_cautions
from studies import KINDS
from studies.protocol import Drawn, Findings, silent
from studies.report.terminal import lines
from tests.made.boxes import boxes, cut, on_marks, overlaps
from tests.made.branches import WINDING
from tests.made.said import check_text, words
from tests.made.starter import STARTER

ROOT = Path(__file__).parents[1]
FILES = [STARTER, *sorted((ROOT / "configs").glob("*.toml"))]
FEW = {"samples": 32, "earth_fault_samples": 16, "installations": 16}
PHASE, EARTH = {"phase_pickup_a": [0.1, 0.2]}, {"earth_pickup_a": [0.05, 0.1]}
OHM = {"stabilising_resistance_ohm": [100]}
ALONE: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {  # grids, the setting in service
    "per_phase": (PHASE | OHM, {"phase_pickup_a": 0.15}),
    "two_phase_one_earth": (PHASE | EARTH | OHM, {"phase_pickup_a": 0.15, "earth_pickup_a": 0.07}),
    "biased": (PHASE | {"first_slope": [0.1, 0.3]}, {"phase_pickup_a": 0.15, "first_slope": 0.2}),
    "restricted_earth_fault": (EARTH | OHM, {"earth_pickup_a": 0.07}),
    "biased_restricted_earth_fault": (
        EARTH | {"first_slope": [0.1, 0.3]},
        {"earth_pickup_a": 0.07, "first_slope": 0.2},
    ),
    "biased_with_restricted_earth_fault": (
        PHASE | EARTH | {"first_slope": [0.1, 0.3]},
        {"phase_pickup_a": 0.15, "earth_pickup_a": 0.07, "first_slope": 0.2},
    ),
    "second_cores": (PHASE | EARTH | OHM, {"phase_pickup_a": 0.15, "earth_pickup_a": 0.07}),
    "split_phase": (PHASE, {"phase_pickup_a": 0.15}),
    "core_balance": (PHASE, {"phase_pickup_a": 0.15}),
    "neutral_to_neutral": (EARTH, {"earth_pickup_a": 0.07}),
}
OTHERS = {"core_balance", "neutral_to_neutral"}
STABLE_BY_HAND = {kind for kind in ALONE if not kind.startswith("biased")} - OTHERS


def few(path: Path) -> dict[str, Any]:
    """The study with few samples, and with a policy that a setting can meet on so few."""
    table = tomllib.loads(path.read_text(encoding="utf-8"))
    table["study"] |= FEW
    if "p_false_max" in table["policy"]:
        table["policy"]["p_false_max"] = 0.3
    if path.stem == "hydro_11kv":  # enough for curves of exceedance
        table["study"]["rare_samples"] = 4096
    return table


def answered(study: Study) -> Findings:
    """Run it; what every run must say, whatever the numbers."""
    found = KINDS[study.study.kind]().run(study, workers=1, progress=silent)
    for width in (80, 120):
        assert max(map(len, lines(found.text, width))) <= width
    assert "nan" not in words(found.text).split()
    candidates = found.frames["candidates"]
    assert set(candidates["scheme"]) == set(study.scheme.kinds)
    for name in ("p_missed", "p_false"):
        low, p, high = (candidates[f"{name}{end}"] for end in ("_low", "", "_high"))
        assert ((low >= 0) & (low <= p) & (p <= high) & (high <= 1)).all()
    assert candidates["p_missed"].min() < 1
    assert isinstance(found.figures, Drawn) or not found.figures  # once the tables are written
    for name, figure in found.figures.items():
        texts = boxes(figure)
        faults = overlaps(figure, texts), cut(figure, texts), on_marks(figure, texts)
        assert faults == ([], [], []), (name, faults)
    assert set(found.begin) <= {f"{name}.csv" for name in found.frames} | {
        f"{name}.svg" for name in found.figures
    }
    if study.study.kind == "setting_sweep":
        assert "tradeoff" in found.figures
        earth = study.internal_faults.shares.earth > 0
        assert ("protected_winding" in found.figures) == earth
    if study.candidates.existing is not None:
        assert candidates["existing"].sum() == 1
    return found


@pytest.mark.parametrize(
    "path",
    [FILES[0], *(pytest.param(path, marks=pytest.mark.slow) for path in FILES[1:])],
    ids=lambda path: path.stem,
)
def test_a_worked_study_runs(path: Path) -> None:
    answered(parse_study(few(path), path.parent))


@pytest.mark.parametrize(
    ("kind", "form"),
    [
        *(pytest.param(kind, "sum", marks=pytest.mark.slow) for kind in ALONE),
        ("biased", "greater_of"),
    ],
)
def test_a_scheme_alone_is_checked_and_run(kind: str, form: str) -> None:
    table, (grids, existing) = few(ROOT / "configs" / "schemes_11kv.toml"), ALONE[kind]
    table["study"]["kind"] = "setting_sweep"
    biased = kind.startswith("biased")
    current = "largest" if "earth" in kind and biased else "mean"
    table["scheme"] |= {"kind": kind, "bias_form": form, "bias_current": current}
    if kind in OF_GROUPS:
        table["winding"] = WINDING
        table["internal_faults"]["turns"] = {}
        table["ct"] |= {group: {} for group in OF_BRANCHES}
    if kind != "second_cores":
        del table["scheme"]["custom"]
    table["candidates"] = grids | {"delay_s": [0, 0.1], "existing": existing}
    study = parse_study(table, ROOT / "configs")
    text = check_text(study)
    assert "nan" not in text.split()
    assert ("Stabilising resistance for this" in text) == (kind in STABLE_BY_HAND)
    assert ("Elements between groups of branches" in text) == (kind in OF_GROUPS)
    assert ("Biased elements trip" in text) == biased
    frame = answered(study).frames["candidates"]
    assert frame["phase_pickup_a"].isna().all() == ("phase_pickup_a" not in grids)
    assert frame["earth_pickup_a"].isna().all() == ("earth_pickup_a" not in grids)
    assert frame["stabilising_resistance_ohm"].isna().all() == (
        "stabilising_resistance_ohm" not in grids
    )
    assert frame["first_slope"].isna().all() == ("first_slope" not in grids)


def test_second_cores_may_have_a_ratio_of_their_own_as_they_share_no_leg_with_the_first() -> None:
    table = tomllib.loads((ROOT / "configs" / "schemes_11kv.toml").read_text(encoding="utf-8"))
    table["ct"].setdefault("second_neutral_end", {})["primary_a"] = 3000
    with pytest.raises(
        StudyError, match="second_neutral_end has 3000/1 A, second_line_end 1500/1 A"
    ):
        parse_study(table, ROOT / "configs")
    table["ct"].setdefault("second_line_end", {})["primary_a"] = 3000
    assert parse_study(table, ROOT / "configs").ct.at("second_line_end").turns_ratio == 3000


# --- biased elements with a restricted earth fault element ---------------------

WORKED = ROOT / "configs" / "biased_and_ref_13_8kv.toml"


def test_the_worked_scheme_balances_by_hand_and_each_sign_counts() -> None:
    """Ideal CTs: what passes the machine leaves nothing; an earth fault inside leaves the neutral's
    current in its leg. With any one sign turned `check` says so."""
    table = tomllib.loads(WORKED.read_text(encoding="utf-8"))
    study = parse_study(table, WORKED.parent)
    scheme = scheme_of(study, "biased_and_ref")
    legs = scheme.table[:4]  # the rest are return cores
    passing, inside = np.zeros(6), np.zeros(6)
    passing[[0, 3]] = inside[0] = 0.1334  # phase L1 to earth, 400 A through 3000/1 A
    assert np.abs(legs @ carried(passing, scheme.places)).max() < 1e-15
    assert legs @ carried(inside, scheme.places) == pytest.approx([0.1334, 0, 0, 0.1334])
    assert [*wiring_cautions(study)] == []
    for k, leg in enumerate(table["scheme"]["custom"][0]["legs"]):
        for at, ct in enumerate(leg["cts"]):
            turned = tomllib.loads(WORKED.read_text(encoding="utf-8"))
            turned["scheme"]["custom"][0]["legs"][k]["cts"][at] = (
                ct.removeprefix("-") if ct.startswith("-") else f"-{ct}"
            )
            said = [*map(str, wiring_cautions(parse_study(turned, WORKED.parent)))]
            assert any(f"custom[0].legs[{k}].cts" in text for text in said), (ct, said)


def test_the_worked_restricted_element_protects_what_the_hand_calculation_says() -> None:
    """x = I_set N R / E (textbook), for bolted faults on ideal CTs without load or capacitance."""
    table = few(WORKED)
    table["machine"] |= {"voltage_factor": 1.0, "stator_capacitance_f": 0.0}
    table["network"]["external_capacitance_f"] = 0.0
    table["load"] = {}
    table["earthing"]["resistance_ohm"] = 19.9
    table["internal_faults"]["earth_fault_resistance_ohm"] = 1e-4
    table["relay"]["pickup_error_percent"] = 0.0
    for group in (table["ct"], table["ct"]["second_line_end"], table["ct"]["neutral_conductor"]):
        group["knee_current_a"] = 1e-6
    table["ct"] |= {"turns_ratio_error_percent": 0.0, "remanence_percent": 0.0}
    table["candidates"] |= {"phase_pickup_relay_percent": [30], "delay_s": [0]}
    table["candidates"] |= {"stabilising_resistance_ohm": [1500], "first_slope": [0.3]}
    frame = answered(parse_study(table, WORKED.parent)).frames["candidates"]
    for row in frame[~frame["existing"]].itertuples():
        x = row.earth_pickup_a * 3000 * 19.9 / (13.8e3 / 3**0.5)
        assert row.protected_median == pytest.approx(1 - x, abs=2e-3)


# --- what the studies say of themselves ---------------------------------------


# Largest resistance of copper cores, class 2 at 20 degrees, IEC 60228 (from memory). [ohm/km]
CORE_OHM_PER_KM = {"1.5": 12.1, "2.5": 7.41, "4": 4.61, "6": 3.08, "10": 1.83}


def sourced(table: Any) -> Iterator[tuple[str, float]]:
    """Every source in a study beside its value or nominal value."""
    for item in (
        table.values() if isinstance(table, dict) else table if isinstance(table, list) else ()
    ):
        if isinstance(item, dict) and "source" in item and ("nominal" in item or "value" in item):
            yield item["source"], item.get("nominal", item.get("value"))
        yield from sourced(item)


def told(pattern: str) -> list[tuple[str, float, tuple[str, ...]]]:
    """Study, value and what the pattern finds in its source, wherever it finds something."""
    return [
        (path.stem, value, match.groups())
        for path in FILES
        for text, value in sourced(tomllib.loads(path.read_text(encoding="utf-8")))
        if (match := re.search(pattern, text))
    ]


def test_leads_are_as_long_as_their_resistance_says() -> None:
    found = told(r"([\d.]+) m, ([\d.]+) mm2")
    assert len(found) >= 8
    for study, ohm, (metres, area) in found:
        digits = len(f"{ohm}".partition(".")[2])
        assert round(float(metres) / 1000 * CORE_OHM_PER_KM[area], digits) == ohm, study


def test_resistors_carry_the_current_that_their_source_says() -> None:
    found = told(r"([\d.]+) A at ([\d.]+) kV")
    assert len(found) >= 8
    for study, ohm, (ampere, kilovolt) in found:
        assert float(kilovolt) * 1e3 / ohm == pytest.approx(float(ampere), rel=0.005), study


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_shipped_study_says_that_it_is_invented(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert "nvented" in tomllib.loads(text)["study"]["title"]
    assert "nvented" in text.partition("[study]")[0]
    reports = [
        source
        for source, _ in sourced(tomllib.loads(text))
        if re.search("sheet|test|name-plate", source)
    ]
    assert [source for source in reports if "invented" not in source] == []


def test_shipped_measurements_say_that_they_are_invented() -> None:
    files = sorted((ROOT / "configs").glob("*.csv"))
    assert files
    assert [path.name for path in files if not path.name.startswith("invented_")] == []


def test_words_about_two_studies_are_their_numbers() -> None:
    tables = {path.stem: tomllib.loads(path.read_text(encoding="utf-8")) for path in FILES}
    bus, options = tables["bus_machines_6_6kv"], tables["earthing_options_11kv"]
    machine = bus["machine"]
    ohm = (
        machine["line_voltage_v"] ** 2
        / machine["rated_power_va"]
        * (
            machine["subtransient_reactance_pu"]["nominal"]
            + machine["negative_sequence_reactance_pu"]
            + machine["zero_sequence_reactance_pu"]
        )
        / 3
    )
    own = machine["line_voltage_v"] / 3**0.5 / bus["earthing"]["current_limit_a"]["nominal"]
    assert ohm * (
        1 / own + 1 / bus["earthing"]["other_neutrals_ohm"]["values"][0]
    ) == pytest.approx(0.3, abs=0.02)
    capacitance = (
        options["machine"]["stator_capacitance_f"] + options["network"]["external_capacitance_f"]
    )
    assert 3 * 314.16 * capacitance * 11e3 / 3**0.5 == pytest.approx(1.8, abs=0.05)
