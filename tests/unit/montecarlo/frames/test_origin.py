"""How a row of the tables was estimated."""

from __future__ import annotations

from montecarlo.estimates.assemble import Gathered
from montecarlo.estimates.weighted import Source
from montecarlo.frames.rare import origin
from montecarlo.sampling.stratum import Stratum
from tests.unit.montecarlo.frames.test_doubts import TRIALS, counted


def test_an_earth_fault_is_integrated_and_not_counted() -> None:
    one = counted(Stratum("internal.phase_phase"), 1.0)
    earth = Gathered(
        "internal.earth", one.total, TRIALS, one.unresolved, one.total, None, None, None
    )
    assert origin([earth], 1) == [Source.INTEGRATED.value]
    assert origin([one], 1) == [Source.COUNT.value]
