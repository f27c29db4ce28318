"""What one candidate misses and another one catches, on the same samples.

Each candidate misses a sampled earth fault from the neutral up to a place of its own, so that of
two missed stretches one holds the other. With y = P(missed | all but the place) the part that A
misses and B catches is therefore max(y_A - y_B, 0); a counted sample has y = 0 or 1, and the same
holds (derived). Hence P(A misses, B catches) less P(B misses, A catches) is p_missed of A less that
of B."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from montecarlo.estimates.counting import missed_stretch, resolved_positions, step_noise
from montecarlo.estimates.tally import LatticeTally, Pickups
from montecarlo.quantities import Array


def missed_samples(
    fault: Pickups, before: Pickups, phase_a: Array, earth_a: Array, delays: int
) -> Array:
    """Whether each sample of a counted type is missed at each setting of a lattice.

    As `counting.count_missed` counts.

    Parameters
    ----------
    fault, before : Pickups
    phase_a, earth_a, delays
        As of `Pickups.silent`.

    Returns
    -------
    (n, P·E·D) array
        1 or 0; NaN where unresolved.
    """
    blind_phase, blind_earth = fault.silent(phase_a, earth_a, delays)
    quiet_phase, quiet_earth = before.silent(phase_a, earth_a, delays)
    blind = blind_phase[:, :, None] & blind_earth[:, None]
    quiet = quiet_phase[:, :, None] & quiet_earth[:, None]
    resolved = fault.resolved & before.resolved
    return np.where(resolved[:, None], np.reshape(blind | ~quiet, (len(resolved), -1)), np.nan)


def missed_stretches(
    phase_x: Array, earth_x: Array, load: Pickups, phase_a: Array, earth_a: Array
) -> Array:
    """From the neutral up to where each setting of a lattice misses an earth fault. [-]

    Parameters
    ----------
    phase_x, earth_x, load, phase_a, earth_a
        As of `counting.sum_conditional`.

    Returns
    -------
    (n, P·E·D) array
        x*; 1 for a setting that operates on the load, NaN where unresolved.
    """
    quiet_phase, quiet_earth = load.silent(phase_a, earth_a, phase_x.shape[2])
    quiet = quiet_phase[:, :, None] & quiet_earth[:, None]
    x = missed_stretch(phase_x[:, :, None], earth_x[:, None], quiet)
    resolved = resolved_positions(phase_x, earth_x, load)
    return np.where(resolved[:, None], x.reshape(len(x), -1), np.nan)


def missed_shares(
    phase_x: Array,
    earth_x: Array,
    load: Pickups,
    phase_a: Array,
    earth_a: Array,
    cdf: Callable[[Array], Array],
) -> Array:
    """P(missed | all but the position) of each earth fault at each setting of a lattice. [-]

    As `counting.sum_conditional` sums it.

    Parameters
    ----------
    phase_x, earth_x, load, phase_a, earth_a, cdf
        As of `counting.sum_conditional`.

    Returns
    -------
    (n, P·E·D) array
        NaN where unresolved.
    """
    x = missed_stretches(phase_x, earth_x, load, phase_a, earth_a)
    return np.where(np.isfinite(x), cdf(x), np.nan)


def sum_caught(y: Array, installations: int, along: Array | None = None) -> LatticeTally:
    """Σ over each installation's events of what candidate a misses and b catches.

    A sample that is unresolved for one of them counts for no pair.

    Parameters
    ----------
    y : (n, K) array
        Installation-major: P(missed | all but the place) of K candidates.
    installations : int
    along : (n,) array, optional
        Of conditional ones: as of `counting.step_noise`.

    Returns
    -------
    LatticeTally
        At [installation, a, b, 0] of its `total`.
    """
    resolved = np.asarray(np.isfinite(y).all(axis=1))
    known = np.where(resolved[:, None], y, 0.0)
    caught = np.maximum(known[:, :, None] - known[:, None, :], 0.0)
    by_installation = caught.reshape(installations, -1, *caught.shape[1:])
    count = float(by_installation.shape[1])
    noise = None if along is None else step_noise(caught, resolved, along, installations)[..., None]
    return LatticeTally(
        by_installation.sum(axis=1)[..., None],
        np.full(installations, count),
        count - resolved.reshape(installations, -1).sum(axis=1),
        noise,
    )
