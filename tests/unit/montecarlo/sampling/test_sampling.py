"""Streams, design, inputs and draws, one rule at a time."""

import os
import pickle
from dataclasses import replace
from typing import Annotated

import numpy as np
import pytest
from scipy import stats
from scipy.special import ndtri

from montecarlo.errors import StudyError
from montecarlo.plant.earthing import Earthing
from montecarlo.plant.events.kinds import ExternalEvent
from montecarlo.quantities import Distribution, Quantity, Section, number, read_distribution
from montecarlo.relays.elements import Relay
from montecarlo.sampling.design import (
    BLOCKS,
    INSTALLATION_STRATUM,
    TASKS_MAX,
    TASKS_MAX_EXTERNAL,
    WORTH_ITS_WAY,
    Chunk,
    Design,
    Part,
)
from montecarlo.sampling.inputs import Input, correlation_faults, list_inputs
from montecarlo.sampling.points import Matrix, Streams
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.sampling.streams import check_distinct, stream
from montecarlo.sampling.transform import (
    all_installations,
    draw,
    event_samples,
    installation_samples,
)
from montecarlo.secondary.ct import CtPlaces

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))

UNIFORM = {"dist": "uniform", "low": 90.0, "high": 110.0}
FAMILIES = (
    {"nominal": 63.5, "tolerance_percent": 10, "shape": "uniform"},
    {"nominal": 63.5, "tolerance_percent": 10, "shape": "triangular"},
    {"nominal": 63.5, "tolerance_percent": 10, "shape": "normal"},
    {"dist": "normal", "mean": 1.0, "sd": 0.1},
    {"dist": "normal", "mean": 1.0, "sd": 0.1, "truncate": [0.95, 1.2]},
    {"dist": "lognormal", "median": 2.0, "sigma": 1.2},
    {"dist": "triangular", "low": 1.0, "mode": 2.0, "high": 5.0},
    {"dist": "beta", "alpha": 2.0, "beta": 5.0, "low": 0.0, "high": 1.0},
    {"dist": "weibull", "shape": 1.5, "scale": 3.0},
)


class Installation(Section):
    earthing: Earthing
    ct: CtPlaces
    relay: Relay = Relay()
    external_events: tuple[ExternalEvent, ...] = ()


def an_installation(**ct):
    base = {
        "primary_a": 1500.0,
        "knee_voltage_v": UNIFORM,
        "knee_current_a": 0.03,
        "winding_resistance_ohm": 5.0,
    }
    event = {
        "kind": "three_phase",
        "per_year": 0.2,
        "external_reactance_pu": 0.1,
        "clearing_time_s": {"dist": "uniform", "low": 0.06, "high": 0.15},
    }
    return Installation.model_validate(
        {
            "earthing": {
                "resistance_ohm": {"nominal": 60.0, "tolerance_percent": 10, "shape": "uniform"}
            },
            "ct": base | ct,
            "relay": {"pickup_error_percent": {"dist": "uniform", "low": -5.0, "high": 5.0}},
            "external_events": ({"name": "near_fault"} | event, {"name": "far_fault"} | event),
        }
    )


def one(key, table, *, width="one", varies="event"):
    quantity = Quantity("ohm", "for a test", width=width, varies=varies)
    distribution = read_distribution(table)
    return Input(
        key,
        quantity,
        distribution,
        distribution.varies or varies,
        1 if distribution.shared else {"one": 1, "ct": 6, "element": 4}[width],
    )


def points(count):
    return Streams(SEED, "s", 0, 0, count)


# --- streams ------------------------------------------------------------------


def test_every_part_of_the_key_changes_the_stream_and_the_same_key_repeats_it():
    keys = [
        (1, "a", 0, 0, "x"),
        (0, "a", 0, 0, "x"),
        (1, "b", 0, 0, "x"),
        (1, "a", 1, 0, "x"),
        (1, "a", 0, 1, "x"),
        (1, "a", 0, 0, "y"),
        (2**62, "a", 0, 0, "x"),
    ]
    draws = [stream(*key).random() for key in keys]
    assert len(set(draws)) == len(draws)
    assert draws == [stream(*key).random() for key in keys]


def test_names_that_would_share_random_numbers_are_refused():
    # plumless and buckeroo have the same CRC-32: a well-known pair, recomputed by the refusal
    # itself
    with pytest.raises(
        StudyError, match="buckeroo: would share random numbers with plumless; rename"
    ):
        check_distinct(["plumless", "buckeroo"])
    with pytest.raises(StudyError, match="near: stands there twice"):
        check_distinct(["near", "far", "near"])
    check_distinct(["near", "far"])


# --- inputs -------------------------------------------------------------------


def test_inputs_carry_the_keys_of_the_file():
    keys = [item.key for item in list_inputs(an_installation(line_end={"knee_voltage_v": 120.0}))]
    assert keys[0] == "earthing.resistance_ohm"
    assert keys.index("earthing.temperature_rise_k") < keys.index("ct.turns_ratio_error_percent")
    assert "earthing.other_neutrals_ohm" not in keys  # None: not there
    assert [key for key in keys if "_end." in key] == ["ct.line_end.knee_voltage_v"]
    assert "external_events.near_fault.clearing_time_s" in keys
    assert "external_events.far_fault.per_year" in keys
    assert len(set(keys)) == len(keys)


def test_quantity_is_found_on_plain_optional_and_created_fields():
    class Odd(Section):
        inner: Annotated[Distribution, Quantity("ohm", "inside a union")] | None = None

    installation = an_installation(
        line_end={"knee_voltage_v": UNIFORM | {"shared": True}},
        remanence_percent=UNIFORM | {"high": 95},
    )
    found = {
        item.key: item
        for item in (*list_inputs(installation), *list_inputs(Odd(inner=number(1.0))))
    }
    assert found["inner"].quantity.unit == "ohm"
    assert found["ct.line_end.knee_voltage_v"].quantity.unit == "V"
    assert (found["ct.knee_voltage_v"].columns, found["ct.line_end.knee_voltage_v"].columns) == (
        6,
        1,
    )
    assert found["ct.line_end.knee_voltage_v"].width == 6
    assert found["relay.pickup_error_percent"].columns == 4
    assert found["earthing.resistance_ohm"].columns == 1
    assert (found["ct.knee_voltage_v"].varies, found["ct.remanence_percent"].varies) == (
        "installation",
        "event",
    )
    assert found["ct.knee_voltage_v"].uncertain
    assert not found["ct.knee_current_a"].uncertain


def test_varies_in_the_file_overrides_the_default():
    found = {
        item.key: item
        for item in list_inputs(an_installation(knee_voltage_v=UNIFORM | {"varies": "event"}))
    }
    assert found["ct.knee_voltage_v"].varies == "event"


def test_a_distribution_without_quantity_is_a_programming_error():
    class Bare(Section, arbitrary_types_allowed=True):
        bare: Distribution

    with pytest.raises(TypeError, match="bare"):
        list_inputs(Bare(bare=number(1.0)))


@pytest.mark.parametrize(
    ("ties", "fault"),
    [
        ([("a", "b", 0.5)], ""),
        ([("a", "zz", 0.5)], "zz is not an input of this study"),
        ([("a", "a", 0.5)], "with itself"),
        ([("a", "n", 0.5)], "n is a plain number"),
        ([("a", "p", 0.5)], "one varies by event, the other by installation"),
        ([("a", "six", 0.5)], r"values a sample: 1 against 6"),
        ([("a", "b", 0.5), ("b", "a", 0.2)], "twice"),
        ([("a", "b", 0.9), ("b", "c", 0.9), ("a", "c", -0.9)], "contradict each other"),
    ],
)
def test_correlations_that_cannot_be_are_named(ties, fault):
    inputs = (
        one("a", UNIFORM),
        one("b", UNIFORM),
        one("c", UNIFORM),
        one("n", 1.0),
        one("p", UNIFORM, varies="installation"),
        one("six", UNIFORM, width="ct"),
    )
    faults = correlation_faults(inputs, ties)
    if not fault:
        assert faults == ()
    else:
        with pytest.raises(StudyError, match=fault):
            raise StudyError(*faults)


# --- design -------------------------------------------------------------------


def test_design_rounds_up_and_says_so():
    design = Design(installations=100, samples=5000)
    assert (
        design.installations_per_block,
        design.installations_rounded,
        design.events_per_installation,
    ) == (8, 128, 40)
    assert design.samples_drawn == 128 * 40
    assert design.rounded
    assert not Design(installations=256, samples=25600).rounded
    net = replace(design, net=True)
    assert net.events_per_installation == 64
    assert net.samples_drawn == 8192


@pytest.mark.parametrize(
    "design", [Design(16, 1), Design(256, 256 * 300), Design(65536, 10), Design(100, 12345, 64)]
)
def test_chunks_cover_every_installation_and_event_once(design):
    seen = np.zeros((design.installations_rounded, design.events_per_installation), int)
    chunks = design.chunks(Stratum("state.s"))
    for chunk in chunks:
        first = chunk.event_block * design.events_per_chunk
        seen[design.installations_in(chunk), first : first + design.events_in(chunk)] += 1
        assert design.samples_in(chunk) == design.installations_per_block * design.events_in(chunk)
        assert design.samples_in(chunk) <= max(design.chunk_samples, design.installations_per_block)
    assert (seen == 1).all()
    assert [chunk.index for chunk in chunks] == list(range(len(chunks)))


def test_a_stratum_cannot_take_the_installations_name_and_counts_must_be_positive():
    with pytest.raises(ValueError, match="not a valid Side"):
        Stratum(INSTALLATION_STRATUM)
    with pytest.raises(ValueError, match="samples = 0"):
        Design(16, 0)


# --- draws --------------------------------------------------------------------


def test_shapes_numbers_and_shared_values():
    inputs = (
        one("n", 3.0, width="ct"),
        one("u", UNIFORM),
        one("ct", UNIFORM, width="ct"),
        one("same", UNIFORM | {"shared": True}, width="ct"),
        one("element", UNIFORM, width="element"),
    )
    values = draw(inputs, (), points(50))
    assert {key: value.shape for key, value in values.items()} == {
        "n": (50, 6),
        "u": (50,),
        "ct": (50, 6),
        "same": (50, 6),
        "element": (50, 4),
    }
    assert (values["n"] == 3.0).all()
    assert (values["same"] == values["same"][:, :1]).all()
    assert len(np.unique(values["same"])) == 50
    assert len(np.unique(values["ct"])) == 300
    assert all(value.flags.c_contiguous and value.flags.writeable for value in values.values())


def test_plain_numbers_consume_no_randomness():
    class Refuse:
        count = 4

        def of(self, key, columns):
            raise AssertionError(f"{key} asked for random numbers")

    assert draw((one("n", 3.0),), (), Refuse())["n"].tolist() == [3.0] * 4


@pytest.mark.parametrize("ties", [(), (("a", "b", 0.7),)])
def test_one_input_more_or_one_made_a_number_leaves_the_others(ties):
    inputs = (one("a", UNIFORM), one("b", UNIFORM, width="one"), one("c", UNIFORM, width="ct"))
    base = draw(inputs, ties, points(40))
    more = draw((one("z", UNIFORM), *inputs), ties, points(40))
    fixed = draw((replace(inputs[0], distribution=number(100.0)), *inputs[1:]), ties, points(40))
    for key in "bc":
        assert (base[key] == more[key]).all()
        assert (base[key] == fixed[key]).all()
    assert (base["a"] == more["a"]).all()
    assert (fixed["a"] == 100.0).all()


@pytest.mark.parametrize("table", FAMILIES, ids=str)
@pytest.mark.parametrize("rho", [0.0, -0.8])
def test_marginals_are_those_of_the_distribution(table, rho):
    # Kolmogorov-Smirnov; 18 cases at 1e-7: another seed fails by chance once in 500,000
    inputs = (one("first", UNIFORM), one("second", table))
    values = draw(inputs, [("first", "second", rho)] if rho else (), points(4000))["second"]
    assert stats.kstest(values, inputs[1].distribution.cdf).pvalue > 1e-7


def test_discrete_values_come_with_their_weights():
    item = one("d", {"dist": "discrete", "values": [1.0, 2.0, 4.0], "weights": [0.2, 0.5, 0.3]})
    values = draw((item,), (), points(8000))["d"]
    counts = [(values == value).sum() for value in (1.0, 2.0, 4.0)]
    assert sum(counts) == 8000
    assert (
        stats.chisquare(counts, [1600, 4000, 2400]).pvalue > 1e-6
    )  # chance: one seed in a million


def test_copula_gives_the_normal_scores_their_correlation_column_by_column():
    inputs = (
        one("a", UNIFORM, width="ct"),
        one("alone", UNIFORM),
        one("b", FAMILIES[5], width="ct"),
        one("c", FAMILIES[8], width="ct"),
    )
    ties = [("a", "b", 0.8), ("c", "b", -0.5)]
    n = 5000
    values = draw(inputs, ties, points(n))
    scores = {
        item.key: ndtri(item.distribution.cdf(values[item.key]))
        for item in inputs
        if item.key != "alone"
    }
    for (one_key, other_key), rho in {("a", "b"): 0.8, ("b", "c"): -0.5, ("a", "c"): 0.0}.items():
        matrix = np.corrcoef(scores[one_key].T, scores[other_key].T)[:6, 6:]
        # a sample correlation spreads by (1 - rho^2)/sqrt(n); 3 x 36 figures at 5.5 sd: chance
        # one seed in 240,000
        assert np.abs(np.diag(matrix) - rho).max() < 5.5 * (1 - rho**2) / n**0.5
        assert np.abs(matrix[~np.eye(6, dtype=bool)]).max() < 5.5 / n**0.5
    plain = draw(inputs, (), points(n))
    assert (values["alone"] == plain["alone"]).all()
    assert (values["a"] == plain["a"]).all()  # the first of the group keeps its draws


def test_uniforms_stay_inside_the_open_interval():
    ends = Matrix(np.resize([0.0, 1 - 2.0**-53], (4, 1)), {"a": 0, "b": 0})

    normal = {"dist": "normal", "mean": 0.0, "sd": 1.0}
    inputs = (one("a", normal), one("b", normal))
    for ties in ((), [("a", "b", 0.99)], [("a", "b", -0.99)]):
        values = draw(inputs, ties, ends)
        assert np.isfinite(values["a"]).all()
        assert np.isfinite(values["b"]).all()


def test_a_correlation_of_inputs_drawn_apart_is_refused():
    with pytest.raises(ValueError, match="not drawn together"):
        draw((one("a", UNIFORM),), [("a", "b", 0.5)], points(3))


def test_two_uniform_ratio_errors_differ_by_a_triangular_law():
    # derived: independent errors uniform within +-3 %: P(|e1 - e2| > s) = (1 - s/0.06)^2; s = 4
    # %: 0.1111
    item = one("e", {"dist": "uniform", "low": -3.0, "high": 3.0}, width="ct")
    error = draw((item,), (), points(40_000))["e"]
    for s in (1.0, 4.0):
        p = (1 - s / 6.0) ** 2
        share = np.mean(np.abs(error[:, 0] - error[:, 3]) > s)
        assert (
            abs(share - p) < 5 * (p * (1 - p) / 40_000) ** 0.5
        )  # another seed fails once in 900,000


# --- installations and events --------------------------------------------------------

MIXED = (
    one("plant.a", UNIFORM, varies="installation"),
    one("plant.six", UNIFORM, width="ct", varies="installation"),
    one("event.a", UNIFORM),
    one("event.six", UNIFORM, width="ct"),
)


def test_a_chunk_repeats_its_installations_for_their_events():
    design = Design(32, 32 * 5)
    chunk = design.chunks(Stratum("state.s"))[3]
    values = event_samples(MIXED, (), seed=SEED, design=design, chunks=(chunk,))
    record = all_installations(MIXED, (), seed=SEED, design=design)
    assert set(values) == {item.key for item in MIXED}
    assert set(record) == {"plant.a", "plant.six"}
    assert record["plant.six"].shape == (32, 6)
    for key in record:
        by_installation = values[key].reshape(2, 5, *values[key].shape[1:])
        assert (by_installation == record[key][design.installations_in(chunk)][:, None]).all()
    assert len(np.unique(values["event.six"])) == 10 * 6
    block = installation_samples(MIXED, (), seed=SEED, design=design, blocks=[3])
    assert (block["plant.a"] == record["plant.a"][6:8]).all()


def test_strata_share_installations_but_not_events_and_a_fresh_round_shares_nothing():
    design = Design(BLOCKS, BLOCKS * 4)
    chunk = Chunk(Stratum("internal.earth"), 0, 0, 0, 0)
    base, other, fresh = (
        event_samples(MIXED, (), seed=SEED, design=design, chunks=(c,))
        for c in (chunk, replace(chunk, stratum="external.near"), replace(chunk, round_=1))
    )
    assert (base["plant.six"] == other["plant.six"]).all()
    assert not np.isin(base["event.a"], other["event.a"]).any()
    for key in base:
        assert not np.isin(base[key], fresh[key]).any()


@pytest.mark.parametrize("samples", [1, 16 * 4 * 60, 16 * 4 * 1000 + 5])
def test_tasks_hand_out_every_chunk_once_in_an_order_of_its_own_block(
    samples: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("montecarlo.sampling.design.SIDE_BY_SIDE", 1)
    # one event of each of the four installations of a block
    design = Design(64, samples, chunk_samples=4)
    tasks = design.tasks(Stratum("internal.earth"), 1)
    assert sorted(
        (chunk for task in tasks for chunk in task), key=lambda chunk: chunk.index
    ) == list(design.chunks(Stratum("internal.earth"), 1))
    assert len(tasks) <= TASKS_MAX * BLOCKS
    assert (max(map(len, tasks)) == 1) == (design.event_blocks <= TASKS_MAX)
    for block in range(BLOCKS):
        mine = [
            chunk.event_block
            for task in tasks
            for chunk in task
            if chunk.installation_block == block
        ]
        assert mine == list(range(design.event_blocks))
    assert all(len({chunk.installation_block for chunk in task}) == 1 for task in tasks)


@pytest.mark.parametrize(
    ("installations", "samples", "net", "abreast"),
    [
        (256, 4096, False, 8),  # 16 chunks of 256 samples
        (256, 16384, False, 2),
        (256, 65536, False, 1),
        (256, 256, True, 8),  # 16 chunks of 16 earth faults
        (256, 4096, True, 1),
        (16, 16, False, BLOCKS),
    ],
)
def test_small_chunks_of_several_blocks_are_handed_out_together(
    installations: int, samples: int, net: bool, abreast: int
) -> None:
    design, name = Design(installations, samples, net=net), Stratum("internal.earth")
    tasks = design.tasks(name, 1)
    assert {len(task) for task in tasks} == {abreast}
    assert [chunk for task in tasks for chunk in task] == list(design.chunks(name, 1))
    assert all(len({chunk.event_block for chunk in task}) == 1 for task in tasks)


@pytest.mark.parametrize("name", [Stratum("internal.earth"), Stratum("external.near")])
def test_a_part_that_begins_within_a_chunk_takes_as_many_tasks_as_others(name: Stratum) -> None:
    whole = 4 * TASKS_MAX_EXTERNAL * WORTH_ITS_WAY  # event blocks of 128 events
    design = Design(256, 256 * 128 * whole)
    begin = whole // 4
    tasks = design.tasks(name, 0, (128 * begin + 127, 128 * whole))
    most = TASKS_MAX_EXTERNAL if name.side is Side.EXTERNAL else TASKS_MAX
    assert len(tasks) == most * BLOCKS
    blocks = [chunk.event_block for task in tasks for chunk in task if not chunk.installation_block]
    assert blocks == list(range(begin, whole))
    first = tasks[0][0]
    assert (first.begin, first.end) == (127, 128)


@pytest.mark.parametrize("part", [None, (3, 5), (1, 9), (130, 700)])
@pytest.mark.parametrize("samples", [16 * 10, 16 * 700])
def test_samples_of_a_task_are_those_of_its_chunks(samples: int, part: Part | None) -> None:
    design = Design(16, samples, chunk_samples=128)
    tasks = design.tasks(Stratum("state.s"), 0, part)
    for task in tasks:
        assert design.samples_from_to(task[0], task[-1]) == sum(map(design.samples_in, task))
    begin, end = part or (0, design.events_per_installation)
    drawn = 16 * max(0, min(end, design.events_per_installation) - begin)
    assert sum(design.samples_from_to(task[0], task[-1]) for task in tasks) == drawn


@pytest.mark.parametrize(
    ("event_blocks", "most"),
    [
        (TASKS_MAX * WORTH_ITS_WAY, TASKS_MAX),
        (2 * TASKS_MAX * WORTH_ITS_WAY, 2 * TASKS_MAX),
        (TASKS_MAX_EXTERNAL * WORTH_ITS_WAY, TASKS_MAX_EXTERNAL),
        (2 * TASKS_MAX_EXTERNAL * WORTH_ITS_WAY, TASKS_MAX_EXTERNAL),
    ],
)
def test_more_tasks_of_external_events_travel_where_each_is_worth_its_way(
    event_blocks: int, most: int
) -> None:
    design = Design(16, 16 * event_blocks, chunk_samples=1)
    abreast = BLOCKS  # of one sample a chunk
    assert len(design.tasks(Stratum("external.near"))) == most * BLOCKS // abreast
    assert len(design.tasks(Stratum("state.s"))) == TASKS_MAX * BLOCKS // abreast


def test_tasks_of_a_study_of_1e9_samples_take_no_more_room_than_those_of_1e6() -> None:
    name = Stratum("external.near")
    large, small = (Design(256, samples).tasks(name) for samples in (10**9, 10**7))
    assert len(large) <= TASKS_MAX_EXTERNAL * BLOCKS
    assert len(pickle.dumps(large[0])) < 1.2 * len(pickle.dumps(small[0]))
    assert sum(map(len, large)) == Design(256, 10**9).event_blocks * BLOCKS
