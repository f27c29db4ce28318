"""Alternatives: the same file with some keys changed, each a study of its own."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from montecarlo.study.read import digest, read_study
from tests.made.branches import between_groups
from tests.made.clearing import TIMES
from tests.made.said import check_text
from tests.made.studies import REMOVE, faults_of, minimal_study_text, study_with

KIND = {"study.kind": "alternatives"}
DAMAGE = {"fault_energy": TIMES, "damage": {"exponent": 1.5}}
COSTS = {"policy.least_annual_cost": {"missed_fault": 9, "false_trip": 1, "unit": "EUR"}}
COSTS["policy.p_false_max"] = REMOVE
LESS = {"earthing.resistance_ohm": 40}


def alternative(changes: dict[str, Any], name: str = "other") -> dict[str, Any]:
    return {"name": name, "changes": changes}


def test_an_alternative_is_the_study_with_its_keys_changed_alone() -> None:
    study = study_with(
        KIND
        | {
            "alternatives": [
                alternative(LESS, "larger resistor"),
                alternative(
                    {
                        "candidates.earth_pickup_a": [0.05],
                        "relay.earth_burden_ohm": 1.0,
                        "policy.p_false_max": 0.5,
                    },
                    "coarse",
                ),
                alternative({"external_events.far_fault.clearing_time_s": 0.3}, "slow"),
            ]
        }
    )
    (name, one), (_, two), (_, three) = study.alternative_studies
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
    assert study.alone.alternative_studies == ()
    assert study.earthing == study_with().earthing
    assert digest(study) != digest(study_with())
    assert "and again as 3 alternatives, each with candidates of its own" in " ".join(
        check_text(study).split()
    )


def test_an_alternative_keeps_the_assumption_sets_of_the_study_and_may_change_them() -> None:
    assumption_set = {"name": "remanent", "changes": {"ct.remanence_percent": 60}}
    study = study_with(
        KIND
        | {
            "policy.assumption_sets": [assumption_set],
            "alternatives": [
                alternative(LESS),
                alternative({"policy.assumption_sets": []}, "without"),
            ],
        }
    )
    (_, one), (_, two) = study.alternative_studies
    assert (
        [name for name, _ in study.assumption_sets]
        == [name for name, _ in one.assumption_sets]
        == ["remanent"]
    )
    assert one.assumption_sets[0][1] == study_with(LESS | assumption_set["changes"])
    assert two.assumption_sets == ()


def test_samples_and_seed_of_the_command_reach_every_alternative(tmp_path: Path) -> None:
    text = minimal_study_text().replace('kind = "setting_sweep"', 'kind = "alternatives"')
    (tmp_path / "s.toml").write_text(
        text + '[[alternatives]]\nname = "a"\nchanges = { "ct.remanence_percent" = 40 }\n'
    )
    study = read_study(tmp_path / "s.toml", samples=64, seed=3)
    assert [(other.study.samples, other.study.seed) for _, other in study.alternative_studies] == [
        (64, 3)
    ]


def test_an_alternative_may_have_another_winding() -> None:
    other = alternative({"winding.branches": 4, "winding.layout": "half"})
    study = between_groups("split_phase", KIND | {"alternatives": [other]})
    (_, one), *_ = study.alternative_studies
    assert one.winding is not None
    assert (one.winding.branches, one.winding.layout) == (4, "half")
    assert study.winding is not None
    assert study.winding.branches == 2


WHOLE = (
    "must be a whole key in quotes that begins with machine, winding, network, load, states,"
    " earthing, ct, internal_faults, external_events, scheme, relay, backup, fault_energy, damage,"
    ' dependability, candidates or policy, as "ct.remanence_percent"'
)


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        (
            {"alternatives": []},
            (
                'alternatives: none, but study.kind is "alternatives"; give at least one table'
                " [[alternatives]] with name and changes"
            ),
        ),
        (
            {"alternatives": [alternative({"study.seed": 2})]},
            f'alternatives[0].changes: "study.seed": {WHOLE}',
        ),
        (
            {
                "alternatives": [
                    alternative(LESS, "a"),
                    alternative({"ct.remanence_percent": 400}, "b"),
                ]
            },
            "alternatives[1]: ct.remanence_percent: 400 %, must be at least -100 and at most 100"
            " %; give such a value: remanent flux before the event, of the knee flux, signed",
        ),
        (
            {"alternatives": [alternative(LESS), alternative(LESS)]},
            'alternatives[1].name: "other" is used or reserved; give each alternative its own name',
        ),
        (
            {"alternatives": [alternative(LESS, "as stated")]},
            'alternatives[0].name: "as stated" is used or reserved; give each alternative its own'
            " name",
        ),
        (
            {"alternatives": [alternative({})]},
            (
                "alternatives[0].changes: {} is empty; give at least one key and its value, or take"
                " the alternative out"
            ),
        ),
        (
            {"alternatives": [alternative(LESS, str(number)) for number in range(21)]},
            "alternatives: 21, must be at most 20, each a run of its own; leave some out",
        ),
        (
            {"alternatives": [alternative(LESS)], "study.compare_remanence_models": True},
            (
                "study.compare_remanence_models: true in a study of alternatives; make the other"
                ' model an alternative, changes = { "ct.remanence_model" = ... }'
            ),
        ),
        (
            {"alternatives": [alternative(LESS)], "study.compare": [[1, 2]]},
            (
                "study.compare: compares candidates of a single study; take it out, or run the file"
                ' as "setting_sweep"'
            ),
        ),
        (
            {"alternatives": [alternative(LESS)], "study.kind": "setting_sweep"},
            'alternatives: study.kind is "setting_sweep"; give "alternatives" or take the'
            " alternatives out",
        ),
        (
            DAMAGE | {"alternatives": [alternative({"damage.reference_a": 100.0})]},
            (
                "alternatives[0].changes: damage.reference_a becomes 100.0, must stay 10.0 as in"
                " the study, which alternatives are compared with; take it out"
            ),
        ),
        (
            COSTS
            | {
                "alternatives": [
                    alternative({"policy.least_annual_cost.unit": "kEUR"}),
                    alternative({"policy.least_annual_cost.missed_fault": 5.0}, "cheaper"),
                ]
            },
            (
                'alternatives[0].changes: policy.least_annual_cost.unit becomes "kEUR", must stay'
                ' "EUR" as in the study, which alternatives are compared with; take it out'
            ),
        ),
    ],
)
def test_an_alternative_that_cannot_be_is_refused_in_one_line(
    changes: dict[str, Any], line: str
) -> None:
    assert faults_of(KIND | changes) == (line,)
