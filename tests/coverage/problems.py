"""Problems with known probabilities of exceedance, for a whole family of settings each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import ndtr

LEVELS = 10.0 ** -np.arange(1, 8)                          # probabilities of the settings of a one-parameter family


@dataclass(frozen=True)
class Problem:
    name: str
    dims: int
    excess: Callable                                       # (n, d) -> (n, C): > 0 operates at that setting
    truth: np.ndarray                                      # (C,)
    anchors: tuple[int, ...]                               # settings of the pilots
    spans: tuple[int, ...]                                 # settings of the refit


def family(name, dims, response, probability):
    """response(u) > s with P(response > s) = probability(s); settings at `LEVELS`."""
    s = np.array([brentq(lambda s, p=p: np.log(probability(s) / p), -3, 12) for p in LEVELS])
    return Problem(name, dims, lambda u: response(u)[:, None] - s, np.array([probability(x) for x in s]),
                   (len(s) - 1,), tuple(range(len(s))))


def linear(dims=10):
    """Sum of ten coordinates; P = Phi(-s)."""
    return family(f"linear, d = {dims}", dims, lambda u: u[:, :10].sum(axis=1) / np.sqrt(10), lambda s: ndtr(-s))


def quadratic(dims=10, curvature=5.0):
    """Sum less curvature/4 (u1 - u2)^2: P = E Phi(-s - curvature/2 b^2), b normal (difference and sum independent)."""
    def p(s):
        return quad(lambda b: np.exp(-b * b / 2) / np.sqrt(2 * np.pi) * ndtr(-s - curvature / 2 * b * b), -9, 9,
                    points=[0], limit=200, epsabs=0, epsrel=1e-10)[0]
    return family(f"curved, d = {dims}", dims,
                  lambda u: u[:, :10].sum(axis=1) / np.sqrt(10) - curvature / 4 * (u[:, 0] - u[:, 1]) ** 2, p)


def four_branch(dims=2, k=7.0):
    """Series system of two parabolas and two lines; with a, b = (u1 +- u2)/sqrt(2) an integral over b."""
    def response(u):
        a, b = (u[:, 0] + u[:, 1]) / np.sqrt(2), (u[:, 0] - u[:, 1]) / np.sqrt(2)
        return np.maximum(np.abs(a) - 3 - 0.2 * b * b, np.sqrt(2) * np.abs(b) - k / np.sqrt(2))

    def p(s):
        edge = max((s + k / np.sqrt(2)) / np.sqrt(2), 0.0)

        def inside(b):
            reach = max(s + 3 + 0.2 * b * b, 0.0)
            return np.exp(-b * b / 2) / np.sqrt(2 * np.pi) * 2 * ndtr(-reach)
        return 2 * ndtr(-edge) + 2 * quad(inside, 0, min(edge, 9), limit=200, epsabs=0, epsrel=1e-10)[0]
    return family(f"four branches, d = {dims}", dims, response, p)
