"""[damage] and [dependability] through the door: each nonsense in one line, each doubt where it is
due, and the tables as a file has them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from montecarlo.formulas.dependability import pfd_1oo1, pfd_1oo2
from montecarlo.quantities import Array
from montecarlo.study.checks import cautions
from montecarlo.study.clearing_checks import paths_of
from montecarlo.study.dependability import MOST_COMMON, MOST_PARTS
from montecarlo.study.read import study_of
from tests.made.studies import MINIMAL, faults_of, study_with

SCHEME = ["phase_elements", "earth_element"]
PART: dict[str, Any] = {"name": "relay", "paths": SCHEME, "dangerous_per_year": 0.01}
TIMES = {
    "breaker_time_s": 0.08,
    "field_decay_time_constant_s": 1.0,
    "undetected_time_s": 60.0,
}
BACKUP = {"neutral_voltage": {"pickup_percent": 5.0, "delay_s": 1.0}}
COST = {"missed_fault": 1e6, "false_trip": 1e4}
RATE = "dependability.parts.relay.dangerous_per_year"
TWO_SCHEMES: dict[str, Any] = {
    "scheme.kind": ["restricted_earth_fault", "two_phase_one_earth"],
    "ct.neutral_conductor": {},
}
UNBOUNDED = {"dist": "lognormal", "median": 0.01, "sigma": 0.7}


def dependable(**keys: Any) -> dict[str, Any]:
    return {"dependability": {"proof_test_years": 2.0, "parts": [PART], **keys}}


def with_part(**keys: Any) -> dict[str, Any]:
    return dependable(parts=[PART | keys])


def harmed(*zones: tuple[str, float, float], **keys: Any) -> dict[str, Any]:
    tables = [dict(zip(("name", "current_a", "time_s"), zone, strict=True)) for zone in zones]
    return {"fault_energy": TIMES, "damage": {"zones": tables, **keys}}


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        (
            dependable(proof_test_years=0),
            "dependability.proof_test_years: 0 year, must be above 0 and at most 50 year; give"
            " such a value: time between tests that find every failure",
        ),
        (
            dependable(proof_test_years=-1),
            "dependability.proof_test_years: -1 year, must be above 0 and at most 50 year; give"
            " such a value: time between tests that find every failure",
        ),
        (
            with_part(proof_test_years=0),
            "dependability.parts.relay.proof_test_years: 0 year, must be above 0 and at most 50"
            " year; give such a value: its own time between tests, in place of"
            " dependability.proof_test_years",
        ),
        (
            dependable(repair_h=-1),
            "dependability.repair_h: -1 h, must be at least 0 and at most 8760 h; give such a"
            " value: time from a failure that is known until it is repaired",
        ),
        (
            with_part(paths=["battery"]),
            'dependability.parts.relay.paths: ["battery"]; expected a list, each "phase_elements",'
            ' "earth_element", "neutral_current", "neutral_voltage", "bus_current" or'
            ' "bus_voltage": the paths that need it',
        ),
        (
            with_part(paths=["neutral_voltage"]),
            'dependability.parts[0].paths: "neutral_voltage", the study has no such path; it has'
            ' "phase_elements" and "earth_element"',
        ),
        (
            with_part(paths=["neutral_current"]) | {"backup": BACKUP},
            'dependability.parts[0].paths: "neutral_current", the study has no such path; it has'
            ' "phase_elements", "earth_element" and "neutral_voltage"',
        ),
        (
            with_part()
            | {"scheme.kind": "biased"}
            | {"candidates": {"phase_pickup_a": [0.1], "first_slope": [0.1]}},
            'dependability.parts[0].paths: "earth_element", the study has no such path; it has'
            ' "phase_elements"',
        ),
        (
            with_part(paths=[]),
            'dependability.parts[0].paths: [], no path has the part "relay"; name at least one of'
            ' "phase_elements" and "earth_element", or take the part out',
        ),
        (
            dependable(parts=[]),
            "dependability.parts: [] is empty; give at least one part, or take [dependability] out",
        ),
        (
            dependable(parts=[PART, PART]),
            f"{RATE}: stands there twice; rename one of the two",
        ),
        (
            with_part(name="main relay"),
            'dependability.parts[0].name: "main relay", must be a word of at most 60 letters,'
            " digits and _",
        ),
        (
            dependable(parts=[PART | {"name": f"part_{k}"} for k in range(MOST_COMMON + 1)]),
            "dependability.parts: 7 parts are needed by several paths, must be at most 6; add the"
            " rates of parts with the same paths into one",
        ),
        (
            dependable(parts=[PART | {"name": f"part_{k}"} for k in range(MOST_PARTS + 1)]),
            "dependability.parts: 41 parts, must be at most 40; join some",
        ),
        (
            with_part(dangerous_per_year=UNBOUNDED),
            f"{RATE}: can be inf 1/year, must be at least 0 and at most 100 1/year; cut it with"
            " truncate = [low, high]",
        ),
        (
            with_part(dangerous_per_year=-0.1),
            f"{RATE}: -0.1 1/year, must be at least 0 and at most 100 1/year; give such a value:"
            " failures after which it does not work on demand; a rate per hour times 8760",
        ),
        (
            with_part(
                dangerous_per_year={"dist": "uniform", "low": 0, "high": 0.1, "varies": "event"}
            ),
            'dependability.parts[0].dangerous_per_year: varies by "event", but a part has one rate'
            ' for all faults; take varies out, or give "installation"',
        ),
        (
            with_part(channels=3),
            "dependability.parts.relay.channels: 3; expected 1 or 2: 2: there are two alike, of"
            " which one is enough",
        ),
        (
            with_part(detected_share=1.5),
            "dependability.parts.relay.detected_share: 1.5, must be at least 0 and at most 1; give"
            " such a value: part of these failures that supervision reports at once",
        ),
        (
            {"damage": {}},
            "fault_energy: missing; [damage] needs how long a fault lasts: breaker_time_s,"
            " field_decay_time_constant_s and undetected_time_s",
        ),
        (
            harmed(exponent=0.9),
            "damage.exponent: 0.9, must be at least 1 and at most 2; give such a value: k. 1: the"
            " heat of an arc of constant voltage; 1.5: usual for arcs; 2: of a resistance",
        ),
        (
            harmed(exponent={"dist": "uniform", "low": 1.0, "high": 2.1}),
            "damage.exponent: can be 2.1, must be at least 1 and at most 2; cut it with truncate ="
            " [low, high]",
        ),
        (
            harmed(("a", 10, 1), ("a", 100, 1)),
            'damage.zones[1].name: "a" is used before; give each zone its own name',
        ),
        (
            harmed(("a", 10, 1), beyond="a"),
            'damage.beyond: "a" is used before; give each zone its own name',
        ),
        (
            harmed(("a\nb", 10, 1)),
            'damage.zones[0].name: "a\\nb", must be of 1 to 60 printable characters; it stands in'
            " tables and figures",
        ),
        (
            harmed(*((f"zone {k}", 10.0 + k, 1) for k in range(13))),
            "damage.zones: 13 zones, must be at most 12; join some",
        ),
        (
            harmed(("a", 100, 1), ("b", 10, 1)),
            'damage.zones[1]: 10 A for 1 s, must do more damage than zone "a", 100 A for 1 s, also'
            " where the exponent is 1; give a larger current or time, or another order",
        ),
        # 10 A for 10 s against 50 A for 1 s: less by I t, more by I^2 t
        (
            harmed(("a", 10, 10), ("b", 50, 1)),
            'damage.zones[1]: 50 A for 1 s, must do more damage than zone "a", 10 A for 10 s, also'
            " where the exponent is 1; give a larger current or time, or another order",
        ),
        # and the other way round
        (
            harmed(("a", 50, 1), ("b", 10, 10)),
            'damage.zones[1]: 10 A for 10 s, must do more damage than zone "a", 50 A for 1 s, also'
            " where the exponent is 2; give a larger current or time, or another order",
        ),
        (
            harmed() | {"internal_faults.shares": {"phase_phase": 1.0}},
            "internal_faults.shares.earth: 0, must be above 0; [damage] counts earth faults, so"
            " give them a share, or take [damage] out",
        ),
        (
            {"policy": {"least_annual_cost": COST | {"damage": {"at_reference": 10.0}}}},
            "damage: missing; policy.least_annual_cost.damage is the cost of what [damage] counts,"
            " so give the table or take the cost out",
        ),
    ],
)
def test_nonsense_is_refused_in_one_line(changes: dict[str, Any], line: str) -> None:
    assert faults_of(changes) == (line,)


def test_zones_that_overlap_for_no_exponent_of_the_study_are_zones() -> None:
    zones = ("a", 10, 10), ("b", 50, 1)
    assert len(study_with(harmed(*zones, exponent=2.0)).damage.zones) == 2  # type: ignore[union-attr]
    assert "damage.zones[1]" in faults_of(harmed(*zones, exponent=1.0))[0]


# --- cautions -----------------------------------------------------------------


def texts(changes: dict[str, Any]) -> dict[str, str]:
    found = cautions(study_with(changes))
    return {one.key: one.text for one in found if one.key.startswith(("damage", "dependability"))}


@pytest.mark.parametrize(
    ("changes", "key", "words"),
    [
        (with_part(dangerous_per_year=1e-6), RATE, "Was it given per hour?"),
        (with_part(dangerous_per_year=0.2), RATE, "fails on demand with a probability of 0.2."),
        (with_part(dangerous_per_year=80.0), RATE, "fails on demand with a probability of 1."),
        (dependable(test_cost=100.0), "dependability.test_cost", "The policy weighs no costs"),
        (
            with_part(common_share=0.2),
            "dependability.parts.relay.common_share",
            "The part has one channel, so this is not used.",
        ),
    ],
)
def test_a_doubt_is_given_where_it_is_due(changes: dict[str, Any], key: str, words: str) -> None:
    assert words in texts(changes)[key]


@pytest.mark.parametrize(
    "changes",
    [
        dependable() | harmed(),
        with_part(dangerous_per_year=0.0),
        with_part(dangerous_per_year=0.09),
        with_part(dangerous_per_year=0.5, detected_share=1.0),  # supervision finds each at once
        with_part(dangerous_per_year=0.2, channels=2, common_share=0.0),
        dependable(test_cost=100.0) | {"policy": {"least_annual_cost": COST}},
        dependable(test_cost=100.0, parts=[PART | {"proof_test_years": 2.0}])
        | {"policy": {"least_annual_cost": COST}},
        with_part(proof_test_years=1.0) | {"policy": {"least_annual_cost": COST}},
        with_part(channels=2, common_share=0.2),
    ],
)
def test_no_doubt_is_given_where_none_is_due(changes: dict[str, Any]) -> None:
    assert texts(changes) == {}


@pytest.mark.parametrize(
    ("decay", "words"),
    [
        (1.0, "1 s, and in the one open record"),
        ({"dist": "uniform", "low": 0.8, "high": 2.5}, "0.8 to 2.5 s, and in the one open record"),
        ({"dist": "uniform", "low": 2, "high": 6}, None),
        (3.45, None),  # open record: test_data3 of repository miguelmoreto/pycomtrade, quoted
    ],
)
def test_a_field_that_decays_faster_than_a_record_shows_is_doubted(
    decay: Any, words: str | None
) -> None:
    given = harmed()
    given["fault_energy"] = given["fault_energy"] | {"field_decay_time_constant_s": decay}
    key = "fault_energy.field_decay_time_constant_s"
    found = {one.key: one.text for one in cautions(study_with(given))}
    assert (key in found) == (words is not None)
    if words is not None:
        assert found[key].startswith(words)
        assert "3.45 s" in found[key]


UNDETECTED = "fault_energy.undetected_time_s"
SLOW = {"backup": {"neutral_voltage": {"pickup_percent": 5.0, "delay_s": 2.0}}}
OF_BACKUP = "the 2 s of the slowest element, backup.neutral_voltage.delay_s"
OF_SCHEME = "the 0.3 s of the slowest element, candidates.delay_s"
OF_EARTH = "the 0.4 s of the slowest element, candidates.earth_delay_s"


@pytest.mark.parametrize(
    ("undetected", "changes", "words"),
    [
        (1.9, SLOW, f"1.9 s is less than {OF_BACKUP}."),
        (2.0, SLOW, None),
        ({"dist": "uniform", "low": 0.5, "high": 3.0}, SLOW, f"1.75 s is less than {OF_BACKUP}."),
        ({"dist": "uniform", "low": 1.0, "high": 4.0}, SLOW, None),
        (0.2, {"candidates.delay_s": [0, 0.3]}, f"0.2 s is less than {OF_SCHEME}."),
        (0.3, {"candidates.delay_s": [0, 0.3]}, None),
        (0.3, {"candidates.earth_delay_s": [0.4]}, f"0.3 s is less than {OF_EARTH}."),
    ],
)
def test_a_fault_that_nobody_clears_lasts_longest(
    undetected: Any, changes: dict[str, Any], words: str | None
) -> None:
    given = {"fault_energy": TIMES | {"undetected_time_s": undetected}}
    found = {one.key: one.text for one in cautions(study_with(given | changes))}
    assert (UNDETECTED in found) == (words is not None)
    if words is not None:
        assert found[UNDETECTED].startswith(words)


def test_tests_of_a_part_with_an_interval_of_its_own_are_not_paid() -> None:
    own = dependable(parts=[PART | {"proof_test_years": 0.5}], test_cost=100.0)
    (text,) = texts(own | {"policy": {"least_annual_cost": COST}}).values()
    assert "Tests of this part at its own times cost nothing here." in text


# --- as a file has them -------------------------------------------------------

FILE = """
[fault_energy]
breaker_time_s = 0.08
field_decay_time_constant_s = 1.0
undetected_time_s = 60.0

[damage]
exponent = 1.5
core_share = 0.5
beyond = "core"

[[damage.zones]]
name = "insulation only"
current_a = 10
time_s = 1

[dependability]
proof_test_years = 4
repair_h = 8

[[dependability.parts]]
name = "relay"
paths = ["phase_elements", "earth_element"]
dangerous_per_year = { dist = "lognormal", median = 0.01, sigma = 0.7, truncate = [0.001, 0.1] }
detected_share = 0.9
channels = 2

[[dependability.parts]]
name = "breaker"
paths = ["phase_elements"]
dangerous_per_year = 0.005
proof_test_years = 1
"""


def test_a_file_is_read_as_the_tables_that_it_writes() -> None:
    study = study_of((MINIMAL + FILE).encode(), Path("s.toml"))
    pair = PART | {"dangerous_per_year": UNBOUNDED | {"truncate": [0.001, 0.1]}}
    pair |= {"detected_share": 0.9, "channels": 2}
    single = {"name": "breaker", "paths": SCHEME[:1], "dangerous_per_year": 0.005}
    same = dependable(
        proof_test_years=4, repair_h=8, parts=[pair, single | {"proof_test_years": 1}]
    )
    same |= harmed(("insulation only", 10, 1), exponent=1.5, core_share=0.5, beyond="core")
    assert study == study_with(same)
    assert study.damage is not None
    assert study.dependability is not None
    written = {
        name: getattr(study, name).model_dump(mode="json", exclude_none=True)
        for name in ("damage", "dependability")
    }
    assert study_with(same | written) == study


def test_paths_are_those_of_the_scheme_and_the_backup_in_the_order_of_ties() -> None:
    one_scheme = study_with({"backup": BACKUP})
    assert paths_of(one_scheme) == (*SCHEME, "neutral_voltage")
    both = study_with(TWO_SCHEMES)
    assert paths_of(both) == tuple(SCHEME)
    assert paths_of(both, "restricted_earth_fault") == ("earth_element",)


# --- what a part is -----------------------------------------------------------


@pytest.mark.parametrize("rates", [1 / 3, 1.0, 3.0])
@pytest.mark.parametrize("tests", [0.25, 1.0])
def test_a_part_fails_by_the_formulas_of_one_and_of_two_channels(
    rates: float, tests: float
) -> None:
    rate: Array = np.array([0.01, 0.04])
    keys = {"detected_share": 0.75, "common_share": 0.2}
    parts = [
        PART | keys,
        PART | keys | {"name": "pair", "channels": 2, "proof_test_years": 1.0},
    ]
    found = study_with(dependable(parts=parts)).dependability
    assert found is not None
    samples = {f"dependability.parts.{name}.dangerous_per_year": rate for name in ("relay", "pair")}
    one, pair = (found.failure(part, samples, rates, tests) for part in found.parts)
    split = 0.25 * rates * rate, 0.75 * rates * rate
    assert one == pytest.approx(pfd_1oo1(*split, 2.0 * tests, 24.0), rel=1e-12)
    alike = pfd_1oo2(*split, tests, 24.0, common=0.2, common_detected=0.1)
    assert pair == pytest.approx(alike, rel=1e-12)


def test_no_part_fails_with_more_than_certainty() -> None:
    for channels in (1, 2):
        found = study_with(with_part(channels=channels)).dependability
        assert found is not None
        assert found.failure(found.parts[0], {RATE: np.array([100.0])}).tolist() == [1.0]
