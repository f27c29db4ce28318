"""CT dimensioning by hand: what a fully offset current of every external event asks of the CTs of
each end, and when they saturate.

The current is the one of the stability calculation: the event at the worst that can be drawn, all
else at its centre. Volts, amperes and ohms are the CT's own, before ratio matching."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from montecarlo.formulas.ct_dimensioning import (
    offset_knee,
    saturation_factor,
    saturation_time,
    saturation_time_by_formula,
    transient_factor,
)
from montecarlo.plant.events.base import Event
from montecarlo.quantities import Distribution
from montecarlo.quantities.wording import listed
from montecarlo.relays.places import BRANCH_GROUPS, ENDS, GROUP_OF, NEUTRAL_CONDUCTOR
from montecarlo.secondary.ct import CurrentTransformer
from montecarlo.study.nominal import Nominal
from studies.nominal.desk import Desk
from studies.nominal.gate_start import TOLD, has_started, needed_factor, time_difference
from studies.nominal.through import through_share
from studies.report.blocks import Block, Paragraph, Table

if TYPE_CHECKING:
    import pandas as pd

LEAST = ("external_reactance_pu", "fault_resistance_ohm")  # of an event at its worst
LARGE_RATIO = 40  # X/R from which a DC component is one of a machine


@dataclass(frozen=True)
class Worst:
    """An event at the worst that can be drawn."""

    event: str
    primary_a: float  # AC component of the first cycle, RMS
    direct_s: float  # time constant of the DC component; 0 without one
    cleared_after_s: float  # the longest
    to_earth: bool


@dataclass(frozen=True)
class Dimensioning:
    """CTs of one end in one event, with one remanence."""

    ct: str  # fields are columns of ct_dimensioning.csv
    event: str
    remanence_percent: float
    current_a: float  # secondary, RMS
    burden_v: float  # V
    knee_v: float
    saturation_factor: float  # K_s of what remanence leaves
    x_over_r: float
    cleared_after_s: float
    transient_factor: float  # K_td up to clearing
    required_knee_v: float
    formula_s: float  # time to saturation; infinite: never
    saturates_after_s: float
    start_factor: float  # K_s that lasts until a time-difference gate has started; NaN without one

    @property
    def saturates(self) -> bool:
        """Whether it does before the event is cleared."""
        return self.saturates_after_s < self.cleared_after_s


# --- worked out ---------------------------------------------------------------


def worst_of(desk: Desk, event: Event) -> Worst | None:
    """The event at the worst that can be drawn; None where it is no sinusoid with an offset.

    Parameters
    ----------
    desk : Desk
    event : Event
        One of the study's.

    Returns
    -------
    Worst or None
    """
    prefix = f"external_events.{event.name}"
    least = {f"{prefix}.{key}": getattr(event, key, None) for key in LEAST}
    changes = {key: given.support()[0] for key, given in least.items() if given is not None}
    worst = Nominal(desk.study, changes)
    if (by_hand := desk.by_hand(event)) is not None:
        primary_a = by_hand[0] * desk.study.machine.rated_current_a
    elif (found := event.first_cycle_a(worst.scene(event))) is not None:
        primary_a = found
    else:
        return None
    clearing: Distribution | None = getattr(event, "clearing_time_s", None)
    after_s = event.lasts_s(worst.scene(event)) if clearing is None else clearing.support()[1]
    return Worst(event.name, primary_a, worst.direct_s(event) or 0.0, after_s, event.to_earth)


def ends_of(desk: Desk) -> list[str]:
    """The tables of [ct] whose CTs an element measures and a through-current passes.

    Parameters
    ----------
    desk : Desk

    Returns
    -------
    list of str
    """
    found: dict[str, None] = {}
    for kind in desk.study.scheme.kinds:
        scheme = desk.scheme(kind)
        for element in scheme.elements:
            columns = {*np.flatnonzero(scheme.table[element.leg]).tolist(), *element.bias}
            found |= dict.fromkeys(GROUP_OF[scheme.places[column]] for column in sorted(columns))
    return [group for group in found if group != NEUTRAL_CONDUCTOR and through_share(group)]


def dimensioning(desk: Desk) -> list[Dimensioning]:
    """Every end whose CTs have a core, every event with an offset: without remanence, and with the
    largest that can be drawn where there is any.

    Parameters
    ----------
    desk : Desk

    Returns
    -------
    list of Dimensioning
    """
    events = [worst_of(desk, event) for event in desk.study.external_events]
    return [
        _of(desk, group, ct, worst, percent)
        for group in ends_of(desk)
        if not _ideal(ct := desk.study.ct.at(group))
        for worst in events
        if worst is not None
        for percent in dict.fromkeys((0.0, _remanence_percent(ct)))
    ]


def _ideal(ct: CurrentTransformer) -> bool:
    return ct.knee_current_a.centre() == 0


def _remanence_percent(ct: CurrentTransformer) -> float:
    """The largest that can be drawn, either way."""
    return float(max(map(abs, ct.remanence_percent.support())))


def _of(
    desk: Desk, group: str, ct: CurrentTransformer, worst: Worst, remanence_percent: float
) -> Dimensioning:
    omega, remanence = desk.study.machine.omega, remanence_percent / 100
    current_a = worst.primary_a * through_share(group) / ct.turns_ratio
    volts = current_a * (ct.winding_resistance_ohm.centre() + _leads_ohm(desk, ct, worst.to_earth))
    knee_v, x_over_r = ct.knee_voltage_v.centre(), omega * worst.direct_s
    factor = float(saturation_factor(knee_v, volts, remanence))
    asked = (
        transient_factor(worst.cleared_after_s, omega, worst.direct_s) if worst.direct_s else 1.0
    )
    return Dimensioning(
        group,
        worst.event,
        remanence_percent,
        current_a,
        volts,
        knee_v,
        factor,
        x_over_r,
        worst.cleared_after_s,
        float(asked),
        float(offset_knee(volts, x_over_r, remanence)),
        float(saturation_time_by_formula(factor, x_over_r, omega)),
        float(saturation_time(factor, x_over_r, omega)),
        needed_factor(desk.study, worst.primary_a),
    )


def _leads_ohm(desk: Desk, ct: CurrentTransformer, to_earth: bool) -> float:
    """Once where the currents of an end sum to zero; an earth fault comes back through the return
    core, a second lead where none is given, as in six-wire leads."""
    lead, core = ct.lead_resistance_ohm.centre(), ct.return_core_ohm.centre()
    if desk.study.scheme.leads == "six_wire":
        return 2 * lead
    return lead + to_earth * (core or lead)


def dimensioning_frames(desk: Desk) -> dict[str, pd.DataFrame]:
    """The table ct_dimensioning.csv, where there is anything in it; a time is empty where the CTs
    never saturate.

    Parameters
    ----------
    desk : Desk

    Returns
    -------
    dict of str to DataFrame
    """
    import pandas as pd

    if not (rows := [vars(row) for row in dimensioning(desk)]):
        return {}
    frame = pd.DataFrame(rows).replace(np.inf, np.nan)
    if not time_difference(desk.study):
        frame = frame.drop(columns="start_factor")
    return {"ct_dimensioning": frame}


# --- in words -----------------------------------------------------------------


def ct_dimensioning(desk: Desk) -> Iterator[Block]:
    """What is asked of the CTs of each end, and a verdict on each event.

    Parameters
    ----------
    desk : Desk

    Yields
    ------
    Block
    """
    if not (rows := dimensioning(desk)):
        return
    yield Paragraph(
        "CT dimensioning for currents with full offset. V = I_f (R_ct + R_lead) for the largest"
        " current of each event, the machine at its centre; K_s = V_k / V. Remanence leaves K_s (1"
        " - remanence). X/R is w T of this current's DC component. V_k asked is"
        " V (1 + X/R) / (1 - remanence): such a core never saturates. K_td is the K_s that"
        " lasts until clearing. The time to saturation is given by the usual formula"
        " and by the flux itself. Leads count twice"
        f"{'' if desk.study.scheme.leads == 'six_wire' else ' in an earth fault, else once'}."
        f"{TOLD if time_difference(desk.study) else ''}"
    )
    for groups, mine in _alike(rows).items():
        yield _table(desk, groups, mine)
    if facts := " ".join(_facts(desk, rows)):
        yield Paragraph(facts)


def _alike(rows: list[Dimensioning]) -> dict[tuple[str, ...], list[Dimensioning]]:
    """Rows by the ends that they hold for."""
    found: dict[tuple[Dimensioning, ...], list[str]] = {}
    for group in dict.fromkeys(row.ct for row in rows):
        nameless = tuple(replace(row, ct="") for row in rows if row.ct == group)
        found.setdefault(nameless, []).append(group)
    return {tuple(groups): list(mine) for mine, groups in found.items()}


def _words(groups: Iterable[str]) -> str:
    return listed(group.replace("_", " ") for group in groups)


def _table(desk: Desk, groups: tuple[str, ...], rows: list[Dimensioning]) -> Table:
    ct = desk.study.ct.at(groups[0])
    lead, winding = ct.lead_resistance_ohm.centre(), ct.winding_resistance_ohm.centre()
    where = "both ends" if groups == ENDS else _words(groups)
    caption = (
        f"CTs, {where}: V_k = {rows[0].knee_v:.4g} V, R_ct = {winding:.4g} ohm, one-way lead"
        f" {lead:.4g} ohm"
    )
    head = (
        "event",
        "remanence %",
        "I_f A",
        "V",
        "K_s",
        "K_td",
        "X/R",
        "V_k asked V",
        "formula ms",
        "flux ms",
    )
    cells: list[tuple[str, ...]] = []
    for event in dict.fromkeys(row.event for row in rows):
        mine = [row for row in rows if row.event == event]
        verdict = f"{event}: {_verdict(mine[-1])}"
        cells += [(verdict, *_cells(row, row is mine[0])) for row in mine]
    return Table(head, tuple(cells), "<" + ">" * (len(head) - 1), caption, group=0)


def _verdict(worst: Dimensioning) -> str:
    """When it saturates, and whether a gate has started by then."""
    words = _saturates(worst)
    if worst.saturates:
        words += has_started(worst.saturation_factor, worst.start_factor)
    return words


def _saturates(worst: Dimensioning) -> str:
    if worst.saturates:
        return f"saturates after {_shown(1000 * worst.saturates_after_s)} ms at worst"
    if np.isinf(worst.saturates_after_s):
        return "never saturates"
    return (
        f"does not saturate before it is cleared, {_shown(1000 * worst.cleared_after_s)} ms at most"
    )


def _cells(row: Dimensioning, first: bool) -> tuple[str, ...]:
    """What remanence does not change stands in the first row alone."""
    return (
        f"{row.remanence_percent:g}",
        f"{row.current_a:.3g}" if first else "",
        f"{row.burden_v:.3g}" if first else "",
        _shown(row.saturation_factor),
        f"{row.transient_factor:.3g}" if first else "",
        f"{row.x_over_r:.3g}" if first else "",
        _shown(row.required_knee_v),
        _shown(1000 * row.formula_s),
        _shown(1000 * row.saturates_after_s),
    )


def _shown(value: float) -> str:
    """Three figures, whole from 1,000 to a million; none of what has no limit."""
    if np.isinf(value):
        return "-"
    return f"{value:.0f}" if 999.5 <= value < 1e6 else f"{value:.3g}"


def _facts(desk: Desk, rows: list[Dimensioning]) -> Iterator[str]:
    """What a reader must know of these numbers."""
    if any(row.required_knee_v > row.knee_v and row.x_over_r > LARGE_RATIO for row in rows):
        yield (
            "The DC component of a machine decays with 0.15 to 0.3 s, so its X/R is some 50 to 110."
            " Hardly any CT meets 1 + X/R then. This is a fact, not a fault of these CTs."
        )
    cts = [desk.study.ct.at(group) for group in dict.fromkeys(row.ct for row in rows)]
    if any(vars(ct)["class"] is not None for ct in cts):
        yield (
            "A class states the least that a core must do. By how much a core is larger is an"
            " assumption of the study (knee_factor)."
        )
    if ideal := [group for group in ends_of(desk) if group not in {row.ct for row in rows}]:
        yield f"CTs without exciting current never saturate: {_words(ideal)}."
    if any(row.ct in BRANCH_GROUPS for row in rows):
        yield "CTs of a group of branches carry half of a through-current."
    known = {row.event for row in rows}
    if left := [event.name for event in desk.study.external_events if event.name not in known]:
        yield f"No such formula holds for {listed(left)}; a run solves it in time."
