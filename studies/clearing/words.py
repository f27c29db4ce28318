"""Words for the paths that may clear a fault."""

from __future__ import annotations

from montecarlo.frames.clearing import NOBODY
from montecarlo.study.dependability import BREAKER_FAILURE, EARTH_ELEMENT, PHASE_ELEMENTS

PATH_WORDS = {
    PHASE_ELEMENTS: "the phase elements",
    EARTH_ELEMENT: "the earth element",
    "neutral_current": "the neutral current back-up",
    "neutral_voltage": "the neutral voltage back-up",
    "bus_current": "the current back-up of the bus",
    "bus_voltage": "the voltage back-up of the bus",
    BREAKER_FAILURE: "breaker failure protection",
    NOBODY: "nobody",
}
