"""The figure of exceedance: what is drawn, and where a curve ends."""

import numpy as np
import pandas as pd
import pytest

from studies.report.look import blank, look
from studies.sweep.exceedance import exceedance


def frame(p, width=1.2, **other):
    p = np.asarray(p, float)
    return pd.DataFrame(
        {
            "event": "fault",
            "scheme": "per_phase",
            "element": "phase",
            "pickup_a": 0.05 * 1.5 ** np.arange(p.size),
            "stabilising_resistance_ohm": 200.0,
            "delay_s": 0.0,
            "first_slope": np.nan,
            "second_slope": np.nan,
            "turning_point_a": np.nan,
            "p": p,
            "p_low": p / np.asarray(width),
            "p_high": p * np.asarray(width),
            "note": "",
            **other,
        }
    )


def drawn(table, event="fault"):
    with look():
        _, ax = blank()
        return exceedance(table, event, ax)


def test_a_curve_is_the_table():
    table = frame([0.1, 1e-3, 1e-5])
    line, *_ = drawn(table).get_lines()
    assert np.array_equal(line.get_xdata(), table["pickup_a"])
    assert np.array_equal(line.get_ydata(), table["p"])


@pytest.mark.parametrize(
    "table",
    [
        frame([0.1, 1e-3, 1e-5, 1e-8]),
        frame([0.1, 1e-3, 1e-5, 1e-6], width=[1.1, 1.1, 1.2, 2.0]),
        frame([0.1, 1e-3, 1e-5, 0.0]),
    ],
)
def test_it_ends_where_it_is_no_longer_known(table):
    line, *_ = drawn(table).get_lines()
    assert len(line.get_xdata()) == 3


def test_other_events_and_longer_delays_are_left_out():
    whole = pd.concat(
        [frame([0.1, 0.01]), frame([0.2, 0.02], event="other"), frame([0.05, 0.01], delay_s=0.1)]
    )
    assert len(drawn(whole).get_lines()) == 1


def test_each_circuit_and_element_has_its_line_and_its_ohms():
    whole = pd.concat(
        [
            frame([0.1, 0.01]),
            frame([0.2, 0.02], element="earth"),
            frame([0.1, 0.01], stabilising_resistance_ohm=0.0),
            frame([0.3, 0.1], scheme="own"),
        ]
    )
    ax = drawn(whole)
    assert len(ax.get_lines()) == 4
    assert sorted(text.get_text() for text in ax.texts) == [
        "0 ohm",
        "200 ohm",
        "200 ohm",
        "200 ohm",
    ]
    words = [text.get_text() for text in ax.get_legend().get_texts()]
    assert words == [
        "three phase elements",
        "own",
        "phase elements",
        "earth element",
        "order of magnitude",
    ]


def test_nothing_known_draws_no_line():
    assert not drawn(frame([0.0, 0.0])).get_lines()
