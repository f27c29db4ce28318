"""Critical positions along the winding, and their sums."""

from __future__ import annotations

import numpy as np
import pytest

from montecarlo.estimates.conditional import critical_position, winding_nodes


def test_nodes_run_from_the_neutral_to_the_terminal_and_crowd_at_the_neutral() -> None:
    nodes = winding_nodes(16)
    assert nodes[0] == 0
    assert nodes[-1] == 1
    assert (np.diff(nodes, 2) > 0).all()


def test_a_straight_line_is_inverted_exactly() -> None:
    nodes = winding_nodes(16)
    slopes = np.array([[2.0], [5.0]])
    x, again = critical_position(nodes, slopes * nodes, [0.1, 1.0, 3.0])
    assert x == pytest.approx(np.array([[0.05, 0.5, 1.0], [0.02, 0.2, 0.6]]), rel=1e-12)
    assert not again.any()


def test_the_inverse_of_a_curve_converges_with_the_fourth_power_of_the_spacing() -> None:
    levels = np.linspace(0.05, 0.7, 14)
    errors = []
    for intervals in (16, 32, 64):
        nodes = winding_nodes(intervals)
        x, _ = critical_position(nodes, np.tanh(3 * nodes)[None], levels)
        errors.append(float(np.abs(x[0] - np.arctanh(levels) / 3).max()))
    assert errors[0] < 5e-4
    assert errors[1] < errors[0] / 8
    assert errors[2] < errors[1] / 8


def test_a_dip_at_the_neutral_is_no_re_entry_and_a_late_one_is() -> None:
    nodes = winding_nodes(8)
    dip = np.abs(nodes - 0.05)[None]  # load error first opposes the fault current
    x, again = critical_position(nodes, dip, [0.02, 0.04, 0.3])
    assert x[0] == pytest.approx([0.07, 0.09, 0.35], abs=0.01)
    assert not again.any()
    late = np.where(nodes < 0.5, nodes, 0.8 - nodes)[None]
    x, again = critical_position(nodes, late, [0.3])
    assert again.all()
    assert x[0, 0] == 1.0


def test_never_and_always_and_no_result() -> None:
    nodes = winding_nodes(8)
    currents = np.stack([1 + nodes, 0.1 * nodes, np.where(nodes > 0.5, np.nan, nodes)])
    x, _ = critical_position(nodes, currents, [0.5])
    assert x[0, 0] == 0.0
    assert x[1, 0] == 1.0
    assert np.isnan(x[2, 0])
