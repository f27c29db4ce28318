"""What holds for any design: chunks in any order, longer runs, added inputs, correlations."""

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from montecarlo.quantities import Quantity, number, read_distribution
from montecarlo.sampling.design import Design
from montecarlo.sampling.inputs import Input
from montecarlo.sampling.nets import Net
from montecarlo.sampling.stratum import Stratum
from montecarlo.sampling.transform import (
    WHICH_INSTALLATION,
    all_installations,
    event_points,
    event_samples,
)

LAW = read_distribution({"dist": "lognormal", "median": 2.0, "sigma": 0.7})
quick = settings(max_examples=30, deadline=None, derandomize=True)


def an_input(key, varies, width="one"):
    return Input(
        key, Quantity("ohm", "for a test", width=width), LAW, varies, {"one": 1, "ct": 6}[width]
    )


INPUTS = (
    an_input("p.a", "installation"),
    an_input("p.six", "installation", "ct"),
    an_input("e.a", "event"),
    an_input("e.b", "event"),
    an_input("e.six", "event", "ct"),
    an_input("e.other", "event", "ct"),
)
TIES = [("e.a", "e.b", 0.6), ("e.six", "e.other", -0.4)]
designs = st.builds(
    Design, st.integers(1, 70), st.integers(1, 900), st.integers(1, 64), st.booleans()
)
nets = st.builds(
    Design, st.integers(1, 300), st.integers(1, 5000), st.integers(1, 256), st.just(True)
)
seeds = st.integers(0, 2**63 - 1)


def by_installation_and_event(design, seed, inputs=INPUTS, order=1):
    """{key: (installations, events, ...)} put together from the chunks, computed in the given
    order."""
    table = {}
    for chunk in design.chunks(Stratum("state.s"))[::order]:
        values = event_samples(inputs, TIES, seed=seed, design=design, chunks=(chunk,))
        first, events = chunk.event_block * design.events_per_chunk, design.events_in(chunk)
        for key, value in values.items():
            shape = (design.installations_rounded, design.events_per_installation, *value.shape[1:])
            place = table.setdefault(key, np.full(shape, np.nan))
            place[design.installations_in(chunk), first : first + events] = value.reshape(
                -1, events, *value.shape[1:]
            )
    return table


@quick
@given(designs, seeds)
def test_chunks_may_be_computed_in_any_order(design, seed):
    forwards, backwards = (
        by_installation_and_event(design, seed, order=order) for order in (1, -1)
    )
    for key, value in forwards.items():
        assert np.isfinite(value).all()
        assert (value == backwards[key]).all()


@quick
@given(designs, seeds, st.integers(1, 900))
def test_more_samples_only_append_events(design, seed, more):
    longer = replace(design, samples=design.samples + more)
    before, after = by_installation_and_event(design, seed), by_installation_and_event(longer, seed)
    for key, value in before.items():
        assert (after[key][:, : design.events_per_installation] == value).all()


@quick
@given(designs, seeds, st.sampled_from([item.key for item in INPUTS]))
def test_an_input_fixed_or_added_leaves_every_other_draw(design, seed, key):
    """Added anywhere on streams, on nets behind the others, or as a table within a table."""
    fixed = tuple(
        Input(i.key, i.quantity, number(2.0), i.varies, i.columns) if i.key == key else i
        for i in INPUTS
    )
    added = (
        an_input("e.table.new", "event", "ct"),
        an_input("p.table.new", "installation"),
        *INPUTS,
        an_input("e.new", "event", "ct"),
        an_input("p.new", "installation"),
    )
    if not design.net:
        added = (an_input("e.first", "event"), *added)
    base = by_installation_and_event(design, seed)
    without, with_more = (
        by_installation_and_event(design, seed, fixed),
        by_installation_and_event(design, seed, added),
    )
    for name, value in base.items():
        assert (with_more[name] == value).all()
        assert (without[name] == (2.0 if name == key else value)).all()


@quick
@given(designs, seeds)
def test_the_record_of_installations_is_what_the_chunks_used(design, seed):
    record, used = (
        all_installations(INPUTS, TIES, seed=seed, design=design),
        by_installation_and_event(design, seed),
    )
    for key, value in record.items():
        assert (used[key] == value[:, None]).all()


# --- nets ---------------------------------------------------------------------


@quick
@given(nets, seeds)
def test_every_run_of_points_is_one_event_of_each_installation_in_order(design, seed):
    installations = design.installations_per_block
    assert installations & (installations - 1) == 0
    assert design.events_per_installation & (design.events_per_installation - 1) == 0
    for chunk in design.chunks(Stratum("state.s"))[::7]:
        points = event_points(INPUTS, seed=seed, design=design, chunks=(chunk,))
        which = (points.of(WHICH_INSTALLATION, 1)[:, 0] * installations).astype(int)
        assert (which.reshape(-1, installations) == np.arange(installations)).all()


@quick
@given(nets, seeds)
def test_the_installations_and_the_events_of_a_block_fill_every_dimension_evenly(design, seed):
    """Each of as many equal cells as there are points holds one, for every input by itself: over
    the installations of a block, and over the events of a block in any number of chunks."""
    installations, events = design.installations_per_block, design.events_per_installation
    plain = read_distribution({"dist": "uniform", "low": 0.0, "high": 1.0})
    inputs = tuple(Input(i.key, i.quantity, plain, i.varies, i.columns) for i in INPUTS)
    chunks = [chunk for chunk in design.chunks(Stratum("state.s")) if chunk.installation_block == 3]
    parts = [
        event_samples(inputs, (), seed=seed, design=design, chunks=(chunk,)) for chunk in chunks
    ]
    for key in ("e.a", "e.six", "p.six"):
        by_installation = np.concatenate(
            [part[key].reshape(installations, -1, *part[key].shape[1:]) for part in parts], axis=1
        )
        by_installation = by_installation.reshape(installations, events, -1)
        if key.startswith("p"):
            cells = np.floor(by_installation[:, 0] * installations)
            assert (np.sort(cells, axis=0) == np.arange(installations)[:, None]).all()
        else:
            block = np.floor(
                by_installation.reshape(installations * events, -1) * installations * events
            )
            assert (np.sort(block, axis=0) == np.arange(installations * events)[:, None]).all()


def test_blocks_rounds_and_strata_have_their_own_scramble_and_a_seed_repeats_it():
    """Seed 0 is a seed like any other."""
    names = (("lead", 1), ("x", 3))
    nets = [
        Net(0, "s", 0, 0, names),
        Net(0, "s", 0, 1, names),
        Net(0, "s", 1, 0, names),
        Net(0, "t", 0, 0, names),
        Net(1, "s", 0, 0, names),
    ]
    first = [net.points(0, 64).values for net in nets]
    assert all(
        (np.abs(one - other) > 0).all() for k, one in enumerate(first) for other in first[:k]
    )
    assert (first[0] == nets[0].points(0, 64).values).all()
    assert ((first[0] > 0) & (first[0] < 1)).all()


def test_a_chunk_is_a_range_of_one_long_net():
    net = Net(5, "s", 0, 2, (("lead", 1), ("x", 6), ("y", 30)))
    whole = net.points(0, 1024)
    for start, count in ((0, 16), (16, 16), (512, 512), (96, 32)):
        part = net.points(start, count)
        assert (part.values == whole.values[start : start + count]).all()
    assert (whole.of("y", 2) == whole.values[:, 7:9]).all()
