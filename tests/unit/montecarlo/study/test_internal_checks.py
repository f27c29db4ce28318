"""Keys of internal faults in time that contradict each other or another table."""

from __future__ import annotations

from typing import Any

import pytest

from montecarlo.study.internal_checks import evolving_cautions
from montecarlo.study.strata import in_time, internal_shares, off_network_share
from tests.made.studies import faults_of, study_with

TABLE = {"event": "near_fault", "after_s": 0.04, "kind": "phase_phase"}
SHARES = {"earth": 0.9, "evolving": 0.1}


def given(shares: Any = SHARES, **table: Any) -> dict[str, Any]:
    return {"internal_faults.shares": shares, "internal_faults.evolving": TABLE | table}


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        (
            {"internal_faults.shares": SHARES},
            "internal_faults.shares.evolving: 0.1, but there is no table"
            " [internal_faults.evolving]; give event, after_s and kind there, or take the share"
            " out",
        ),
        (
            given({"earth": 1.0}),
            "internal_faults.evolving: internal_faults.shares.evolving is 0, must be above 0; give"
            " such faults a share, or take the table out",
        ),
        (
            given(event="hv_fault"),
            'internal_faults.evolving.event: "hv_fault", must be the name of an event of'
            " [[external_events]]; name near_fault or far_fault",
        ),
        (
            given(after_s=0.12),
            "internal_faults.evolving.after_s: can be 0.12 s, must be below"
            " external_events.near_fault.clearing_time_s, which can be 0.12 s; shorten it, or cut"
            " either with truncate = [low, high]",
        ),
        (
            given(after_s={"dist": "lognormal", "median": 0.02, "sigma": 0.5}),
            "internal_faults.evolving.after_s: can be inf s, must be at least 0 and at most 5 s;"
            " cut it with truncate = [low, high]",
        ),
        (
            given(event="far_fault", after_s={"dist": "uniform", "low": 0.01, "high": 0.09}),
            "internal_faults.evolving.after_s: can be 0.09 s, must be below"
            " external_events.far_fault.clearing_time_s, which can be 0.08 s; shorten it, or cut"
            " either with truncate = [low, high]",
        ),
        (
            {"internal_faults.dc_offset": True, "network.reactance_pu": 0.3},
            "network.x_over_r: missing; internal_faults.dc_offset needs the X/R of the network's"
            " infeed, usually 10 to 60; give it, or take that out",
        ),
    ],
)
def test_a_contradiction_is_told_with_its_cure(changes: dict[str, Any], told: str) -> None:
    assert faults_of(changes) == (told,)


def test_another_kind_of_event_is_refused() -> None:
    table = study_with().external_events[0]
    bus = {
        "name": "bus_fault",
        "kind": "phase_earth",
        "per_year": 1,
        "fault_resistance_ohm": 1,
        "clearing_time_s": 0.1,
    }
    events = [table.model_dump(mode="json"), bus]
    (told,) = faults_of(given(event="bus_fault") | {"external_events": events})
    assert told == (
        'internal_faults.evolving.event: "bus_fault" is of kind "phase_earth", must be of kind'
        " three_phase or phase_phase; name near_fault"
    )


@pytest.mark.parametrize(
    "wrong",
    [{"kind": "earth"}, {"after_s": -0.1}, {"after_s": "soon"}, {"event": 3}, {"other": 1}],
)
def test_a_wrong_value_is_refused_by_its_key(wrong: dict[str, Any]) -> None:
    told = faults_of(given(**wrong))
    assert told
    assert all(line.startswith("internal_faults.evolving") for line in told)


def test_what_is_solved_in_time() -> None:
    plain, offset = study_with(given()), study_with(given() | {"internal_faults.dc_offset": True})
    kinds = [
        *internal_shares(study_with(given({"earth": 0.5, "phase_phase": 0.4, "evolving": 0.1})))
    ]
    assert [name.kind for name in kinds] == ["earth", "phase_phase", "evolving"]
    assert [in_time(plain, name) for name in kinds] == [False, False, True]
    assert [in_time(offset, name) for name in kinds] == [False, True, True]
    gate = {"name": "held", "start": "angle", "within_degrees": 60.0}
    existing = {"phase_pickup_a": 0.1, "earth_pickup_a": 0.1, "gate": "held"}
    own = {"scheme.gates": [gate], "candidates.gate": ["none"], "candidates.existing": existing}
    assert [in_time(study_with(given() | own), name) for name in kinds] == [False, True, True]
    alone = study_with(given() | {"states.breaker_open_share": 0.3})
    assert [off_network_share(alone, name) for name in kinds] == [0.3, 0.3, 0.0]
    assert not [*evolving_cautions(study_with())]
