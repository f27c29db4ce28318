"""The transient solution in plain NumPy, all samples of a block side by side: TR-BDF2, two stops a
CT, Newton.

The same equations and the same tolerance as `montecarlo.secondary.kernel`, without its start, its
lanes or its single division; Newton's matrix by Woodbury in the legs, as there, which is faster
than `numpy.linalg.solve` on six unknowns."""

from __future__ import annotations

import numpy as np

from montecarlo.quantities import Array
from montecarlo.secondary.judging import POINTS
from montecarlo.secondary.remanence import start_of
from tests.benchmarks.faults import Faults

GAMMA = 2 - np.sqrt(2)
W1, W0 = 1 / (GAMMA * (2 - GAMMA)), (1 - GAMMA) ** 2 / (GAMMA * (2 - GAMMA))
TOLERANCE = 1e-3  # last Newton move, knee flux


class Plain:
    """The state of n faults; arrays (ct, n) and (legs, n)."""

    def __init__(self, faults: Faults) -> None:
        bank = faults.bank
        start = start_of(
            bank.remanence_model, faults.flux, bank.remanence, bank.coefficients, bank.exponent
        )
        self.table, self.knee_a, self.power = (
            faults.table,
            bank.knee_current_a.T,
            int(bank.exponent[0]),
        )
        self.linear, self.steep = (bank.coefficients[k].T * self.knee_a for k in range(2))
        self.bounds, self.rises = (
            np.stack([part.T * self.knee_a for part in parts])
            for parts in (start.bounds, start.slopes)
        )
        self.m, self.stops = (
            start.flux.T.copy(),
            np.stack([part.T * self.knee_a for part in start.stops]),
        )
        self.ohm, self.leg_ohm = bank.series_ohm.T, faults.leg_ohm.T
        self.weight = GAMMA / 2 * faults.window.step_s / bank.knee_flux_wb.T

    def excite(self, m: Array, source: Array, now: slice | Array) -> tuple[Array, Array]:
        """What excitation leaves of the source currents, and the slope of what it takes."""
        even = m**2
        even = (
            (even * even * even * even) ** 2 / even if self.power == 15 else m ** (self.power - 1)
        )
        free = self.stops[..., now] + self.rises[..., now] * (m - self.m[..., now])
        bound, steep = self.bounds[..., now], self.steep[..., now] * even
        held = np.clip(free, -bound, bound)
        slope = (
            self.linear[..., now]
            + self.power * steep
            + (self.rises[..., now] * (np.abs(free) < bound)).sum(axis=0)
        )
        return source - (self.linear[..., now] + steep) * m - held.sum(axis=0), slope

    def drive(self, current: Array, now: slice | Array) -> Array:
        voltage = self.leg_ohm[..., now] * (self.table @ current)
        return self.weight[..., now] * (self.ohm[..., now] * current + self.table.T @ voltage)

    def move(self, m: Array, right: Array, source: Array, now: slice | Array) -> Array:
        """Newton's step by Woodbury: a system of the size of the legs, by elimination without
        pivots."""
        current, slope = self.excite(m, source, now)
        gain = self.weight[..., now]
        inverse = 1 / (1 + gain * self.ohm[..., now] * slope)
        pull = (m - self.drive(current, now) - right) * inverse
        tie, ohm = gain * slope * inverse, self.leg_ohm[..., now]
        legs = len(self.table)
        matrix = (
            np.einsum("pc,qc,cn->pqn", self.table, self.table, tie, optimize=True) * ohm[:, None]
        )
        matrix[np.arange(legs), np.arange(legs)] += 1
        rhs = ohm * (self.table @ (slope * pull))
        for p in range(legs):
            for q in range(p + 1, legs):
                factor = matrix[q, p] / matrix[p, p]
                matrix[q, p + 1 :] -= factor * matrix[p, p + 1 :]
                rhs[q] -= factor * rhs[p]
        for p in range(legs - 1, -1, -1):
            rhs[p] = (rhs[p] - (matrix[p, p + 1 :] * rhs[p + 1 :]).sum(axis=0)) / matrix[p, p]
        return pull - gain * inverse * (self.table.T @ rhs)

    def stage(self, right: Array, source: Array) -> Array:
        """The flux at a stage's end; from the second move on only of samples that still move. The
        state follows."""
        m, now = self.m.copy(), np.arange(self.m.shape[1])
        for iteration in range(40):
            part = slice(None) if iteration == 0 else now
            moved = self.move(m[:, part], right[:, part], source[:, part], part)
            m[:, part] = np.clip(m[:, part] - moved, -4.0, 4.0)
            now = now[np.abs(moved).max(axis=0) > TOLERANCE]
            if now.size == 0:
                break
        self.stops = np.clip(self.stops + self.rises * (m - self.m), -self.bounds, self.bounds)
        self.m = m
        return m


def solve(faults: Faults) -> Array:
    """(n, elements) [A]: the largest one-cycle RMS after the fault."""
    plain, window, legs = Plain(faults), faults.window, list(faults.measurement.legs)
    wave = np.ascontiguousarray(
        (faults.source.wave[:, faults.source.channel] / faults.bank.turns[..., None]).transpose(
            2, 1, 0
        )
    )
    warm, lead = (window.per_cycle if np.any(faults.flux) else 0), window.per_cycle
    current, _ = plain.excite(plain.m, wave[0], slice(None))
    drive = plain.drive(current, slice(None))
    now = (faults.table @ current)[legs]
    cycle = np.zeros((window.per_cycle, *now.shape))
    largest = np.zeros(now.shape)
    for s in range(-warm, window.steps):
        begin, at_start = plain.m, now
        source = [
            wave[(index % (2 * lead)) if index <= 0 else index] for index in (2 * s + 1, 2 * s + 2)
        ]
        right = begin + drive
        inner = plain.stage(right, source[0])
        current, _ = plain.excite(inner, source[0], slice(None))
        middle = (faults.table @ current)[legs]
        right = W1 * inner - W0 * begin
        end = plain.stage(right, source[1])
        current, _ = plain.excite(end, source[1], slice(None))
        drive, now = end - right, (faults.table @ current)[legs]
        if s >= 0:
            parts = zip(POINTS, (at_start, middle, now), strict=True)
            cycle[s % window.per_cycle] = sum(weight * value**2 for (weight, _), value in parts)
            if s >= lead:
                np.maximum(largest, cycle.mean(axis=0), out=largest)
    return np.sqrt(largest).T
