"""Variants: the same file with some keys changed, each a study of its own."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from montecarlo.study.read import digest, read_study
from tests.made.said import check_text
from tests.made.studies import faults_of, minimal_study_text, study_with

KIND = {"study.kind": "variants"}
LESS = {"earthing.resistance_ohm": 40}


def variant(changes: dict[str, Any], name: str = "other") -> dict[str, Any]:
    return {"name": name, "changes": changes}


def test_a_variant_is_the_study_with_its_keys_changed_alone() -> None:
    study = study_with(
        KIND
        | {
            "variants": [
                variant(LESS, "larger resistor"),
                variant(
                    {
                        "candidates.earth_pickup_a": [0.05],
                        "relay.earth_burden_ohm": 1.0,
                        "policy.p_false_max": 0.5,
                    },
                    "coarse",
                ),
                variant({"external_events.far_fault.clearing_time_s": 0.3}, "slow"),
            ]
        }
    )
    (name, one), (_, two), (_, three) = study.variant_studies
    assert name == "larger resistor"
    assert one == study_with(LESS)
    assert one.study.kind == "setting_sweep"
    assert two == study_with(
        {
            "candidates.earth_pickup_a": [0.05],
            "relay.earth_burden_ohm": 1.0,
            "policy.p_false_max": 0.5,
        }
    )
    assert three == study_with({"external_events.far_fault.clearing_time_s": 0.3})
    assert study.alone.variant_studies == ()
    assert study.earthing == study_with().earthing
    assert digest(study) != digest(study_with())
    assert "and again as 3 variants, each with candidates of its own" in " ".join(
        check_text(study).split()
    )


def test_a_variant_keeps_the_scenarios_of_the_study_and_may_change_them() -> None:
    scenario = {"name": "remanent", "changes": {"ct.remanence_percent": 60}}
    study = study_with(
        KIND
        | {
            "policy.scenarios": [scenario],
            "variants": [variant(LESS), variant({"policy.scenarios": []}, "without")],
        }
    )
    (_, one), (_, two) = study.variant_studies
    assert (
        [name for name, _ in study.scenarios] == [name for name, _ in one.scenarios] == ["remanent"]
    )
    assert one.scenarios[0][1] == study_with(LESS | scenario["changes"])
    assert two.scenarios == ()


def test_samples_and_seed_of_the_command_reach_every_variant(tmp_path: Path) -> None:
    text = minimal_study_text().replace('kind = "setting_sweep"', 'kind = "variants"')
    (tmp_path / "s.toml").write_text(
        text + '[[variants]]\nname = "a"\nchanges = { "ct.remanence_percent" = 40 }\n'
    )
    study = read_study(tmp_path / "s.toml", samples=64, seed=3)
    assert [(other.study.samples, other.study.seed) for _, other in study.variant_studies] == [
        (64, 3)
    ]


WHOLE = (
    "must be a whole key in quotes that begins with machine, network, load, states, earthing, ct,"
    " internal_faults, external_events, scheme, relay, backup, candidates or policy, as"
    ' "ct.remanence_percent"'
)


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        (
            {"variants": []},
            (
                'variants: none, but study.kind is "variants"; give at least one table [[variants]]'
                " with name and changes"
            ),
        ),
        ({"variants": [variant({"study.seed": 2})]}, f'variants[0].changes: "study.seed": {WHOLE}'),
        (
            {"variants": [variant(LESS, "a"), variant({"ct.remanence_percent": 400}, "b")]},
            "variants[1]: ct.remanence_percent: 400 %, must be at least -100 and at most 100 %",
        ),
        (
            {"variants": [variant(LESS), variant(LESS)]},
            'variants[1].name: "other" is used or reserved; give each variant its own name',
        ),
        (
            {"variants": [variant(LESS, "as stated")]},
            'variants[0].name: "as stated" is used or reserved; give each variant its own name',
        ),
        (
            {"variants": [variant({})]},
            (
                "variants[0].changes: {} is empty; give at least one key and its value, or take the"
                " variant out"
            ),
        ),
        (
            {"variants": [variant(LESS, str(number)) for number in range(21)]},
            "variants: 21, must be at most 20, each a run of its own; leave some out",
        ),
        (
            {"variants": [variant(LESS)], "study.compare_remanence_models": True},
            (
                "study.compare_remanence_models: true in a study of variants; make the other model"
                ' a variant, changes = { "ct.remanence_model" = ... }'
            ),
        ),
        (
            {"variants": [variant(LESS)], "study.compare": [[1, 2]]},
            (
                "study.compare: compares candidates of a single study; take it out, or run the file"
                ' as "setting_sweep"'
            ),
        ),
        (
            {"variants": [variant(LESS)], "study.kind": "setting_sweep"},
            'variants: study.kind is "setting_sweep"; give "variants" or take the variants out',
        ),
    ],
)
def test_a_variant_that_cannot_be_is_refused_in_one_line(
    changes: dict[str, Any], line: str
) -> None:
    assert faults_of(KIND | changes) == (line,)
