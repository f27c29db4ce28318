"""What holds for any design: chunks in any order, longer runs, added inputs, correlations."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from montecarlo.quantities import Quantity, number, read_distribution
from montecarlo.sampling.design import Design
from montecarlo.sampling.inputs import Input
from montecarlo.sampling.transform import all_plants, event_samples

LAW = read_distribution({"dist": "lognormal", "median": 2.0, "sigma": 0.7})
quick = settings(max_examples=30, deadline=None, derandomize=True)


def an_input(key, varies, width="one"):
    return Input(key, Quantity("ohm", "for a test", width=width), LAW, varies, {"one": 1, "ct": 6}[width])


INPUTS = (an_input("p.a", "plant"), an_input("p.six", "plant", "ct"), an_input("e.a", "event"),
          an_input("e.b", "event"), an_input("e.six", "event", "ct"), an_input("e.other", "event", "ct"))
TIES = [("e.a", "e.b", 0.6), ("e.six", "e.other", -0.4)]
designs = st.builds(Design, st.integers(1, 70), st.integers(1, 900), st.integers(1, 64))
seeds = st.integers(0, 2**63 - 1)


def by_plant_and_event(design, seed, inputs=INPUTS, order=1):
    """{key: (plants, events, ...)} put together from the chunks, computed in the given order."""
    table = {}
    for chunk in design.chunks("s")[::order]:
        values = event_samples(inputs, TIES, seed=seed, design=design, chunk=chunk)
        first, events = chunk.event_block * design.events_per_chunk, design.events_in(chunk)
        for key, value in values.items():
            shape = (design.plants_rounded, design.events_per_plant, *value.shape[1:])
            place = table.setdefault(key, np.full(shape, np.nan))
            place[design.plants_in(chunk), first:first + events] = value.reshape(-1, events, *value.shape[1:])
    return table


@quick
@given(designs, seeds)
def test_chunks_may_be_computed_in_any_order(design, seed):
    forwards, backwards = (by_plant_and_event(design, seed, order=order) for order in (1, -1))
    for key, value in forwards.items():
        assert np.isfinite(value).all()
        assert (value == backwards[key]).all()


@quick
@given(designs, seeds, st.integers(1, 900))
def test_more_samples_only_append_events(design, seed, more):
    longer = Design(design.plants, design.samples + more, design.chunk_samples)
    before, after = by_plant_and_event(design, seed), by_plant_and_event(longer, seed)
    for key, value in before.items():
        assert (after[key][:, :design.events_per_plant] == value).all()


@quick
@given(designs, seeds, st.sampled_from([item.key for item in INPUTS]))
def test_an_input_fixed_or_added_leaves_every_other_draw(design, seed, key):
    fixed = tuple(Input(i.key, i.quantity, number(2.0), i.varies, i.columns) if i.key == key else i for i in INPUTS)
    added = (an_input("e.new", "event", "ct"), an_input("p.new", "plant"), *INPUTS)
    base = by_plant_and_event(design, seed)
    without, with_more = by_plant_and_event(design, seed, fixed), by_plant_and_event(design, seed, added)
    for name, value in base.items():
        assert (with_more[name] == value).all()
        assert (without[name] == (2.0 if name == key else value)).all()


@quick
@given(designs, seeds)
def test_the_record_of_plants_is_what_the_chunks_used(design, seed):
    record, used = all_plants(INPUTS, TIES, seed=seed, design=design), by_plant_and_event(design, seed)
    for key, value in record.items():
        assert (used[key] == value[:, None]).all()
