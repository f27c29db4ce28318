"""What each gate changes in every type: a setting with it minus the same without one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from montecarlo.engine.run import Outcome
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.compare import difference_of_type, level_of
from montecarlo.frames.batches import number_of
from montecarlo.frames.choosing import common_batch
from montecarlo.frames.limits import difference_columns, limit_columns
from montecarlo.relays.gates import NO_GATE
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.study.axes import Setting

if TYPE_CHECKING:
    import pandas as pd

GATES = ("gate", "earth_gate")
QUANTITY = {Side.EXTERNAL: "p_false", Side.INTERNAL: "p_missed"}


def fastest(outcome: Outcome, shown: Setting) -> Setting | None:
    """A setting without a gate and with the least delay of the candidates: a gate holds back what
    would trip at once.

    Parameters
    ----------
    outcome : Outcome
    shown : Setting
        What is otherwise like it.

    Returns
    -------
    Setting or None
        None where no such candidate was judged.
    """
    least = min(one.delay_s for one in outcome.settings)
    none: dict[str, Any] = {key: NO_GATE for key in GATES if getattr(shown, key) is not None}
    found = replace(shown, **none, delay_s=least)
    return found if none and found in outcome.settings else None


def gate_rows(outcome: Outcome, without: Setting) -> pd.DataFrame:
    """A row a gate and type of fault or event: how often the setting misses or trips without the
    gate and with it, and the paired difference, whose limits hold for all rows together.

    Parameters
    ----------
    outcome : Outcome
    without : Setting
        As `fastest` gave it.

    Returns
    -------
    DataFrame
    """
    import pandas as pd

    candidates = outcome.study.candidates
    keys = {name: candidates.key_of_gate(name) for name in candidates.gates_in_use}
    pairs = {name: _with(without, key, name) for name, key in keys.items()}
    types = _types(outcome)
    level = level_of(len(pairs) * len(types))
    rows: list[dict[str, Any]] = []
    for name, gated in pairs.items():
        if gated in outcome.settings:
            rows += _rows(
                outcome,
                name,
                (gated, without),
                level,
            )
    return pd.DataFrame(rows)


def _with(setting: Setting, key: str, gate: str) -> Setting:
    changes: dict[str, Any] = {key: gate}
    return replace(setting, **changes)


def _types(outcome: Outcome) -> list[Stratum]:
    """External events, then internal faults."""
    weights = weights_of(outcome.study)
    events = [name for name in weights.external if name.side is Side.EXTERNAL]
    return [*events, *weights.internal]


def _rows(
    outcome: Outcome, gate: str, pair: tuple[Setting, Setting], level: float
) -> Iterator[dict[str, Any]]:
    if (batch := common_batch(outcome, *pair)) is None:
        return
    study, places = outcome.study, [batch.settings.index(one) for one in pair]
    for name in _types(outcome):
        found = batch.strata[name].estimate()
        gap = difference_of_type(study, batch.strata, name, places, level)
        difference = difference_columns(gap)
        del difference["verdict"]
        yield {
            "gate": gate,
            "type": name.kind,
            "quantity": QUANTITY[name.side],
            **limit_columns("p_without", found, places[1]),
            **limit_columns("p_with", found, places[0]),
            **difference,
            "candidate_with": number_of(outcome, pair[0]),
            "candidate_without": number_of(outcome, pair[1]),
            "batch": batch.number,
        }
