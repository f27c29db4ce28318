"""The paths of one setting: what each sees of an internal fault, when it operates, and which parts
it needs.

Of an earth fault every path sees all places beyond one of its own. Between two such places nothing
changes, so probabilities are exact along the winding. Failures are averaged exactly
(`formulas/clearing.py`)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from montecarlo.engine import backup, primary
from montecarlo.engine.block import Block, thresholds
from montecarlo.engine.path import Measured
from montecarlo.engine.winding import Along, critical_places
from montecarlo.estimates.conditional import critical_position, winding_nodes
from montecarlo.estimates.counting import resolved_positions
from montecarlo.estimates.tally import Pickups
from montecarlo.formulas.clearing import first_that_works
from montecarlo.quantities import Array, Flags
from montecarlo.sampling.stratum import PHASE_PHASE_EARTH
from montecarlo.study.candidates import Lattice
from montecarlo.study.clearing_checks import paths_of, who_clears_of
from montecarlo.study.dependability import BREAKER_FAILURE, EARTH_ELEMENT, PHASE_ELEMENTS, Part
from montecarlo.study.description import Study

# Factors of all failure rates, and of all intervals between tests.
SOUND = (0.0, 1.0)
STATED = (1.0, 1.0)
Case = tuple[float, float]
RATES = (SOUND, (1 / 3, 1.0), STATED, (3.0, 1.0))
TESTS = tuple((1.0, factor) for factor in (0.25, 0.5, 2.0, 4.0))


def cases_of(study: Study) -> tuple[Case, ...]:
    """The factors that a study is followed with; of parts that never fail where it names none.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of (float, float)
    """
    return (SOUND,) if study.dependability is None else (*RATES, *TESTS)


def stated_case(study: Study) -> Case:
    """The case of failures as a study states them.

    Parameters
    ----------
    study : Study

    Returns
    -------
    (float, float)
    """
    return SOUND if study.dependability is None else STATED


@dataclass(frozen=True, eq=False)
class Paths:
    """The paths of a setting on a block of samples; J of them.

    High-set elements are phase elements, with the delay of these."""

    block: Block
    lattice: Lattice

    @cached_property
    def names(self) -> tuple[str, ...]:
        return paths_of(self.block.study, self.lattice.circuit.scheme)

    @property
    def who(self) -> tuple[str, ...]:
        """What may clear a fault: the paths, and breaker failure protection where there is one."""
        return who_clears_of(self.block.study, self.lattice.circuit.scheme)

    @cached_property
    def times_s(self) -> Array:
        """From inception until each operates on what it sees: its delay, and a cycle in which it
        measures. (J,) [s]"""
        study = self.block.study
        delay_s = {
            PHASE_ELEMENTS: self.lattice.delays_of("phase")[0],
            EARTH_ELEMENT: self.lattice.delays_of("earth")[0],
        }
        if study.backup is not None:
            delay_s |= {name: one.delay_s for name, one in study.backup.elements.items()}
        return np.array([delay_s[name] for name in self.names]) + 1 / study.machine.frequency_hz

    def first(self, times_s: Array, rates: float, tests: float) -> Array:
        """Probability that each path, breaker failure protection, or nobody clears. [-]

        Breaker failure protection clears what no path clears but would, were the parts sound in
        whose place it steps.

        Parameters
        ----------
        times_s : (m, J) array (s)
            inf where a path does not see the fault. As many rows a sample of the block, those of a
            sample together.
        rates, tests : float (-)
            Factors of all rates, and of all intervals between tests.

        Returns
        -------
        (m, `who` + 1) array (-)
        """
        found, steps_in = self.block.study.dependability, BREAKER_FAILURE in self.who
        if found is None or rates == 0:
            each = first_that_works(times_s, np.zeros(len(self.names)))
            return np.insert(each, -1, 0.0 * each[:, -1], axis=1) if steps_in else each
        each = self._first(times_s, *self._failures(found.parts, rates, tests))
        if not steps_in:
            return each
        others = [part for part in found.parts if not part.breaker_failure]
        left = self._first(times_s, *self._failures(others, rates, tests))[:, -1]
        cleared = np.maximum(each[:, -1] - left, 0.0)
        return np.column_stack([each[:, :-1], cleared, left])

    def _first(self, times_s: Array, own: Array, common: Array, needs: Array) -> Array:
        every = len(times_s) // len(self.block)
        return first_that_works(
            times_s, np.repeat(own, every, axis=0), np.repeat(common, every, axis=0), needs
        )

    def _failures(
        self, parts: Sequence[Part], rates: float, tests: float
    ) -> tuple[Array, Array, Array]:
        """Of each path's own parts (n, J), of common ones (n, g), and who needs these (g, J)."""
        found = self.block.study.dependability
        assert found is not None
        works, common, needs = np.ones((len(self.block), len(self.names))), [], []
        for part in parts:
            needed = np.array([name in part.paths for name in self.names])
            fails = found.failure(part, self.block.samples, rates, tests)
            if needed.sum() > 1:
                common.append(fails)
                needs.append(needed)
            else:
                works[:, needed] *= 1 - fails[:, None]
        each = np.stack(common, axis=1) if common else np.zeros((len(self.block), 0))
        return 1 - works, each, np.reshape(needs, (len(common), len(self.names)))

    @property
    def works(self) -> Array:
        """Probability that all parts of each path work, failures as stated, (n, J)."""
        found = self.block.study.dependability
        if found is None:
            return np.ones((len(self.block), len(self.names)))
        own, common, needs = self._failures(found.parts, *STATED)
        return np.asarray((1 - own) * np.prod(1 - common[:, :, None] * needs, axis=1))

    # --- what each path sees --------------------------------------------------

    def seen(self, measured: Measured) -> Array:
        """Whether each path sees a fault of a counted type.

        Parameters
        ----------
        measured : Measured

        Returns
        -------
        (n, J) array
            1; 0 where not, or where an element of the scheme had operated before; NaN where that is
            not known.
        """
        event, before = measured.pickups(self.lattice), measured.before(self.lattice)
        quiet = self._quiet(before)
        phase, earth = event.silent(*thresholds(self.lattice), len(self.lattice.delay_s))
        own = {PHASE_ELEMENTS: phase[:, 0, 0], EARTH_ELEMENT: earth[:, 0, 0]}
        resolved = event.resolved & before.resolved
        neutral = self._neutral_a() if self.block.stratum == PHASE_PHASE_EARTH else None
        found = []
        for name in self.names:
            if name in own:
                found.append(np.where(resolved, ~own[name] & quiet, np.nan))
            elif neutral is None:
                found.append(np.zeros(len(self.block)))
            else:
                known = np.isfinite(neutral)
                found.append(np.where(known, neutral > self._needed_a[name], np.nan))
        return np.stack(found, axis=1)

    def places(self, along: Along) -> Array:
        """Up to where along the winding each path sees nothing of an earth fault. [-]

        Parameters
        ----------
        along : Along

        Returns
        -------
        (n, J) array
            1 where it never does, or where an element of the scheme operates on the load; NaN where
            that is not known.
        """
        ((_, phase_x, earth_x),) = critical_places(self.block, along, {})
        load = self.block.load_pickups(self.lattice)
        quiet, resolved = self._quiet(load), resolved_positions(phase_x, earth_x, load)
        own = {PHASE_ELEMENTS: phase_x[:, 0, 0], EARTH_ELEMENT: earth_x[:, 0, 0]}
        backed = self._backed
        found = [
            np.where(resolved, np.where(quiet, own[name], 1.0), np.nan)
            if name in own
            else backed[name]
            for name in self.names
        ]
        return np.stack(found, axis=1)

    def _quiet(self, before: Pickups) -> Flags:
        """Whether no element of the scheme operates before the fault, (n,)."""
        phase, earth = before.silent(*thresholds(self.lattice), len(self.lattice.delay_s))
        return np.asarray(phase[:, 0, 0] & earth[:, 0, 0])

    @property
    def _needed_a(self) -> dict[str, Array]:
        found = self.block.study.backup
        return {} if found is None else backup.operating_currents(self.block, found)

    def _neutral_a(self) -> Array:
        fault = primary.phase_phase_earth(self.block)
        return np.asarray(np.abs(fault.neutral_voltage_v / primary.neutral(self.block)))

    @property
    def _backed(self) -> dict[str, Array]:
        """The place of each back-up element."""
        needed = self._needed_a
        if not needed:
            return {}
        nodes = winding_nodes(backup.INTERVALS)
        fault = primary.earth_fault(self.block, nodes)
        carried = np.abs(fault.neutral_voltage_v / primary.neutral(self.block)[:, None])
        return {
            name: critical_position(nodes, carried / needs[:, None], [1.0])[0][:, 0]
            for name, needs in needed.items()
        }

    # --- along the winding ----------------------------------------------------

    def along(self, places: Array, cases: Sequence[Case]) -> Array:
        """Probability that each path, or nobody, clears an earth fault, over the law of its place.
        [-]

        Parameters
        ----------
        places : (n, J) array (-)
            As of `places`.
        cases : sequence of (float, float)
            Factors of failures.

        Returns
        -------
        (cases, n, `who` + 1) array (-)
            NaN where a place is not known.
        """
        cdf, n = self.block.study.internal_faults.position.cdf, len(self.block)
        known = np.where(np.isfinite(places), places, 1.0)
        ends = np.concatenate([np.zeros((n, 1)), np.sort(known, axis=1), np.ones((n, 1))], axis=1)
        up_to = np.asarray(cdf(ends))
        up_to[:, 0] = 0.0  # what the law has at the neutral itself belongs to the first stretch
        share = np.diff(up_to, axis=1)
        sees = known[:, None, :] < ends[:, 1:, None]
        times = np.where(sees, self.times_s, np.inf).reshape(-1, len(self.names))
        lost = np.isnan(places).any(axis=1)
        found = []
        for case in cases:
            each = self.first(times, *case).reshape(n, -1, len(self.who) + 1)
            mean = (share[..., None] * each).sum(axis=1)
            mean[lost] = np.nan
            found.append(mean)
        return np.stack(found)
