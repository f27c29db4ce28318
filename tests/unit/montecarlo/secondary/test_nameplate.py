"""Classes and measured points through the study file: what they fill in, where, and how a mixture
is refused."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from montecarlo.frames.result import run_study
from montecarlo.sampling.inputs import list_inputs
from montecarlo.secondary import measured
from montecarlo.secondary.circuit import at_places, build_bank
from montecarlo.secondary.excitation import excitation_table, loop_rms
from montecarlo.study.checks import cautions
from montecarlo.study.description import Study
from montecarlo.study.read import digest
from tests.made.studies import FEW_TYPES, REMOVE, faults_of, study_with

BARE = {"ct.knee_voltage_v": REMOVE, "ct.knee_current_a": REMOVE}
FREE = BARE | {"ct.turns_ratio_error_percent": REMOVE}
P20 = FREE | {"ct.class": "5P20", "ct.rated_burden_va": 15}
TPY = {
    "ct.class": "TPY",
    "ct.rated_burden_va": 5,
    "ct.accuracy_limit_factor": 20,
    "ct.transient_factor": 12,
    "ct.remanence_percent": 0,
}
CURE = (
    "give knee_voltage_v and knee_current_a, or class and rated_burden_va, or excitation_points:"
    " exactly one way"
)


def points(
    knee_v: float, knee_a: float, ankle: float, exponent: int, bound: float = 80.0
) -> dict[str, list[float]]:
    shares = np.array(
        [0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.7, 0.85, 0.95, 1.0, 1.05, 1.1, 1.15, 1.2, 1.25]
    )
    shape = excitation_table(bound, exponent).at(ankle)
    return {
        "voltage_v": [float(knee_v * share) for share in shares],
        "current_a": [float(knee_a * loop_rms(shape, share, exponent)) for share in shares],
    }


def bank_of(study: Study) -> Any:
    samples = {
        item.key: np.full((1, item.width) if item.width > 1 else 1, item.distribution.centre())
        for item in list_inputs(study)
    }
    return at_places(build_bank(study.ct, samples, study.machine.omega), tuple(range(6)))


# --- what is filled in --------------------------------------------------------


def test_a_class_fills_the_knee_and_what_the_file_leaves_open() -> None:
    ct = study_with(P20).ct
    assert ct.knee_voltage_v is not None
    assert ct.knee_voltage_v.centre() == pytest.approx(267.6, abs=0.1)  # regression
    assert ct.knee_voltage_v.source == "class 5P20, 15 VA, met only just"
    assert ct.knee_current_a is not None
    assert ct.knee_current_a.centre() == pytest.approx(0.0252, abs=1e-4)
    assert (ct.ankle_ratio.support(), ct.turns_ratio_error_percent.support()) == (
        (0.15, 0.40),
        (-0.5, 0.5),
    )
    assert "ct.knee_voltage_v" in {item.key for item in list_inputs(study_with(P20))}


def test_what_the_file_gives_stays() -> None:
    ct = study_with(
        P20
        | {
            "ct.ankle_ratio": 0.3,
            "ct.remanence_bound_percent": 70.0,
            "ct.turns_ratio_error_percent": 0.1,
        }
    ).ct
    assert (ct.ankle_ratio.centre(), ct.remanence_bound_percent) == (0.3, 70.0)
    assert ct.turns_ratio_error_percent.centre() == 0.1


def test_a_gapped_class_bounds_the_remanence() -> None:
    ct = study_with(FREE | TPY).ct
    assert ct.remanence_bound_percent == 10.0
    assert ct.ankle_ratio.support() == (0.105, 0.17)
    assert faults_of(FREE | TPY | {"ct.remanence_percent": 30})[0].startswith(
        "ct.remanence_percent: reaches 30"
    )


def test_px_gives_its_ratio_error_and_leaves_the_knee() -> None:
    ct = study_with({"ct.class": "PX", "ct.turns_ratio_error_percent": REMOVE}).ct
    assert ct.turns_ratio_error_percent.support() == (-0.25, 0.25)
    assert ct.knee_voltage_v == study_with().ct.knee_voltage_v


def test_the_factor_spreads_the_knees_and_the_desk_takes_its_median() -> None:
    factor = {"dist": "uniform", "low": 1.0, "high": 1.4}
    plain, spread = study_with(P20), study_with(P20 | {"ct.knee_factor": factor})
    for end in ("neutral_end", "line_end"):
        one, other = (study.ct.at(end).knee_voltage_v.centre() for study in (plain, spread))
        assert other == pytest.approx(1.2 * one)
    assert bank_of(spread).knee_flux_wb == pytest.approx(1.2 * bank_of(plain).knee_flux_wb)


# --- unlike ends --------------------------------------------------------------


def knees(changes: Mapping[str, Any]) -> tuple[float, float]:
    ct = study_with(changes).ct
    return ct.at("neutral_end").knee_voltage_v.centre(), ct.at("line_end").knee_voltage_v.centre()


def test_unlike_ends() -> None:
    one, same = knees(P20)
    assert one == same
    neutral, line = knees(P20 | {"ct.line_end": {"rated_burden_va": 30}})  # the burden alone
    assert (neutral, line) == (
        one,
        pytest.approx(one * np.hypot(29, 18) / np.hypot(17, 9), rel=0.02),
    )
    assert knees(P20 | {"ct.line_end": {"winding_resistance_ohm": 8}})[1] > one
    assert knees(P20 | {"ct.line_end": {"knee_voltage_v": 500, "knee_current_a": 0.02}}) == (
        one,
        500,
    )
    assert knees({"ct.line_end": {"class": "5P20", "rated_burden_va": 15}})[0] == 300
    assert knees(P20 | {"ct.line_end": {"excitation_points": points(250, 0.03, 0.2, 15)}}) == (
        one,
        pytest.approx(250, rel=1e-3),
    )
    assert knees(P20 | {"ct.line_end": {"lead_resistance_ohm": 3}}) == (one, one)


def test_each_end_by_itself_and_nothing_in_common() -> None:
    ends = {
        "ct.neutral_end": {"class": "5P20", "rated_burden_va": 15},
        "ct.line_end": {"class": "10P20", "rated_burden_va": 15},
    }
    study = study_with(FREE | ends)
    bank = bank_of(study)
    assert np.isfinite(bank.knee_flux_wb).all()
    assert bank.knee_current_a[0, 3] > 2 * bank.knee_current_a[0, 0]


def test_an_end_with_another_class_takes_that_class_in_full() -> None:
    ct = study_with(
        P20
        | {
            "ct.remanence_percent": 0,
            "ct.line_end": {
                "class": "TPZ",
                "rated_burden_va": 5,
                "accuracy_limit_factor": 20,
                "transient_factor": 3,
            },
        }
    ).ct
    assert (
        ct.at("neutral_end").remanence_bound_percent,
        ct.at("line_end").remanence_bound_percent,
    ) == (80.0, 2.0)
    assert ct.at("line_end").turns_ratio_error_percent.support() == (-0.5, 0.5)


def test_an_even_exponent_at_one_end_is_refused() -> None:
    assert "14 is even" in faults_of({"ct.line_end": {"saturation_exponent": 14}})[0]


# --- measured points ----------------------------------------------------------


@pytest.mark.parametrize(
    ("knee_v", "knee_a", "ankle", "exponent"),
    [(300, 0.03, 0.2, 15), (120, 0.2, 0.4, 21), (900, 0.01, 0.3, 11)],
)
def test_points_of_a_known_curve_give_it_back(
    knee_v: float, knee_a: float, ankle: float, exponent: int
) -> None:
    ct = study_with(FREE | {"ct.excitation_points": points(knee_v, knee_a, ankle, exponent)}).ct.at(
        "line_end"
    )
    assert ct.knee_voltage_v.centre() == pytest.approx(knee_v, rel=1e-3)
    assert ct.knee_current_a.centre() == pytest.approx(knee_a, rel=1e-3)
    assert ct.ankle_ratio.centre() == pytest.approx(ankle, rel=0.02)
    assert ct.saturation_exponent == exponent


def test_an_ankle_or_exponent_that_is_given_stays() -> None:
    ct = study_with(
        BARE
        | {
            "ct.ankle_ratio": 0.25,
            "ct.saturation_exponent": 13,
            "ct.excitation_points": points(300, 0.03, 0.2, 15),
        }
    ).ct
    assert (ct.ankle_ratio.centre(), ct.saturation_exponent) == (0.25, 13)


def test_points_from_a_file_beside_the_study(tmp_path: Path) -> None:
    table = points(300, 0.03, 0.2, 15)
    rows = [f"{v!r},{i!r}" for v, i in zip(table["voltage_v"], table["current_a"], strict=True)]
    (tmp_path / "ct.csv").write_text("\n".join(["v,i", *rows]))
    given = {"file": "ct.csv", "voltage": "v", "current": "i"}
    ct = study_with(FREE | {"ct.excitation_points": given}, folder=tmp_path).ct
    assert ct.knee_voltage_v is not None
    assert ct.knee_voltage_v.centre() == pytest.approx(300, rel=1e-3)
    assert ct.knee_voltage_v.source == "fitted to 15 measured points"


# --- faults -------------------------------------------------------------------

GOOD = points(300, 0.03, 0.2, 15)
FLAT = {"voltage_v": [10, 20, 40, 80, 160], "current_a": [0.001, 0.002, 0.004, 0.008, 0.016]}
WILD = {
    "voltage_v": [10, 50, 100, 150, 200, 250, 300],
    "current_a": [1e-4, 1e-3, 1.001e-3, 1.1e-1, 1.11e-1, 1.12e-1, 0.9],
}

FAULTS: list[tuple[dict[str, Any], str]] = [
    (BARE, f"ct: no excitation curve; {CURE}"),
    (
        {"ct.class": "5P20", "ct.rated_burden_va": 15},
        f"ct: the excitation curve is given by knee_voltage_v and class; {CURE}",
    ),
    (
        P20 | {"ct.excitation_points": GOOD},
        f"ct: the excitation curve is given by class and excitation_points; {CURE}",
    ),
    (
        {"ct.knee_current_a": REMOVE},
        "ct.knee_current_a: missing; knee_voltage_v needs it beside it",
    ),
    (
        {"ct.knee_factor": 1.2},
        (
            "ct.knee_factor: has no meaning beside knee_voltage_v, which may be a distribution"
            " itself; take it out"
        ),
    ),
    (
        FREE | {"ct.class": "5P20"},
        "ct.rated_burden_va: missing; the knee follows from it and class 5P20",
    ),
    (
        FREE | {"ct.class": "C400", "ct.rated_burden_va": 15},
        "ct.rated_burden_va: class C400 has no use of it; take it out",
    ),
    (
        P20 | {"ct.accuracy_limit_factor": 20},
        "ct.accuracy_limit_factor: class 5P20 has no use of it; take it out",
    ),
    (
        FREE | {"ct.class": "TPX", "ct.rated_burden_va": 5},
        "ct.accuracy_limit_factor: missing; the knee follows from it and class TPX",
    ),
    (FREE | {"ct.class": "PX"}, f"ct: no excitation curve; {CURE}"),
    (
        {"ct.line_end": {"class": "5P20"}},
        "ct.line_end.rated_burden_va: missing; the knee follows from it and class 5P20",
    ),
    (
        FREE | {"ct.excitation_points": {"voltage_v": [1, 2, 3]}},
        (
            "ct.excitation_points: give voltage_v and current_a, two lists, or file, voltage and"
            " current"
        ),
    ),
    (
        FREE | {"ct.excitation_points": {"voltage_v": [1, 2], "current_a": [1, 2]}},
        (
            "ct.excitation_points: 2 points, must be 5 to 200; take them from the foot to beyond"
            " the knee"
        ),
    ),
    (
        FREE
        | {"ct.excitation_points": {"voltage_v": [1, 2, 3, 3, 4], "current_a": [1, 2, 3, 4, 5]}},
        (
            "ct.excitation_points: the voltage 3 V does not lie above 3 V before it; sort the"
            " points, and take out those that are no part of a rising curve"
        ),
    ),
    (
        FREE | {"ct.excitation_points": FLAT},
        (
            "ct.excitation_points: the points never reach a knee: 10 % more voltage gives at most"
            " 10 % more current, 50 % at a knee; measure to a higher voltage"
        ),
    ),
    (
        FREE | {"ct.excitation_points": {"file": "../ct.csv", "voltage": "v", "current": "i"}},
        (
            'ct.excitation_points.file: "../ct.csv" must lie in the study file\'s folder or below'
            " it; copy it there"
        ),
    ),
    (
        FREE | {"ct.excitation_points": {"file": "ct.csv", "voltage": "v"}},
        "ct.excitation_points.file: needs the names of its columns: voltage and current",
    ),
]


@pytest.mark.parametrize(("changes", "fault"), FAULTS)
def test_a_fault_names_its_cure(changes: dict[str, Any], fault: str) -> None:
    assert faults_of(changes) == (fault,)


# Invented, as a test report might have it: a foot down to a volt, a knee at some 350 V.
ORDINARY = {
    "voltage_v": [1, 2, 5, 10, 25, 50, 100, 200, 300, 350, 400, 430],
    "current_a": [4e-5, 1e-4, 3.5e-4, 8.5e-4, 2e-3, 3.3e-3, 5e-3, 8e-3, 0.011, 0.015, 0.03, 0.11],
}
ROUND = {
    "voltage_v": [2, 5, 10, 25, 50, 100, 200, 300, 350, 400, 420, 440],
    "current_a": [
        1e-4,
        3.5e-4,
        8.5e-4,
        2e-3,
        3.5e-3,
        5.5e-3,
        8.5e-3,
        0.012,
        0.016,
        0.03,
        0.06,
        0.15,
    ],
}
STATED = "ct.excitation_misfit_max_percent"


def test_a_refused_curve_is_told_point_by_point_with_the_key_that_accepts_it() -> None:
    first, *others = faults_of(FREE | {"ct.excitation_points": ORDINARY})
    assert first.startswith(
        "ct.excitation_points: the fitted curve differs from the points by 17.9 % RMS, and by at"
        " most 18.3 % from half the knee voltage up; must be within 15 % and 40 %."
    )
    accepted = float(first.split("excitation_misfit_max_percent = ")[1].split()[0])
    assert [line.split(" V: ")[0] for line in others] == [
        f"ct.excitation_points: {v}" for v in ORDINARY["voltage_v"]
    ]
    assert others[0] == "ct.excitation_points: 1 V: measured 4e-05 A, fitted 6.102e-05 A, +53 %"
    assert study_with(FREE | {"ct.excitation_points": ORDINARY, STATED: accepted})
    assert faults_of(FREE | {"ct.excitation_points": ORDINARY, STATED: accepted - 1})[0].startswith(
        "ct.excitation_points: the fitted curve differs from the points"
    )


def test_a_stated_misfit_is_a_caution_and_needed_only_beyond_the_usual_one() -> None:
    def key(changes: dict[str, Any]) -> list[str]:
        return [
            one.text for one in cautions(study_with(FREE | changes)) if one.key.endswith(STATED[3:])
        ]

    (text,) = key({"ct.excitation_points": ORDINARY, STATED: 18})
    assert "by 17.9 % RMS and 52.5 % at most. The usual limit is 15 % RMS." in text
    assert not key({"ct.excitation_points": GOOD, STATED: 18})


def test_a_misfit_is_stated_for_the_ends_that_have_points() -> None:
    both = {
        "ct.neutral_end": {"excitation_points": ORDINARY},
        "ct.line_end": {"class": "5P20", "rated_burden_va": 15},
    }
    ct = study_with(BARE | both | {STATED: 18}).ct
    assert (
        ct.at("neutral_end").excitation_misfit_max_percent,
        ct.at("line_end").excitation_misfit_max_percent,
    ) == (18, None)
    own = {
        "ct.excitation_points": GOOD,
        "ct.line_end": {"excitation_points": ORDINARY, STATED[3:]: 16},
    }
    assert faults_of(FREE | own)[0].startswith(
        "ct.line_end.excitation_points: the fitted curve differs from the points by"
    )
    assert faults_of({STATED: 18}) == (
        f"{STATED}: has no meaning without excitation_points; take it out",
    )


def test_which_misfit_is_accepted_changes_no_digest() -> None:
    one, other = (
        study_with(FREE | {"ct.excitation_points": ORDINARY, STATED: most}) for most in (18, 30)
    )
    assert digest(one) == digest(other)


def test_points_from_half_the_knee_voltage_up_count_more(monkeypatch: pytest.MonkeyPatch) -> None:
    volts, amperes = (tuple(map(float, ORDINARY[key])) for key in ("voltage_v", "current_a"))

    def off_above(weight: float) -> float:
        monkeypatch.setattr(measured, "UPPER_WEIGHT", weight)
        fit = measured.fit_points.__wrapped__(volts, amperes, 80.0, None, 15)
        off = [fit.current_a(v) / a - 1 for v, a in zip(volts, amperes, strict=True) if v >= 175]
        return float(np.sqrt(np.mean(np.square(off))))

    assert off_above(3.0) < 0.95 * off_above(1.0)


def test_ordinary_points_whose_foot_alone_is_missed_are_accepted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    volts, amperes = (tuple(map(float, ROUND[key])) for key in ("voltage_v", "current_a"))
    assert measured.fit_points(volts, amperes, 80.0).misfit_percent < 14
    assert study_with(FREE | {"ct.excitation_points": ROUND})
    monkeypatch.setattr(measured, "UPPER_WEIGHT", 1.0)  # every point alike
    assert measured.fit_points.__wrapped__(volts, amperes, 80.0).misfit_percent > 16


def test_a_wild_curve_and_an_unknown_class_are_refused() -> None:
    assert (
        "the fitted curve differs from the points by"
        in faults_of(FREE | {"ct.excitation_points": WILD})[0]
    )
    assert faults_of(FREE | {"ct.class": "5P"})[0].startswith(
        'ct.class: "5P"; expected a class as "5P20"'
    )


# --- whole studies ------------------------------------------------------------

FEW = FEW_TYPES | {"study.samples": 128, "study.earth_fault_samples": 64, "study.installations": 16}
FIVE = {
    "ct.secondary_a": 5.0,
    "relay.rated_current_a": 5.0,
    "ct.winding_resistance_ohm": 0.5,
    "candidates.phase_pickup_a": [0.5, 1.0],
    "candidates.earth_pickup_a": [0.1, 0.5],
}
STUDIES: dict[str, dict[str, Any]] = {
    "5P20": P20 | {"ct.knee_factor": {"dist": "uniform", "low": 1.0, "high": 1.5}},
    "C400": (
        FREE
        | FIVE
        | {
            "ct.class": "C400",
            "ct.knee_factor": {"dist": "uniform", "low": 1.0, "high": 1.5},
        }
    ),
    "TPZ": (
        FREE
        | {
            "ct.class": "TPZ",
            "ct.rated_burden_va": 5,
            "ct.accuracy_limit_factor": 20,
            "ct.transient_factor": 3,
            "ct.remanence_percent": 0,
        }
    ),
    "points": FREE | {"ct.excitation_points": GOOD},
}


@pytest.mark.parametrize("name", STUDIES)
def test_a_whole_study_runs_on_it(name: str) -> None:
    table = run_study(study_with(FEW | STUDIES[name]), workers=1).candidates
    assert (table["unresolved"] == 0).all()
    assert table["p_missed"].between(0, 1).all()
    assert table["p_missed"].max() > table["p_missed"].min()
    assert table["p_false"].notna().all()


def test_fitted_points_give_the_run_of_the_knee_that_they_were_made_from() -> None:
    knee = BARE | {"ct.knee_voltage_v": 300, "ct.knee_current_a": 0.03, "ct.ankle_ratio": 0.2}
    one, other = (
        run_study(
            study_with(FEW | {"ct.turns_ratio_error_percent": 0.1} | changes), workers=1
        ).candidates
        for changes in (knee, BARE | {"ct.excitation_points": GOOD})
    )
    assert other["p_missed"].to_numpy() == pytest.approx(one["p_missed"].to_numpy(), rel=1e-3)
