"""Which uncertain input decides: Sobol' effects, elasticities, what an input at its centre or half
as uncertain would change, and what knowing one would be worth. No model stands here: arrays of
samples go in."""

from montecarlo.estimates.drivers.effects import Effects, sobol_effects
from montecarlo.estimates.drivers.samples import Sampled, gap, mean_of, total_of
from montecarlo.estimates.drivers.scores import Bands, Elasticity, Shift, elasticity, shift
from montecarlo.estimates.drivers.worth import CELLS, Bound, Rule, Worth, cells_of, worths

__all__ = [
    "CELLS",
    "Bands",
    "Bound",
    "Effects",
    "Elasticity",
    "Rule",
    "Sampled",
    "Shift",
    "Worth",
    "cells_of",
    "elasticity",
    "gap",
    "mean_of",
    "shift",
    "sobol_effects",
    "total_of",
    "worths",
]
