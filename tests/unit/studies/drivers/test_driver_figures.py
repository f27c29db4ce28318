"""Figures of drivers: panels, rows and marks are the tables', and can be read in any case."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
import pytest
from matplotlib.collections import LineCollection, PathCollection

from studies.drivers.figures import (
    MOST_ROWS,
    effect_marks,
    elasticity_marks,
    what_if_marks,
)
from studies.drivers.samples import CENTRE, HALVED
from studies.report.look import look
from tests.made.boxes import assert_text_is_readable

INPUTS = [
    "ct.remanence_percent",
    "ct.turns_ratio_error_percent",
    "machine.subtransient_reactance_pu",
    "earthing.resistance_ohm",
    "internal_faults.earth_fault_resistance_ohm",
    "external_events.an_event_that_has_a_long_name.external_reactance_pu",
    "external_events.an_event_that_has_a_long_name.clearing_time_s",
    "relay.pickup_error_percent",
]
RATE = "dependability.parts.supply_of_the_trip_coils.dangerous_per_year"


@pytest.fixture(autouse=True)
def _look() -> Iterator[None]:
    with look():
        yield


def limits(name: str, value: float, width: float = 0.1) -> dict[str, float]:
    return {name: value, f"{name}_low": value - width, f"{name}_high": value + width}


OF_EARTH = ("critical pick-up", "critical position", "damage", "nobody clears")


def effects(events: int, inputs: int = len(INPUTS), of_earth: int = 2) -> pd.DataFrame:
    outputs = [("earth", output) for output in OF_EARTH[:of_earth]]
    outputs += [(f"an_event_of_a_long_name_{k}", "critical pick-up") for k in range(events)]
    names = [f"{INPUTS[k % len(INPUTS)]}{k // len(INPUTS) or ''}" for k in range(inputs)]
    return pd.DataFrame(
        [
            {
                "type": kind,
                "output": output,
                "input": name,
                **limits("first", 0.5 / (k + 1)),
                **limits("total", 0.6 / (k + 1)),
            }
            for kind, output in outputs
            for k, name in enumerate(names)
        ]
    )


@pytest.mark.parametrize("of_earth", [2, len(OF_EARTH)])
@pytest.mark.parametrize("events", [1, 2, 6, 8])
def test_effects_of_many_events_can_be_read(events: int, of_earth: int) -> None:
    figure = effect_marks(effects(events, of_earth=of_earth))
    assert_text_is_readable(figure)
    assert len(figure.axes) == of_earth + events
    width = figure.bbox.width
    assert all(ax.bbox.width > 0.1 * width for ax in figure.axes)  # wide enough to be read


def test_rates_of_parts_can_be_read() -> None:
    figure = effect_marks(effects(2, of_earth=4).replace({"input": {INPUTS[0]: RATE}}))
    assert_text_is_readable(figure)
    rows = [text.get_text() for text in figure.axes[0].get_yticklabels()]
    assert rows[0] == "rate of dangerous failures, supply of the trip coils"


def test_of_many_inputs_those_with_the_largest_totals_are_drawn() -> None:
    figure = effect_marks(effects(1, 30))
    assert_text_is_readable(figure)
    rows = [text.get_text() for text in figure.axes[0].get_yticklabels()]
    assert len(rows) == MOST_ROWS
    assert rows[0] == "CTs' remanence"


def test_marks_and_bars_of_an_effect_are_the_tables() -> None:
    table = effects(1, 3)
    ax = effect_marks(table).axes[0]
    own = table[table["output"] == "critical pick-up"].head(3)
    (marks,) = [part for part in ax.collections if isinstance(part, PathCollection)]
    (bars,) = [part for part in ax.collections if isinstance(part, LineCollection)]
    found = sorted(np.asarray(marks.get_offsets())[:, 0])
    assert found == pytest.approx(sorted([*own["first"], *own["total"]]))
    ends = sorted(tuple(segment[:, 0]) for segment in bars.get_segments())
    want = [(row[f"{e}_low"], row[f"{e}_high"]) for row in own.to_dict("records") for e in OF]
    assert np.array(ends) == pytest.approx(np.array(sorted(want)))


OF = ("first", "total")


def answers(value: float = 0.01, false: float = 0.001) -> pd.DataFrame:
    rows: list[dict[str, Any]] = []
    for name in INPUTS:
        for change in (CENTRE, HALVED):
            for quantity, size in (("p_missed", value), ("p_false", false)):
                rows.append(
                    {
                        "input": name,
                        "change": change,
                        "quantity": quantity,
                        **limits("difference", size, 0.3 * size),
                    }
                )
    return pd.DataFrame(rows)


@pytest.mark.parametrize("false", [0.001, 0.0, 1e-9, np.nan])
def test_what_if_can_be_read(false: float) -> None:
    figure = what_if_marks(answers(false=false))
    assert_text_is_readable(figure)
    assert [ax.get_title() for ax in figure.axes] == ["missed faults", "false trips"]


@pytest.mark.parametrize("size", [1e-6, 1.0, 4e5])
def test_elasticities_can_be_read(size: float) -> None:
    rows = [
        {
            "input": name,
            "quantity": quantity,
            **limits("by_centre", size / (k + 1), 0.5 * size),
            **limits("by_spread", -size / (k + 2), 0.5 * size),
        }
        for k, name in enumerate(INPUTS)
        for quantity in ("p_missed", "p_false")
    ]
    assert_text_is_readable(elasticity_marks(pd.DataFrame(rows)))
