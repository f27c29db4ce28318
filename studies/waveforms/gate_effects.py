"""What gates do in time: how often each starts and holds at clearing, and how much later elements
operate on internal faults. The first samples of every type are solved once more; every gate is
judged on the same currents."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
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


@dataclass(frozen=True, eq=False)
class Acted:
    """What one gate did in samples of one type, (n,) each: whether it started, NaN without a
    result; whether it held back an element at clearing, NaN where nothing is cleared; when an
    element first operates [s], infinite: never; whether one had operated before the event."""

    started: Array
    held: Array
    operates_s: Array
    before: Array


def gate_effects(study: Study, setting: Setting) -> pd.DataFrame:
    """A row a gate and type; a deterministic function of its arguments.

    Parameters
    ----------
    study : Study
    setting : Setting
        Of the first samples of every type; its own gate does not matter.

    Returns
    -------
    DataFrame
        `p_started`, `p_held_at_clearing`; of internal faults that are detected without a gate
        `added_delay_median_s`, `added_delay_p95_s` of those that are with it too, and `p_lost`,
        the share of those that are not; `looked_at`: samples with a result.
    """
    import pandas as pd

    job = _job(study, setting)
    looked_at = [one for one in strata(study) if one.side is not Side.STATE]
    return pd.DataFrame([row for one in looked_at for row in _rows(study, job, one)])


def _job(study: Study, setting: Setting) -> Job:
    """A lattice without a gate, then one with each."""
    names = (NO_GATE, *study.candidates.gates_in_use)
    counted, earth = designs(study)
    return Job(
        study.alone,
        tuple(one for name in names for one in lattices_of(study, replace(setting, gate=name))),
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
    for name in study.candidates.gates_in_use:
        acted = _joined(found[name])
        row: dict[str, Any] = {"gate": name, "side": stratum.side.value, "type": stratum.kind}
        row |= {"p_started": _mean(acted.started), "p_held_at_clearing": _mean(acted.held)}
        internal = stratum.side is Side.INTERNAL
        row |= _later(free, acted) if internal else {}
        yield row | {"looked_at": int(np.isfinite(acted.started).sum())}


def _parts(block: Block) -> Iterable[Block]:
    return in_parts(block) if block.stratum.side is Side.INTERNAL else [block]


def _joined(parts: Iterable[Acted]) -> Acted:
    every = ((one.started, one.held, one.operates_s, one.before) for one in parts)
    return Acted(*map(np.concatenate, zip(*every, strict=True)))


def _mean(values: Array) -> float:
    """Of those that are known."""
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else np.nan


def _later(free: Acted, acted: Acted) -> dict[str, float]:
    """How much a gate delays what is detected without it."""
    known = np.isfinite(acted.started)
    detected = known & (free.operates_s < NEVER) & (free.before == 0)
    too = detected & (acted.operates_s < NEVER)
    added = acted.operates_s[too] - free.operates_s[too]
    middle, most = np.quantile(added, [0.5, 0.95]).tolist() if added.size else (np.nan, np.nan)
    lost = 1 - too.sum() / detected.sum() if detected.any() else np.nan
    return {"added_delay_median_s": middle, "added_delay_p95_s": most, "p_lost": float(lost)}


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
    window, lattices = passing[0], block.job.lattices
    judged = {one: Judging.of(block, one, window) for one in lattices}
    last = lattices[-1]  # has a gate, so that all are looked at
    cleared = cleared_s(block) if external else np.full(len(block), np.nan)
    found: dict[str, list[Acted]] = {}
    for at, response in traced(block, last, passing, judged[last].wanted):
        lost = ~np.isfinite(response.pickup).all(axis=(1, 2, 3))
        for lattice, own in judged.items():
            pickups = pickups_a(block, lattice, own)[at]
            acted = _acted(response, own, window, pickups, cleared[at], lattice)
            unknown = replace(acted, started=np.where(lost, np.nan, acted.started))
            found.setdefault(lattice.own.gate or NO_GATE, []).append(unknown)
    return {name: _joined(parts) for name, parts in found.items()}


def _acted(
    response: Response,
    judged: Judging,
    window: Window,
    pickups: Array,
    cleared: Array,
    lattice: Lattice,
) -> Acted:
    lead, rows = window.lead, np.arange(len(pickups))
    least = judged.least(response)
    on: Flags = np.any(least > 0, axis=1)
    at = np.clip(np.floor(cleared / window.step_s), 0, window.steps - lead - 1)
    held = on[rows, lead + np.where(np.isfinite(at), at, 0).astype(int)]
    after, before = np.full(len(pickups), NEVER), np.zeros(len(pickups))
    drop_off, holds = judged.wanted.drop_off, judged.holds(window)
    for k, form in enumerate(judged.forms):
        quantity = operating_quantity(
            response.difference[:, k], response.bias[:, k], form, least[:, k]
        )
        earlier, later = (
            _operates(part, pickups[:, k], holds[k], drop_off)
            for part in (quantity[:, window.per_cycle : lead], quantity[:, lead:])
        )
        before = np.maximum(before, np.isfinite(earlier))
        after = np.minimum(after, (later + 1) * window.step_s + judged.delays_s[k])
    return Acted(
        on.any(axis=1).astype(float),
        np.where(np.isfinite(cleared), held, np.nan),
        after,
        before,
    )


def _operates(quantity: Array, pickups: Array, hold: int, drop_off: float) -> Array:
    """`measurement.holds_from` of every sample, (n,) from (n, steps); infinite: never. [steps]"""
    if hold >= quantity.shape[1]:
        return np.full(len(quantity), NEVER)
    least = least_of_next(quantity, hold + 1)
    picks_up = quantity[:, : least.shape[1]] > pickups[:, None]
    operates = picks_up & (least > drop_off * pickups[:, None])
    return np.where(operates.any(axis=1), operates.argmax(axis=1), NEVER)
