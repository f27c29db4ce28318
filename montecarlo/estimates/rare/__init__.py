"""Rare events in standard-normal space: one run for the exceedance probabilities of a whole family
of settings.

Stages of samples (`plain`, then `spans` and `tilted`) find a density under which the event is
common; a final batch of fixed size, drawn from the last density and nothing else, gives `Sums` that
add over chunks, and `rare_estimate` their limits. No model of anything stands here."""

from montecarlo.estimates.rare.enough import Asked, is_enough
from montecarlo.estimates.rare.images import Image, Symmetric, pooled_log_weight
from montecarlo.estimates.rare.levels import spans
from montecarlo.estimates.rare.limits import (
    COMMON,
    FEW,
    HITS,
    PASSED,
    Diagnostics,
    Seen,
    Trust,
    Why,
    diagnose,
    fewer_than,
    rare_estimate,
    variation,
)
from montecarlo.estimates.rare.mixture import BATCH, Mixture
from montecarlo.estimates.rare.staged import plain, tilted
from montecarlo.estimates.rare.sums import Sums

__all__ = [
    "BATCH",
    "COMMON",
    "FEW",
    "HITS",
    "PASSED",
    "Asked",
    "Diagnostics",
    "Image",
    "Mixture",
    "Seen",
    "Sums",
    "Symmetric",
    "Trust",
    "Why",
    "diagnose",
    "fewer_than",
    "is_enough",
    "plain",
    "pooled_log_weight",
    "rare_estimate",
    "spans",
    "tilted",
    "variation",
]
