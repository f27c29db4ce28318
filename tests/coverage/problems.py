"""Problems with known probabilities of exceedance, for a whole family of settings each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import ndtr

LEVELS = 10.0 ** -np.arange(1, 8)  # probabilities of the settings of a one-parameter family


@dataclass(frozen=True)
class Problem:
    name: str
    dims: int
    quantities: Callable  # (n, d) -> (n, curves)
    thresholds: tuple  # of each curve, (settings,)
    truth: np.ndarray  # (C,), curve by curve

    def operates(self, u):
        """(n, C): which settings are exceeded."""
        found = self.quantities(u)
        return np.concatenate(
            [found[:, [k]] > np.array(levels) for k, levels in enumerate(self.thresholds)], axis=1
        )


def family(name, dims, response, probability):
    """response(u) > s with P(response > s) = probability(s); settings at `LEVELS`."""
    s = np.array([brentq(lambda s, p=p: np.log(probability(s) / p), -3, 12) for p in LEVELS])
    return Problem(
        name,
        dims,
        lambda u: response(u)[:, None],
        (tuple(s),),
        np.array([probability(x) for x in s]),
    )


def linear(dims=10):
    """Sum of ten coordinates; P = Phi(-s)."""
    return family(
        f"linear, d = {dims}",
        dims,
        lambda u: u[:, :10].sum(axis=1) / np.sqrt(10),
        lambda s: ndtr(-s),
    )


def quadratic(dims=10, curvature=5.0):
    """Sum less curvature/4 (u1 - u2)^2: P = E Phi(-s - curvature/2 b^2), b normal (difference and
    sum independent)."""

    def p(s):
        return quad(
            lambda b: np.exp(-b * b / 2) / np.sqrt(2 * np.pi) * ndtr(-s - curvature / 2 * b * b),
            -9,
            9,
            points=[0],
            limit=200,
            epsabs=0,
            epsrel=1e-10,
        )[0]

    return family(
        f"curved, d = {dims}",
        dims,
        lambda u: u[:, :10].sum(axis=1) / np.sqrt(10) - curvature / 4 * (u[:, 0] - u[:, 1]) ** 2,
        p,
    )


def four_branch(dims=2, k=7.0):
    """Series system of two parabolas and two lines; with a, b = (u1 +- u2)/sqrt(2) an integral over
    b."""

    def response(u):
        a, b = (u[:, 0] + u[:, 1]) / np.sqrt(2), (u[:, 0] - u[:, 1]) / np.sqrt(2)
        return np.maximum(np.abs(a) - 3 - 0.2 * b * b, np.sqrt(2) * np.abs(b) - k / np.sqrt(2))

    def p(s):
        edge = max((s + k / np.sqrt(2)) / np.sqrt(2), 0.0)

        def inside(b):
            reach = max(s + 3 + 0.2 * b * b, 0.0)
            return np.exp(-b * b / 2) / np.sqrt(2 * np.pi) * 2 * ndtr(-reach)

        return (
            2 * ndtr(-edge)
            + 2 * quad(inside, 0, min(edge, 9), limit=200, epsabs=0, epsrel=1e-10)[0]
        )

    return family(f"four branches, d = {dims}", dims, response, p)


# --- families of 300 settings (pick-up s, slope k) without closed forms -------


def slopes(name, currents, pickups, restraints, truth=None):
    """Operates where spill less restraint times through current exceeds a pick-up; currents: u ->
    both, (n,) each."""

    def quantities(u):
        spill, through = currents(u)
        return spill[:, None] - through[:, None] * restraints

    return Problem(name, 50, quantities, (tuple(pickups),) * len(restraints), truth)


def smooth(u):
    """One way to operate: ten live inputs, products and a square."""
    spill = (
        0.1 * np.exp(0.5 * u[:, 0] + 0.3 * u[:, 2] + 0.2 * u[:, 3])
        + 0.05 * np.exp(0.3 * u[:, 4]) * (1 + 0.3 * u[:, 5]) ** 2
        + 0.01 * (u[:, 8] + u[:, 9])
    )
    return spill, np.exp(0.3 * u[:, 0] + 0.2 * u[:, 6] - 0.1 * u[:, 7])


def three_phases(u):
    """Twelve ways to operate: 17 live inputs. Three phases with the offset that the point on wave
    leaves each, two cores a phase whose remanence (u4 to u9) makes one or the other saturate, ratio
    errors (u10 to u15)."""
    through = np.exp(0.35 * u[:, 0])
    angle = 2 * np.pi * ndtr(u[:, 1])
    spill = np.zeros(len(u))
    for phase in range(3):
        flux = through * np.abs(np.cos(angle + 2 * np.pi * phase / 3)) * np.exp(0.3 * u[:, 2])
        ends = [
            np.logaddexp(0, 4 * (flux * (1 + 0.3 * u[:, 4 + phase + 3 * end]) - 2.2)) / 4
            for end in (0, 1)
        ]
        errors = 0.02 * through * (u[:, 10 + phase] - u[:, 13 + phase])
        spill = np.maximum(spill, np.abs(0.4 * (ends[0] - ends[1]) + errors))
    return spill * np.exp(0.05 * u[:, 16] + 0.02 * u[:, 3]), through


FAMILIES = (
    ("one way, d = 50", smooth, np.geomspace(0.15, 1.5, 20), np.linspace(0, 0.4, 15)),
    ("twelve ways, d = 50", three_phases, np.geomspace(0.06, 3.0, 20), np.linspace(0, 0.6, 15)),
)
