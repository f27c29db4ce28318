"""Breaker failure protection as one of those that clear a fault."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from montecarlo.engine.clearing import Clearing
from montecarlo.engine.clearing_paths import SOUND, STATED
from montecarlo.frames.clearing import ClearingFrames
from montecarlo.frames.damage import FAILED
from montecarlo.sampling.stratum import EARTH
from montecarlo.study.dependability import BREAKER_FAILURE
from tests.made.clearing import SCHEME, SMALL, followed, part, probabilities, with_parts
from tests.made.studies import faults_of

EVERY = (*SCHEME, "neutral_current", "neutral_voltage")
RELAY = part("relay", *EVERY, rate=0.2)
BREAKER = part("breaker", *EVERY, rate=0.1, breaker_failure=True)
TIMES: dict[str, Any] = {
    "fault_energy": {
        "breaker_time_s": 0.08,
        "field_decay_time_constant_s": 4.0,
        "undetected_time_s": 60.0,
    },
    "damage": {"exponent": 1.5},
}
LATER_S = 0.2


def protected(*parts: dict[str, Any], **keys: Any) -> dict[str, Any]:
    return with_parts(*parts, breaker_failure_time_s=LATER_S, **keys)


def test_it_clears_where_the_breaker_alone_has_failed() -> None:
    """Every path needs both: of the faults that a path sees 0.8 x 0.9 are cleared by a path and
    0.8 x 0.1 by breaker failure protection."""
    found = followed(protected(RELAY, BREAKER))
    assert found.paths[-1] == BREAKER_FAILURE
    sound, stated = probabilities(found, SOUND), probabilities(found, STATED)
    for name, p in stated.items():
        seen = 1 - sound[name][-1]
        assert sound[name][-2] == 0
        assert p[:-2].sum() == pytest.approx(0.72 * seen, rel=1e-9)
        assert p[-2] == pytest.approx(0.08 * seen, rel=1e-9)
        assert p[-1] == pytest.approx(1 - 0.8 * seen, rel=1e-9)
        assert p.sum() == pytest.approx(1, abs=1e-9)


def test_of_other_parts_nothing_changes() -> None:
    with_it, without = (
        probabilities(found, STATED)
        for found in (
            followed(protected(RELAY, BREAKER)),
            followed(with_parts(RELAY, part("breaker", *EVERY, rate=0.1))),
        )
    )
    for name, p in with_it.items():
        assert p[:-2] == pytest.approx(without[name][:-1], rel=1e-12)
        assert p[-2:].sum() == pytest.approx(without[name][-1], rel=1e-12)


def test_a_fault_that_it_clears_lasts_that_much_longer_than_by_the_fastest_path() -> None:
    """Its damage is that of the same fault with elements slower by as much."""
    late = {"neutral_voltage": {"pickup_percent": 100, "delay_s": 4.0}}
    given = SMALL | TIMES | {"backup": late, "candidates.delay_s": [0.1]}
    parts = protected(part("breaker", *SCHEME, rate=0.5, breaker_failure=True))
    own = burnt(followed(given | parts))
    slower = burnt(followed(given | {"candidates.delay_s": [0.1 + LATER_S]}))
    by_it, by_element = own["equivalent_s"][:, -2], slower["equivalent_s"][:, 0]
    seen = slower["weight"][:, :2].sum(axis=1) > 0
    assert seen.any()
    assert not seen.all()
    assert by_it[seen] == pytest.approx(by_element[seen], rel=1e-12)
    assert own["weight"][seen, -2] == pytest.approx(0.5)
    assert (own["weight"][~seen, -2] == 0).all()


def burnt(found: Clearing) -> dict[str, Any]:
    assert found.burnt is not None
    return {
        name: np.concatenate([getattr(one, name) for one in found.burnt])
        for name in ("weight", "equivalent_s")
    }


def test_its_row_stands_in_the_tables_and_paths_stay_elements() -> None:
    frames = ClearingFrames(followed(TIMES | protected(RELAY, BREAKER)))
    who = frames.who_clears()
    assert BREAKER_FAILURE in set(who["path"])
    sums = who.groupby(["type", "failure_rates"])["p"].sum()
    assert sums.to_numpy() == pytest.approx(1, abs=1e-9)
    paths = frames.dependability().query("what == 'path'")["name"].tolist()
    assert paths == list(frames.clearing.paths[:-1])
    damage = frames.damage().set_index("path")
    assert damage.loc[FAILED, "p"] == pytest.approx(
        0.2 * (1 - damage.loc["nobody, not seen", "p"]), rel=0.05
    )
    total = damage.drop(["all", "nobody, not seen", FAILED])["mean_s"].sum()
    assert total == pytest.approx(damage.loc["all", "mean_s"], rel=1e-12)
    assert EARTH in frames.clearing.cleared


@pytest.mark.parametrize(
    ("tables", "line"),
    [
        (
            with_parts(RELAY, BREAKER),
            "dependability.breaker_failure_time_s: missing, and a part has breaker_failure = true;"
            " give the time, or take breaker_failure out",
        ),
        (
            protected(RELAY),
            "dependability.breaker_failure_time_s: given, and no part has breaker_failure = true;"
            " say of which part breaker failure protection takes the place, or take the time out",
        ),
    ],
)
def test_one_without_the_other_is_refused(tables: dict[str, Any], line: str) -> None:
    assert faults_of(SMALL | tables) == (line,)
