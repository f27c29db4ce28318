"""What gates do in time: how often each starts and holds at clearing, and how much later elements
operate on internal faults. The first samples of every type are solved once more; every gate is
judged on the same currents."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.block import Block
from montecarlo.engine.inception import in_parts, internal_fault
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.engine.waves import external_event
from montecarlo.quantities import Array, Flags
from montecarlo.relays.gates import NO_GATE
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.secondary.restraint import operating_quantity
from montecarlo.secondary.transient import Response, Window
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import Lattice, lattices_of
from montecarlo.study.description import Study
from montecarlo.study.strata import strata
from studies.waveforms.instants import least_of_next
from studies.waveforms.judging import Judging, cleared_s, pickups_a, traced

if TYPE_CHECKING:
    import pandas as pd

SAMPLES = 1024  # first samples of each type, at least one an installation
NEVER = np.inf
LATE = 0.95  # of the samples are not later than that


@dataclass(frozen=True, eq=False)
class Acted:
    """What one gate did in samples of one type, (n,) each: whether it started, NaN without a
    result; whether it held back an element at clearing, NaN where nothing is cleared; when an
    element first operates [s], infinite: never; whether one had operated before the event."""

    started: Array
    held: Array
    operates_s: Array
    before: Array

    @property
    def known(self) -> Flags:
        """Samples with a result."""
        return np.isfinite(self.started)

    @property
    def operates(self) -> Flags:
        """Samples in which an element does."""
        return np.isfinite(self.operates_s)


def gate_effects(study: Study, setting: Setting) -> pd.DataFrame:
    """A row a gate and type; a deterministic function of its arguments.

    Parameters
    ----------
    study : Study
    setting : Setting
        Of the first samples of every type, without a gate.

    Returns
    -------
    DataFrame
        `p_started`, `p_held_at_clearing`; of internal faults that are detected without a gate
        `added_delay_median_s`, `added_delay_p95_s` of those that are with it too, and `p_lost`,
        the share of those that are not; `looked_at`: samples with a result.
    """
    import pandas as pd

    job = _job(study, setting)
    rows: list[dict[str, Any]] = []
    for stratum in strata(study):
        if stratum.side is not Side.STATE:
            rows += _rows(study, job, stratum)
    return pd.DataFrame(rows)


def _job(study: Study, setting: Setting) -> Job:
    """A lattice without a gate, then one with each."""
    settings = [setting]
    for name in study.candidates.gates_in_use:
        change: dict[str, Any] = {study.candidates.key_of_gate(name): name}
        settings.append(replace(setting, **change))
    counted, earth = designs(study)
    return Job(
        study.alone,
        lattices_of(study, *settings),
        replace(counted, samples=min(counted.samples, SAMPLES)),
        replace(earth, samples=min(earth.samples, SAMPLES)),
    )


def _rows(study: Study, job: Job, stratum: Stratum) -> Iterator[dict[str, Any]]:
    found: dict[str, list[Acted]] = {}
    for chunk in job.design_of(stratum).chunks(stratum):
        for part in _parts(Block(job, chunk)):
            for name, acted in acts(part).items():
                found.setdefault(name, []).append(acted)
    free = _joined(found[NO_GATE])
    internal = stratum.side is Side.INTERNAL
    for name in study.candidates.gates_in_use:
        acted = _joined(found[name])
        # a release is on all the time until the neutral's current ends it
        started = study.candidates.key_of_gate(name) == "gate"
        yield {
            "gate": name,
            "type": stratum.kind,
            "p_started": _mean(acted.started) if started else np.nan,
            "p_held_at_clearing": _mean(acted.held) if started else np.nan,
            **(_later(free, acted) if internal else {}),
            "looked_at": int(acted.known.sum()),
        }


def _parts(block: Block) -> Iterable[Block]:
    return in_parts(block) if block.stratum.side is Side.INTERNAL else [block]


def _joined(parts: Sequence[Acted]) -> Acted:
    return Acted(
        np.concatenate([one.started for one in parts]),
        np.concatenate([one.held for one in parts]),
        np.concatenate([one.operates_s for one in parts]),
        np.concatenate([one.before for one in parts]),
    )


def _mean(values: Array) -> float:
    """Of those that are known."""
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else np.nan


def _later(free: Acted, acted: Acted) -> dict[str, float]:
    """How much a gate delays what is detected without it."""
    detected = acted.known & free.operates & (free.before == 0)
    too = detected & acted.operates
    added = acted.operates_s[too] - free.operates_s[too]
    middle = most = lost = np.nan
    if added.size:
        middle = np.median(added)
        most = np.quantile(added, LATE)
    if detected.any():
        lost = 1 - too.sum() / detected.sum()
    return {
        "added_delay_median_s": float(middle),
        "added_delay_p95_s": float(most),
        "p_lost": float(lost),
    }


# --- one block ----------------------------------------------------------------


def acts(block: Block) -> Mapping[str, Acted]:
    """What the gates of its candidates do in a block's samples, by name.

    Parameters
    ----------
    block : Block
        Of a job with candidates that differ by their gates alone.

    Returns
    -------
    mapping of Acted
    """
    external = block.stratum.side is Side.EXTERNAL
    passing = external_event(block) if external else internal_fault(block)
    window = passing[0]
    lattices = block.job.lattices
    last = lattices[-1]  # has a gate, so that all are looked at
    judged = {one: Judging.of(block, one, window) for one in lattices}
    cleared = cleared_s(block)
    found: dict[str, list[Acted]] = {}
    for at, response in traced(block, last, passing, judged[last].wanted):
        lost = ~np.isfinite(response.pickup).all(axis=(1, 2, 3))
        for lattice, own in judged.items():
            pickups = pickups_a(block, lattice, own)[at]
            acted = _acted(
                response,
                own,
                window,
                pickups,
                cleared[at],
                np.broadcast_to(own.phase, len(block))[at],
            )
            acted.started[lost] = np.nan
            name = _gate_of(lattice)
            found.setdefault(name, []).append(acted)
    return {name: _joined(parts) for name, parts in found.items()}


def _gate_of(lattice: Lattice) -> str:
    return lattice.own.gate_of("phase") or lattice.own.gate_of("earth") or NO_GATE


def _acted(
    response: Response,
    judged: Judging,
    window: Window,
    pickups: Array,
    cleared: Array,
    phase: Array,
) -> Acted:
    grid = judged.grid(window)
    lead = grid.lead
    least = judged.least(response)
    on: Flags = np.any(judged.gate_on(response), axis=1)
    after = np.full(len(pickups), NEVER)
    before = np.zeros(len(pickups))
    drop_off = judged.wanted.drop_off
    holds = judged.holds(window)
    for k, form in enumerate(judged.forms):
        quantity = operating_quantity(
            response.difference[:, k],
            response.bias[:, k],
            form,
            least[:, k],
        )
        how = pickups[:, k], holds[k], drop_off
        earlier = _operates(
            quantity[:, grid.per_cycle : lead],
            *how,
        )
        later = _operates(quantity[:, lead:], *how)
        before = np.maximum(before, np.isfinite(earlier))
        operates_s = (later + 1 - phase) * grid.step_s + judged.delays_s[k]
        after = np.minimum(after, operates_s)
    return Acted(
        on.any(axis=1).astype(float),
        _held(on[:, lead:], cleared / grid.step_s),
        after,
        before,
    )


def _held(on: Flags, cleared: Array) -> Array:
    """Whether it is on when the contacts open, at so many steps; NaN where none do."""
    opens = np.isfinite(cleared)
    step = np.where(opens, cleared, 0.0).astype(int)
    step = np.minimum(step, on.shape[1] - 1)
    held = on[np.arange(len(on)), step]
    return np.where(opens, held, np.nan)


def _operates(quantity: Array, pickups: Array, hold: int, drop_off: float) -> Array:
    """`measurement.holds_from` of every sample, (n,) from (n, steps); infinite: never. [steps]"""
    if hold >= quantity.shape[1]:
        return np.full(len(quantity), NEVER)
    least = least_of_next(quantity, hold + 1)
    picks_up = quantity[:, : least.shape[1]] > pickups[:, None]
    operates = picks_up & (least > drop_off * pickups[:, None])
    return np.where(operates.any(axis=1), operates.argmax(axis=1), NEVER)
