"""Rare events in standard-normal space: one run for the exceedance probabilities of a whole family of settings.

Pilots (`subset_pilot`) find how the event comes about; `fit` makes a mixture density of them, `refit` a better one
from its samples; a final batch of fixed size, drawn from the last mixture and nothing else, gives `Sums` that add over
chunks, and `rare_estimate` their limits. No model of anything stands here.
"""

from montecarlo.estimates.rare.fitting import fit, refit
from montecarlo.estimates.rare.images import Image, Symmetric
from montecarlo.estimates.rare.limits import (
    GOOD,
    Diagnostics,
    diagnose,
    fewer_than,
    pilot_gap,
    rare_estimate,
    variation,
)
from montecarlo.estimates.rare.mixture import BATCH, Mixture, pooled_log_weight
from montecarlo.estimates.rare.pilot import Level, Model, Pilot, subset_pilot
from montecarlo.estimates.rare.staged import plain, spans, tilted
from montecarlo.estimates.rare.sums import Sums

__all__ = ["BATCH", "GOOD", "Diagnostics", "Image", "Level", "Mixture", "Model", "Pilot", "Sums", "Symmetric",
           "diagnose", "fewer_than", "fit", "pilot_gap", "plain", "pooled_log_weight", "rare_estimate", "refit",
           "spans", "subset_pilot", "tilted", "variation"]
