"""Tests at a relay's own terminals: points on the slopes of a biased element, and operating times.

A slope is tested with two currents in the sense of a through current (common practice, no source):
one is held, the other raised from balance until the element operates. What it then compares is
`secondary/restraint.py`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from montecarlo.quantities import Array
from montecarlo.secondary import transient
from montecarlo.secondary.chain import Chain, passed
from montecarlo.secondary.measurement import Measurement
from montecarlo.secondary.restraint import (
    GREATER_OF,
    UNBIASED,
    Form,
    bias_current,
    operating_quantity,
)

HALVINGS = 28  # in search of a pick-up: it is found to 4e-8
BRACKET = 1e-3, 100.0  # in which it is sought, times a value about it
COARSE = 101  # steps over the bracket, 12 % each
PLACES = (
    0.1,
    0.5,
    0.9,
)  # of the points on a part, so that some stand close to either side of a turning point
# how far the last part is tested, times the relay's rated current or the last turning point
BEYOND = 2.0
# how far a point's bias may be from what was wanted; else the part cannot be reached
OFF = 0.05
BELOW, FIRST, SECOND = "below the slopes", "first slope", "second slope"
STEPS = 256  # of a cycle, in which an element's measuring is followed
ANGLES = 16  # points on wave in half a turn
BETWEEN = 8  # places of the event between two samples of a relay
CYCLES = 4  # in which what is measured of a sinusoid has settled


# --- slopes -------------------------------------------------------------------


@dataclass(frozen=True)
class Part:
    """A straight part of a characteristic, by its bias current. [A]"""

    name: str
    low_a: float
    high_a: float


@dataclass(frozen=True)
class Point:
    """A point on a part: what is held, and the bias at which the element then operates, without any
    error. [A]"""

    part: str
    held_a: float
    bias_a: float


@dataclass(frozen=True)
class BiasedElement:
    """An element with two of its ends in use: one raised, one held. The gains multiply each end's
    current on its way to difference and bias; `restrains`: whether each takes part in the bias;
    `ends`: how many do in all."""

    form: Form
    bias_current: str
    raised_gain: float
    held_gain: float
    restrains: tuple[bool, bool]
    ends: int

    def bias_a(self, raised_a: Array, held_a: Array) -> Array:
        """Bias current of currents at the terminals, (n,). [A]"""
        each = np.zeros((raised_a.size, self.ends))
        if self.restrains[0]:
            each[:, 0] = self.raised_gain * raised_a
        if self.restrains[1]:
            each[:, -1] = self.held_gain * held_a
        return bias_current(each, self.bias_current)

    def operates_at(self, held_a: Array, pickup_a: Array) -> Array:
        """The raised current at which it operates, (n,), inf where it never does; both (n,). [A]"""
        balance = self.held_gain * held_a

        def quantity(difference: Array) -> Array:
            bias = self.bias_a((balance + difference) / self.raised_gain, held_a)
            return np.asarray(operating_quantity(difference, bias, self.form))

        return (balance + least(quantity, pickup_a, pickup_a + balance)) / self.raised_gain

    def points(self, pickup_a: float, rated_a: float) -> list[Point]:
        """Three on each slope, and one below the slopes where there is such a part; none for an
        element that no bias restrains, or that two currents cannot bring there."""
        found: list[Point] = []
        alone = float(self._bias_where_it_operates(np.zeros(1), pickup_a)[0])
        for part in self.parts(pickup_a, rated_a):
            if not part.high_a > alone:  # one current by itself is beyond it, or never operates
                continue
            low = max(part.low_a, alone)
            places = np.array(PLACES[1:2] if part.name == BELOW else PLACES)
            wanted = low + places * (part.high_a - low)
            held = least(
                lambda held_a: self._bias_where_it_operates(held_a, pickup_a), wanted, wanted
            )
            held = np.array([float(f"{value:.3g}") for value in held])
            got = self._bias_where_it_operates(held, pickup_a)
            near = np.abs(got / wanted - 1) <= OFF
            found += [
                Point(part.name, one, bias)
                for one, bias in zip(held[near].tolist(), got[near].tolist(), strict=True)
            ]
        return found

    def parts(self, pickup_a: float, rated_a: float) -> list[Part]:
        """From no bias on; the last ends `BEYOND` times the relay's rated current or the last
        turning point."""
        which, first_slope, second_slope, turning_point_a = self.form[:4]
        two = first_slope != second_slope
        if which == UNBIASED or not (first_slope > 0 or second_slope > 0):
            return []
        turns = {turning_point_a} if two else set()
        flat = 0.0
        if which == GREATER_OF:  # level up to where the bias reaches the pick-up
            flat = (
                pickup_a / first_slope
                if first_slope > 0 and (not two or first_slope * turning_point_a >= pickup_a)
                else (turning_point_a + (pickup_a - first_slope * turning_point_a) / second_slope)
            )
            turns.add(flat)
        edges = [0.0, *sorted(turns), BEYOND * max(rated_a, *turns, 0.0)]
        return [
            Part(
                BELOW if high <= flat else FIRST if high <= turning_point_a or not two else SECOND,
                low,
                high,
            )
            for low, high in pairwise(edges)
            if high > low
        ]

    def _bias_where_it_operates(self, held_a: Array, pickup_a: float) -> Array:
        return self.bias_a(self.operates_at(held_a, np.full(held_a.shape, pickup_a)), held_a)


def least(quantity: Callable[[Array], Array], target: Array, about: Array) -> Array:
    """The least current at which a quantity reaches the target, (n,); inf where it does not within
    `BRACKET` times `about`. By halving; where it has fallen below the target again at the far end,
    as under a steep second slope, the first of `COARSE` steps at which it is there comes first."""
    low, high = BRACKET[0] * about, BRACKET[1] * about
    never = ~(quantity(high) >= target)
    for step in np.geomspace(*BRACKET, COARSE) if never.any() else ():
        there = never & (quantity(step * about) >= target)
        high, never = np.where(there, step * about, high), never & ~there
    for _ in range(HALVINGS):  # by ratios, of what may jump: no solver of SciPy's wants either
        middle = np.sqrt(low * high)
        enough = quantity(middle) >= target
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    return np.asarray(np.where(never, np.inf, high))


# --- time ---------------------------------------------------------------------


def operating_times_s(share: Array, quantity: str, frequency_hz: float, delay_s: float) -> Array:
    """From a sinusoid's sudden start to operation, (n, points on wave): until what is measured over
    the last cycle stays above the pick-up, then the delay (derived). [s]

    share (n,): pick-up over the current that is applied, below 1; quantity: rms, fundamental or
    peak."""
    grown = _measured(quantity)
    stays = np.minimum.accumulate(grown[:, ::-1], axis=1)[:, ::-1]
    steps = np.stack([np.searchsorted(row, share) for row in stays], axis=-1)
    return np.asarray(steps / STEPS / frequency_hz + delay_s)


def sampled_times_s(share: Array, chain: Chain, frequency_hz: float, delay_s: float) -> Array:
    """The same through the relay's chain, (n, points on wave times places between samples). [s]"""
    angle = np.repeat(np.pi * np.arange(ANGLES) / ANGLES, BETWEEN)
    phase = np.tile((np.arange(BETWEEN) + 0.5) / BETWEEN, ANGLES)
    window = transient.Window(frequency_hz, CYCLES / frequency_hz, STEPS)
    times = window.times()
    sine = np.sin(2 * np.pi * frequency_hz * times + angle[:, None])
    wave = np.where(times > 0, np.sqrt(2) * sine, 0.0)
    every = replace(chain.take(np.zeros(phase.size, int)), phase=phase)
    _, read = passed(every, wave, STEPS)
    grid = Measurement(legs=(), chain=chain).grid(window.step_s, STEPS, window.lead)
    after = read[:, grid.lead :]
    stays = np.minimum.accumulate(after[:, ::-1], axis=1)[:, ::-1]
    first = np.stack([np.searchsorted(row, share) for row in stays], axis=-1)
    held = round(delay_s / grid.step_s)
    return np.asarray((first + 1 - phase + held) * grid.step_s)


def _measured(quantity: str) -> Array:
    """What is measured of a sinusoid of 1 A RMS in its first cycle, (points on wave, steps);
    integrals in closed form (derived)."""
    angle = np.pi * np.arange(ANGLES)[:, None] / ANGLES
    turned = 2 * np.pi * np.arange(STEPS + 1) / STEPS
    if quantity == "peak":
        return np.asarray(np.maximum.accumulate(np.abs(np.sin(turned + angle)), axis=1))
    if quantity == "fundamental":
        return np.asarray(
            np.abs(
                np.exp(1j * angle) * turned + np.exp(-1j * angle) * (np.exp(-2j * turned) - 1) / 2j
            )
            / (2 * np.pi)
        )
    square = (turned - (np.sin(2 * (turned + angle)) - np.sin(2 * angle)) / 2) / (2 * np.pi)
    return np.asarray(np.sqrt(np.maximum(square, 0.0)))
