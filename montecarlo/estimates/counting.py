"""Counting: from critical pick-ups and positions of a chunk's samples to tallies.

Arrays of candidates are (P, E, D), as in `tally`."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from montecarlo.estimates.intervals import ratio
from montecarlo.estimates.tally import LatticeTally, Pickups, Places
from montecarlo.quantities import Array, Flags, Index


def joint_counts(
    phase: Index,
    earth: Index,
    settings: tuple[int, int],
    installations: int,
    weights: Array | None = None,
) -> Array:
    """Of each installation, the events that are silent at every pair of settings.

    Each event is counted in the cell of its first silent pair, and cells are summed up from there.

    Parameters
    ----------
    phase : (n, D) array of int
        As of `Pickups.first_silent`, installation-major.
    earth : (n, D) array of int
    settings : (int, int)
        P, E.
    installations : int
    weights : (n,) array, optional
        Of the events; 1 unless given.

    Returns
    -------
    (installations, P, E, D) array
    """
    delays, (phases, earths) = phase.shape[1], settings
    column = np.arange(installations * delays).reshape(installations, delays)
    cells = (phase * (earths + 1) + earth) * column.size
    cells = cells.reshape(installations, -1, delays) + column[:, None]
    shape = phases + 1, earths + 1, installations, delays  # the last pick-up: silent at none
    each = None if weights is None else np.repeat(weights, delays)
    silent = np.bincount(cells.ravel(), each, math.prod(shape)).reshape(shape)
    for p in range(1, phases):  # cumsum takes longer
        silent[p] += silent[p - 1]
    for e in range(1, earths):
        silent[:, e] += silent[:, e - 1]
    return np.ascontiguousarray(silent[:-1, :-1].transpose(2, 0, 1, 3), float)


def count_operated(
    event: Pickups, phase_a: Array, earth_a: Array, delays: int, installations: int
) -> LatticeTally:
    """External events and states: operated when any element's critical pick-up is above its
    setting.

    Parameters
    ----------
    event : Pickups
    phase_a, earth_a, delays
        As of `Pickups.silent`.
    installations : int

    Returns
    -------
    LatticeTally
    """
    resolved, settings = event.resolved, (phase_a.size, earth_a.size)
    phase, earth = event.first_silent(phase_a, earth_a, delays)
    per_installation = resolved.reshape(installations, -1).sum(axis=1).astype(float)
    known = np.where(resolved[:, None], phase, phase_a.size)
    silent = joint_counts(known, earth, settings, installations)
    return LatticeTally(
        per_installation[:, None, None, None] - silent,
        np.full(installations, resolved.size / installations),
        resolved.size / installations - per_installation,
    )


def count_missed(  # noqa: PLR0913
    fault: Pickups,
    before: Pickups,
    phase_a: Array,
    earth_a: Array,
    delays: int,
    installations: int,
    line_end_weight: Array | None,
    counts: Array | None = None,
) -> LatticeTally:
    """Internal faults: missed when no element operates, or one had operated before, on load or in
    the external fault from which it evolves.

    Parameters
    ----------
    fault, before : Pickups
    phase_a, earth_a, delays
        As of `Pickups.silent`.
    installations : int
    line_end_weight : (n,) array or None
        Density of the line-end law over the study's own.
    counts : (n,) array of 0 and 1, optional
        The samples whose misses are counted; all unless given.

    Returns
    -------
    LatticeTally
    """
    resolved, settings = fault.resolved & before.resolved, (phase_a.size, earth_a.size)
    blind_phase, blind_earth = fault.first_silent(phase_a, earth_a, delays)
    quiet_phase, quiet_earth = before.first_silent(phase_a, earth_a, delays)
    quiet_phase = np.where(resolved[:, None], quiet_phase, phase_a.size)
    per_installation = resolved.reshape(installations, -1).sum(axis=1).astype(float)
    both = np.maximum(quiet_phase, blind_phase), np.maximum(quiet_earth, blind_earth)

    quiet_all = joint_counts(quiet_phase, quiet_earth, settings, installations)

    def missed(weights: Array | None) -> Array:
        whole = per_installation
        if weights is not None:
            whole = (weights * resolved).reshape(installations, -1).sum(axis=1)
        quiet = quiet_all
        if weights is not None:
            quiet = joint_counts(quiet_phase, quiet_earth, settings, installations, weights)
        blind = joint_counts(*both, settings, installations, weights)
        return np.asarray(whole[:, None, None, None] - (quiet - blind))

    return LatticeTally(
        missed(counts),
        np.full(installations, resolved.size / installations),
        resolved.size / installations - per_installation,
        line_end=None if line_end_weight is None else missed(line_end_weight),
        before=per_installation[:, None, None, None] - quiet_all,
    )


def step_noise(y: Array, resolved: Flags, along: Array, installations: int) -> Array:
    """Variance of an installation's sum over its n events, n·S².

    S² is half the mean square of the steps between events that are neighbours `along` the input
    which decides most: on a net the events of an installation stand evenly there, so that what it
    makes them differ by is no noise (one unit a stratum, neighbours paired: Wolter, Introduction to
    Variance Estimation, ch. 8, from memory). Noise from the squares about the mean would take all
    of it for noise: measured, tests/MEASUREMENTS.md.

    Parameters
    ----------
    y : (n, ...) array
        Installation-major.
    resolved : (n,) array of bool
    along : (n,) array
    installations : int

    Returns
    -------
    (installations, ...) array
        NaN for a single event.
    """
    return Steps(resolved, along, installations).noise(y)


class Steps:
    """What `step_noise` makes of the samples, whatever is summed.

    Parameters
    ----------
    resolved, along, installations
        As of `step_noise`.
    """

    def __init__(self, resolved: Flags, along: Array, installations: int) -> None:
        every = np.repeat(np.arange(installations), along.size // installations)
        self._order = np.lexsort((along, every))
        known = resolved[self._order].reshape(installations, -1)
        self._both = known[:, 1:] & known[:, :-1]
        self._scale = ratio(known.sum(axis=1), 2 * self._both.sum(axis=1))

    def noise(self, y: Array) -> Array:
        """As `step_noise`.

        Parameters
        ----------
        y : (n, ...) array

        Returns
        -------
        (installations, ...) array
        """
        by_installation = y[self._order].reshape(len(self._scale), -1, *y.shape[1:])
        settings = (1,) * (y.ndim - 1)
        squares = np.diff(by_installation, axis=1) ** 2
        if not self._both.all():
            squares[~self._both] = 0.0
        return np.asarray(squares.sum(axis=1) * self._scale.reshape(-1, *settings))


def missed_stretch(phase_x: Array, earth_x: Array, quiet: Flags) -> Array:
    """From the neutral up to where a setting misses an earth fault. [-]

    The shorter stretch of its elements, the whole winding if it operates on the load. Broadcasts.

    Parameters
    ----------
    phase_x, earth_x : array (-)
        Critical positions, as of `sum_conditional`.
    quiet : array of bool
        Whether it is silent on the load.

    Returns
    -------
    array
    """
    return np.where(quiet, np.minimum(phase_x, earth_x), 1.0)


def resolved_positions(phase_x: Array, earth_x: Array, load: Pickups) -> Flags:
    """Which samples have critical positions and a result on load.

    Parameters
    ----------
    phase_x, earth_x, load
        As of `sum_conditional`.

    Returns
    -------
    (n,) array of bool
    """
    phase = np.isfinite(phase_x).all(axis=(1, 2))
    earth = np.isfinite(earth_x).all(axis=(1, 2))
    return phase & earth & load.resolved


def sum_conditional(  # noqa: PLR0913
    phase_x: Array,
    earth_x: Array,
    load: Pickups,
    phase_a: Array,
    earth_a: Array,
    installations: int,
    cdf: Callable[[Array], Array],
    along: Array | None,
    line_end: bool,
    backup_x: Array | None = None,
) -> LatticeTally:
    """Earth faults: P(missed | all but the position) = cdf(x*), 1 if a setting operates on the
    load.

    Parameters
    ----------
    phase_x : (n, P, D) array (-)
        Critical positions; 1 without such an element, NaN: unresolved.
    earth_x : (n, E, D) array (-)
    load : Pickups
    phase_a, earth_a
        As of `Pickups.silent`.
    installations : int
    cdf : callable
        Of the fault's position.
    along : (n,) array or None
        The input that decides most (`step_noise`); None: the noise is not asked for, and 0.
    line_end : bool
        Whether the line-end law is summed too.
    backup_x : (n,) array (-), optional
        Beyond which a back-up catches whatever is missed, so that the sum is of what nobody
        catches.

    Returns
    -------
    LatticeTally
    """
    n, settings, delays = phase_x.shape
    events = n / installations
    resolved = resolved_positions(phase_x, earth_x, load)
    quiet_phase, quiet_earth = load.silent(phase_a, earth_a, delays)
    shape = (settings, earth_x.shape[1], delays)
    tally = LatticeTally(
        np.zeros((installations, *shape)),
        np.full(installations, events),
        events - resolved.reshape(installations, -1).sum(axis=1),
        np.zeros((installations, *shape)),
        np.zeros((installations, *shape)) if line_end else None,
    )
    steps = None if along is None else Steps(resolved, along, installations)
    for p in range(settings):  # one row of settings at a time bounds the memory
        x = missed_stretch(phase_x[:, p, None], earth_x, quiet_phase[:, p, None] & quiet_earth)
        if backup_x is not None:
            x = np.minimum(x, backup_x[:, None, None])
        y = np.where(resolved[:, None, None], cdf(x), 0.0)
        by_installation = y.reshape(installations, -1, *shape[1:])
        tally.total[:, p] = by_installation.sum(axis=1)
        assert tally.noise is not None
        if steps is not None:
            tally.noise[:, p] = steps.noise(y)
        if tally.line_end is not None:
            squares = np.where(resolved[:, None, None], x**2, 0.0)
            tally.line_end[:, p] = squares.reshape(by_installation.shape).sum(axis=1)
    return tally


def places_kept(
    phase_x: Array,
    earth_x: Array,
    load: Pickups,
    phase_a: Array,
    earth_a: Array,
    fault_ohm: Array,
) -> tuple[Places, Places, Places]:
    """Critical positions of a chunk's resolved samples and their fault resistances: all that
    protected_winding needs (`missed_places`).

    Positions lie in [0, 1], so single precision leaves 6e-8 of the winding open.

    Parameters
    ----------
    phase_x, earth_x, load, phase_a, earth_a
        As of `sum_conditional`.
    fault_ohm : (n,) array (ohm)

    Returns
    -------
    ((resolved, P, D) array, (resolved, E, D) array, (resolved,) array)
        NaN: it operates on the load.
    """
    delays = phase_x.shape[2]
    resolved = resolved_positions(phase_x, earth_x, load)
    quiet_phase, quiet_earth = load.silent(phase_a, earth_a, delays)
    phase = np.where(quiet_phase, phase_x, np.nan)[resolved]
    earth = np.where(quiet_earth, earth_x, np.nan)[resolved]
    return (
        phase.astype(np.float32),
        earth.astype(np.float32),
        fault_ohm[resolved].astype(np.float32),
    )


def missed_places(phase_x: Places, earth_x: Places) -> Places:
    """`missed_stretch` of positions kept. Broadcasts.

    Parameters
    ----------
    phase_x, earth_x : array (-)
        As of `places_kept`.

    Returns
    -------
    array
    """
    x = np.minimum(phase_x, earth_x)  # not a number stays
    return np.where(np.isnan(x), np.float32(1.0), x)


def one_setting(
    y: Array | Flags, installations: int, *, along: Array | None = None
) -> LatticeTally:
    """What belongs to no candidate.

    Parameters
    ----------
    y : (n,) array
        Installation-major: 0 and 1, or conditional probabilities; NaN: unresolved.
    installations : int
    along : (n,) array, optional
        With probabilities: as of `step_noise`.

    Returns
    -------
    LatticeTally
    """
    known = np.isfinite(y)
    values = np.where(known, y, 0.0)
    noise = None if along is None else step_noise(values, known, along, installations)
    by_installation = values.reshape(installations, -1)
    resolved = known.reshape(installations, -1).sum(axis=1)
    trials = np.full(installations, float(by_installation.shape[1]))
    return LatticeTally(
        by_installation.sum(axis=1)[:, None, None, None],
        trials,
        trials - resolved,
        None if noise is None else noise[:, None, None, None],
    )
