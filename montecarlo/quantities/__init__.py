"""A number or a distribution, with its unit, its physical range and its meaning on the field that
holds it.

A study file may give any physical number plainly or as a table:

    resistance_ohm = 63.5
    resistance_ohm = { nominal = 63.5, tolerance_percent = 10, shape = "uniform" }
    fault_resistance_ohm = { dist = "lognormal", median = 2.0, sigma = 1.2 }

Both become a `Distribution`.
"""

from montecarlo.quantities.arrays import Array, Complex, Flags, Index
from montecarlo.quantities.distribution import Distribution, Varies, number
from montecarlo.quantities.fields import (
    Meaning,
    Plain,
    Quantity,
    Ranged,
    Section,
    Width,
    meaning_of,
    tables_of,
    word,
)
from montecarlo.quantities.laws import FAMILIES, Discrete, Family
from montecarlo.quantities.reading import COMMON_KEYS, read_distribution
from montecarlo.quantities.shifting import half_width, shifted
from montecarlo.quantities.widening import widened

__all__ = [
    "COMMON_KEYS",
    "FAMILIES",
    "Array",
    "Complex",
    "Discrete",
    "Distribution",
    "Family",
    "Flags",
    "Index",
    "Meaning",
    "Plain",
    "Quantity",
    "Ranged",
    "Section",
    "Varies",
    "Width",
    "half_width",
    "meaning_of",
    "number",
    "read_distribution",
    "shifted",
    "tables_of",
    "widened",
    "word",
]
