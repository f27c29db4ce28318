"""Assumption sets: the same file with some keys changed, read through the same door."""

from __future__ import annotations

import pickle
from pathlib import Path
from typing import Any

import pytest

from montecarlo.study.read import digest, read_study
from tests.made.said import check_text
from tests.made.studies import faults_of, minimal_study_text, study_with


def assumption_set(changes: dict[str, Any], name: str = "other") -> dict[str, Any]:
    return {"name": name, "changes": changes}


def test_an_assumption_set_is_the_study_with_its_keys_changed() -> None:
    study = study_with(
        {
            "policy.assumption_sets": [
                assumption_set(
                    {"ct.remanence_percent": 40, "external_events.far_fault.clearing_time_s": 0.3}
                ),
                assumption_set(
                    {
                        "earthing.resistance_ohm": {"dist": "uniform", "low": 5, "high": 6},
                        "ct.neutral_end.winding_resistance_ohm": 7,
                    },
                    "low resistor",
                ),
            ]
        }
    )
    (_, one), (name, two) = study.assumption_sets
    assert name == "low resistor"
    assert one == study_with(
        {"ct.remanence_percent": 40, "external_events.far_fault.clearing_time_s": 0.3}
    )
    assert two == study_with(
        {
            "earthing.resistance_ohm": {"dist": "uniform", "low": 5, "high": 6},
            "ct.neutral_end": {"winding_resistance_ohm": 7},
        }
    )
    assert study.machine == study_with().machine
    assert study.ct == study_with().ct
    assert digest(study) != digest(study_with())
    assert pickle.loads(pickle.dumps(study)).assumption_sets == study.assumption_sets
    assert study.alone.assumption_sets == ()
    assert study_with().assumption_sets == ()


def test_samples_and_seed_of_the_command_reach_every_assumption_set(tmp_path: Path) -> None:
    text = (
        minimal_study_text()
        + '[[policy.assumption_sets]]\nname = "a"\nchanges = { "ct.remanence_percent" = 40 }\n'
    )
    (tmp_path / "s.toml").write_text(text)
    study = read_study(tmp_path / "s.toml", samples=64, seed=3)
    assert [(other.study.samples, other.study.seed) for _, other in study.assumption_sets] == [
        (64, 3)
    ]
    assert "2 times: as stated and in 1 assumption set" in " ".join(check_text(study).split())


REMANENT = {"ct.remanence_percent": 40}
WHOLE = (
    "must be a whole key in quotes that begins with machine, winding, network, load, states,"
    ' earthing, ct, internal_faults or external_events, as "ct.remanence_percent"'
)


@pytest.mark.parametrize(
    ("assumption_sets", "line"),
    [
        (
            [assumption_set({"relay.step_a": 0.01})],
            f'policy.assumption_sets[0].changes: "relay.step_a": {WHOLE}',
        ),
        (
            [assumption_set({"ct": {"remanence_percent": 40}})],
            f'policy.assumption_sets[0].changes: "ct": {WHOLE}',
        ),
        (
            [assumption_set({"external_events.farfault.clearing_time_s": 0.3})],
            (
                'policy.assumption_sets[0].changes: "external_events.farfault.clearing_time_s":'
                ' there is no table "farfault" to change; name a key of this study'
            ),
        ),
        (
            [assumption_set({"external_events.far_fault": 0.3})],
            (
                'policy.assumption_sets[0].changes: "external_events.far_fault": names a whole'
                ' list; name the event and its key, as "external_events.name.key"'
            ),
        ),
        (
            [assumption_set({"machine.line_voltage_v.x": 0.3})],
            (
                'policy.assumption_sets[0].changes: "machine.line_voltage_v.x": there is no table'
                ' "line_voltage_v" to change; name a key of this study'
            ),
        ),
        (
            [assumption_set({"ct.remanence_percnt": 40})],
            "policy.assumption_sets[0]: ct.remanence_percnt: unknown; did you mean"
            " remanence_percent?",
        ),
        (
            [assumption_set(REMANENT, "a"), assumption_set({"ct.remanence_percent": 400}, "b")],
            (
                "policy.assumption_sets[1]: ct.remanence_percent: 400 %, must be at least -100 and"
                " at most 100 %; give such a value: remanent flux before the event, of the knee"
                " flux, signed"
            ),
        ),
        (
            [assumption_set(REMANENT, "a"), assumption_set(REMANENT, "a")],
            'policy.assumption_sets[1].name: "a" is used or reserved; give each assumption set its'
            " own name",
        ),
        (
            [assumption_set(REMANENT, "as stated")],
            (
                'policy.assumption_sets[0].name: "as stated" is used or reserved; give each'
                " assumption set its own name"
            ),
        ),
        (
            [assumption_set({})],
            (
                "policy.assumption_sets[0].changes: {} is empty; give at least one key and its"
                " value, or take the assumption set out"
            ),
        ),
        (
            [assumption_set(REMANENT, str(number)) for number in range(21)],
            "policy.assumption_sets: 21, must be at most 20, each a run of its own; leave some out",
        ),
    ],
)
def test_an_assumption_set_that_cannot_be_is_refused_in_one_line(
    assumption_sets: list[Any], line: str
) -> None:
    assert faults_of({"policy.assumption_sets": assumption_sets}) == (line,)


def test_assumption_sets_and_a_second_remanence_model_are_not_told_together() -> None:
    (line,) = faults_of(
        {
            "policy.assumption_sets": [assumption_set(REMANENT)],
            "study.compare_remanence_models": True,
        }
    )
    assert "make the other model an assumption set" in line
