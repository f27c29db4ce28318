"""Failure on demand of what is tested now and then, and how often to test it. Numbers or arrays.

Rates are dangerous failures: detected by supervision, or undetected until the next test. Formulas
of PFD: IEC 61508-6:2010, annex B, from memory. They are linear in rate times interval, too large by
about a third of that product, and no probabilities where it nears 1.

    t_CE = (l_DU (T_1/2 + MTTR) + l_DD MTTR)/l_D, t_GE the same with T_1/3

Best interval: derived. Compare Kumm, Weber, Hou, Schweitzer, IEEE Trans. Power Delivery 10, 1995
(abstract seen)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities import Array

HOURS_A_YEAR = 8760  # as the tables of IEC 61508-6 have it


def pfd_1oo1(
    undetected_per_year: ArrayLike,
    detected_per_year: ArrayLike,
    interval_years: ArrayLike,
    repair_h: ArrayLike,
) -> Array:
    """Average probability that one channel fails on demand, l_DU (T_1/2 + MTTR) + l_DD MTTR. [-]

    Parameters
    ----------
    undetected_per_year, detected_per_year : array_like (1/year)
        l_DU and l_DD.
    interval_years : array_like (year)
        T_1, between tests that find every failure.
    repair_h : array_like (h)
        MTTR, after a test as after a detected failure.

    Returns
    -------
    array (-)

    Examples
    --------
    l_D of 0.5e-7 an hour, diagnostic coverage 0, 60 and 90 %:

    >>> rate, found = 0.5e-7 * HOURS_A_YEAR, np.array([0.0, 0.6, 0.9])
    >>> print(pfd_1oo1(rate * (1 - found), rate * found, interval_years=1.0, repair_h=8.0))
    [2.194e-04 8.800e-05 2.230e-05]
    """
    return _down(undetected_per_year, detected_per_year, interval_years, repair_h, 2)


def pfd_1oo2(
    undetected_per_year: ArrayLike,
    detected_per_year: ArrayLike,
    interval_years: ArrayLike,
    repair_h: ArrayLike,
    *,
    common: ArrayLike,
    common_detected: ArrayLike,
) -> Array:
    """Average probability that both of two like channels fail on demand. [-]

    2 ((1 - b_D) l_DD + (1 - b) l_DU)^2 t_CE t_GE + b_D l_DD MTTR + b l_DU (T_1/2 + MTTR)

    Parameters
    ----------
    undetected_per_year, detected_per_year : array_like (1/year)
        Of each channel.
    interval_years : array_like (year)
        Both are tested at the same time.
    repair_h : array_like (h)
        As of `pfd_1oo1`.
    common, common_detected : array_like (-)
        b and b_D, parts of undetected and detected failures that take both channels at once.

    Returns
    -------
    array (-)
        0 where both rates are 0.

    Examples
    --------
    >>> rate, common = 0.5e-7 * HOURS_A_YEAR, np.array([0.02, 0.1])
    >>> print(pfd_1oo2(rate, 0.0, 1.0, 8.0, common=common, common_detected=common / 2).round(8))
    [4.450e-06 2.199e-05]
    """
    undetected, detected = np.asarray(undetected_per_year, float), np.asarray(detected_per_year)
    total = undetected + detected
    own = (1 - np.asarray(common)) * undetected + (1 - np.asarray(common_detected)) * detected
    part = own / np.where(total > 0, total, 1.0)  # of a channel's failures, not common
    either, second = (
        part * _down(undetected, detected, interval_years, repair_h, points) for points in (2, 3)
    )
    together = _down(
        np.asarray(common) * undetected,
        np.asarray(common_detected) * detected,
        interval_years,
        repair_h,
        2,
    )
    return np.asarray(2 * either * second + together)


def _down(
    undetected_per_year: ArrayLike,
    detected_per_year: ArrayLike,
    interval_years: ArrayLike,
    repair_h: ArrayLike,
    points: int,
) -> Array:
    """l_DU (T_1/points + MTTR) + l_DD MTTR: l_D t_CE for 2, l_D t_GE for 3. [-]"""
    repair = np.asarray(repair_h, float) / HOURS_A_YEAR
    unseen = np.asarray(interval_years, float) / points + repair
    return np.asarray(
        np.asarray(undetected_per_year) * unseen + np.asarray(detected_per_year) * repair
    )


# --- how often to test --------------------------------------------------------


def annual_cost(
    interval_years: ArrayLike,
    pfd: ArrayLike,
    *,
    faults_per_year: ArrayLike,
    missed_fault: ArrayLike,
    test: ArrayLike,
    left_failed: ArrayLike = 0.0,
) -> Array:
    """Expected cost of missed faults and of tests, m c_m (PFD + p) + c_t/T_1. [cost/year]

    A test that leaves the protection failed, found at the next one, costs as much a year for every
    interval: it is no reason to test more often or less often.

    Parameters
    ----------
    interval_years : array_like (year)
        T_1, above 0.
    pfd : array_like (-)
        Average probability of failure on demand with this interval.
    faults_per_year : array_like (1/year)
        m, demands.
    missed_fault : array_like (cost)
        c_m, of one.
    test : array_like (cost)
        c_t, of one; with the probability that it trips the machine times the cost of that.
    left_failed : array_like (-)
        p, probability that a test leaves the protection failed.

    Returns
    -------
    array (cost/year)

    Examples
    --------
    >>> years = np.array([1.0, 2.0, 4.0])
    >>> costs = dict(faults_per_year=0.01, missed_fault=1e6, test=100.0)
    >>> annual_cost(years, pfd_1oo1(0.005, 0.0, years, 0.0), **costs)
    array([125., 100., 125.])
    """
    interval, failed = np.asarray(interval_years, float), np.asarray(pfd) + np.asarray(left_failed)
    missed = np.asarray(faults_per_year) * np.asarray(missed_fault) * failed
    return np.asarray(missed + np.asarray(test) / interval)


def best_interval_years(
    undetected_per_year: ArrayLike,
    *,
    faults_per_year: ArrayLike,
    missed_fault: ArrayLike,
    test: ArrayLike,
) -> Array:
    """Interval of least `annual_cost` of one channel, sqrt(2 c_t/(m c_m l_DU)). [year]

    There tests cost as much as the missed faults that hang on the interval. Two channels have no
    such law: their PFD has a linear and a quadratic part.

    Parameters
    ----------
    undetected_per_year : array_like (1/year)
        l_DU.
    faults_per_year, missed_fault, test
        As of `annual_cost`.

    Returns
    -------
    array (year)
        inf where no test is worth its cost; 0 where tests cost nothing and failures do.

    Examples
    --------
    >>> float(best_interval_years(0.005, faults_per_year=0.01, missed_fault=1e6, test=100.0))
    2.0
    """
    growth = (
        np.asarray(undetected_per_year, float)
        * np.asarray(faults_per_year)
        * np.asarray(missed_fault)
    )
    some = growth > 0
    best = np.sqrt(2 * np.asarray(test, float) / np.where(some, growth, 1.0))
    return np.asarray(np.where(some, best, np.inf))
