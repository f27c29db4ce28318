"""LANES numbers side by side: what moves them."""

from __future__ import annotations

import numpy as np

from montecarlo.quantities.compiled import njit
from montecarlo.secondary.lanes import LANES, turn


@njit()
def turned(into, row, step, rows, column):  # type: ignore[no-untyped-def]
    turn(into, row, step, rows, column)


def test_a_square_of_rows_is_turned_and_nothing_else_is_written() -> None:
    """Rows of a wider array, of which one channel is taken; every third row is written."""
    waves = np.arange(LANES * 2 * 21.0).reshape(LANES, 2, 21)
    into = np.full((2 + 3 * LANES, LANES), np.nan)
    turned(into, 1, 3, waves[:, 1], 5)
    np.testing.assert_array_equal(into[1 : 1 + 3 * LANES : 3], waves[:, 1, 5 : 5 + LANES].T)
    assert np.isnan(np.delete(into, np.s_[1 : 1 + 3 * LANES : 3], axis=0)).all()
