"""Biased elements by hand: what the slopes add, and the ratio of differential to bias current at
which an element trips. Every input stands at its centre; amperes are those of the relay circuit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from montecarlo.relays.schemes import AXES, RESIDUAL_PAIR, Axis
from montecarlo.secondary.restraint import Bias, threshold
from montecarlo.study.candidates import biases_of, grids_of
from montecarlo.study.circuits import bias_form
from studies.nominal.ct_dimensioning import worst_of
from studies.nominal.desk import Desk, outermost
from studies.nominal.stability import left_unprotected
from studies.nominal.through import through_a
from studies.report.blocks import Block, Paragraph, Table
from studies.report.setting_words import CURRENTS

NONE = "-"
MOST_SLOPES = 8  # shown in full; above, the first and the last


def bias(desk: Desk) -> Iterator[Block]:
    """What the slopes add at rated load and at the largest through fault.

    Parameters
    ----------
    desk : Desk

    Yields
    ------
    Block
    """
    found = [
        (kind, axis)
        for kind in desk.study.scheme.kinds
        for axis in AXES
        if desk.biased(kind, axis) and _part(desk, kind, axis) > 0
    ]
    if not found:
        return
    through = [one for one in found if desk.study.scheme.bias_current_of(one[1]) != RESIDUAL_PAIR]
    if len(through) < len(found):
        yield Paragraph(
            f"{_forms(desk, found)} Of currents clear of earth, load among them, a residual pair"
            " has I_b = 0. Then nothing restrains such an element against a spill of its CTs: a"
            " release (candidates.earth_gate) holds it back."
        )
    if not through:
        return
    yield Paragraph(
        f"{_forms(desk, through)} Bias = slope x I_b; above the turning point the second slope"
        " applies. The table has the differential current that trips, in amperes secondary, first"
        " under rated load. It leaves the part x of the winding unprotected, x as above. The"
        " fault's own share of I_b is left out. The last two columns have the spill that trips in"
        " the largest through fault."
    )
    for kind, axis in through:
        yield _biased(desk, kind, axis)
    yield from _ratios(desk, through)


def _forms(desk: Desk, found: Sequence[tuple[str, Axis]]) -> str:
    """When biased elements trip and what restrains them, once where all are alike."""
    choice = desk.study.scheme
    axes = dict.fromkeys(axis for _, axis in found)
    each = {axis: (choice.bias_form_of(axis), choice.bias_current_of(axis)) for axis in axes}
    alike = len({*each.values()}) == 1
    sentences = []
    for axis, (form, current) in list(each.items())[: 1 if alike else None]:
        who = "Biased elements trip" if alike else f"A biased {axis} element trips"
        trips = "above I_set + bias" if form == "sum" else "above I_set and above bias"
        sentences.append(f"{who} {trips} ({form} form); I_b is the {CURRENTS[current]}.")
    return " ".join(sentences)


def _biased(desk: Desk, kind: str, axis: Axis) -> Table:
    ends = _ends(desk, kind, axis)
    fault_a = through_a(desk, desk.driving(kind, axis))
    load_a = ends * desk.study.machine.rated_current_a / desk.turns
    between = desk.between_groups(kind, axis)
    rows = []
    for slope in _slopes(desk, kind, axis):
        for pickup in outermost(getattr(desk.study.candidates, f"{axis}_pickup_a")):
            on_load = _trips_at(desk, axis, slope, pickup, load_a)
            on_fault = _trips_at(desk, axis, slope, pickup, ends * desk.fault_a)
            rows.append(
                (
                    _words(slope),
                    f"{pickup:g}",
                    f"{on_load:.3g}",
                    NONE if between else left_unprotected(desk.unprotected(on_load)),
                    f"{on_fault:.3g}",
                    f"{100 * on_fault / fault_a:.3g}",
                )
            )
    caption = (
        f"{kind}, {axis}: I_b = {load_a:.4g} A at rated load, {ends * desk.fault_a:.4g} A at i_f"
    )
    head = ("slope", "pick-up A", "at load A", "x", "at i_f A", "% of i_f")
    return Table(head, tuple(rows), "<>>>>>", caption)


def _ends(desk: Desk, kind: str, axis: Axis) -> float:
    """I_b over the current that passes the zone, by the ratio of the ends' CTs."""
    scheme, part = desk.scheme(kind), _part(desk, kind, axis)
    if desk.study.scheme.bias_current_of(axis) == "sum":
        return part * len(scheme.elements[scheme.of(axis)[0]].bias)
    return part


def _part(desk: Desk, kind: str, axis: Axis) -> float:
    """What the CTs of an element give of it: 1 at the ends."""
    return through_a(desk, desk.driving(kind, axis)) / desk.fault_a


def _slopes(desk: Desk, kind: str, axis: Axis) -> tuple[Bias, ...]:
    grids = next(one for one in grids_of(desk.study) if one.scheme == kind)
    slopes = tuple(bias for bias in biases_of(grids, axis) if bias is not None)
    return slopes if len(slopes) <= MOST_SLOPES else outermost(slopes)


def _trips_at(desk: Desk, axis: Axis, slope: Bias, pickup: float, bias_a: float) -> float:
    """Differential current at which an element trips, at a bias current. [A]"""
    form = bias_form(desk.study, slope, axis)
    return float(threshold(pickup, np.array([bias_a]), form)[0])


def _words(slope: Bias) -> str:
    if slope.second_slope is None:
        return f"{slope.first_slope:g}"
    return f"{slope.first_slope:g}, {slope.second_slope:g} above {slope.turning_point_a:g} A"


# --- the slope that there is --------------------------------------------------


def _ratios(desk: Desk, found: Sequence[tuple[str, Axis]]) -> Iterator[Block]:
    """I_d / I_b at which an element trips, once for elements that are alike."""
    yield Paragraph(
        "The printed slope is not the ratio I_d / I_b at which an element trips: pick-up and"
        " turning point have their part in it. The table has that ratio at rated load, in the"
        " largest current of each event above it, and in the limit of large currents."
    )
    alike: dict[tuple[Axis, float, tuple[Bias, ...]], list[str]] = {}
    for kind, axis in found:
        key = axis, _ends(desk, kind, axis), _slopes(desk, kind, axis)
        alike.setdefault(key, []).append(kind)
    for (axis, ends, slopes), kinds in alike.items():
        yield _ratio_table(desk, f"{', '.join(kinds)}, {axis}", axis, ends, slopes)


def _ratio_table(desk: Desk, who: str, axis: Axis, ends: float, slopes: tuple[Bias, ...]) -> Table:
    pickup = min(getattr(desk.study.candidates, f"{axis}_pickup_a"))
    load_a = ends * desk.study.machine.rated_current_a / desk.turns
    names = {f"{load_a:.3g}": ["rated load"]}
    currents = {f"{load_a:.3g}": load_a}
    for event, current_a in _events_a(desk, ends):
        if current_a > load_a:
            names.setdefault(f"{current_a:.3g}", []).append(event)
            currents.setdefault(f"{current_a:.3g}", current_a)
    where = "; ".join(f"{shown} A {', '.join(names[shown])}" for shown in currents)
    rows = [
        (
            _words(slope),
            *(f"{_trips_at(desk, axis, slope, pickup, a) / a:.2f}" for a in currents.values()),
            f"{slope.first_slope if slope.second_slope is None else slope.second_slope:.2f}",
        )
        for slope in slopes
    ]
    head = ("slope", *(f"{shown} A" for shown in currents), "limit")
    caption = f"{who}: I_d / I_b at a pick-up of {pickup:g} A. I_b: {where}"
    return Table(head, tuple(rows), "<" + ">" * (len(head) - 1), caption)


def _events_a(desk: Desk, ends: float) -> list[tuple[str, float]]:
    """I_b of every event that has a largest current by hand, smallest first. [A]"""
    worst = [worst_of(desk, event) for event in desk.study.external_events]
    found = [(one.event, ends * one.primary_a / desk.turns) for one in worst if one is not None]
    return sorted(found, key=lambda item: item[1])
