"""The winding in words: for `check`, and which turn fault a run's pick-ups leave unseen."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.plant.turns.catalogue import WITHIN_PHASE
from montecarlo.quantities.wording import listed
from montecarlo.study.description import Study
from montecarlo.study.strata import sees_turns
from studies.report.blocks import Block, Table, items
from studies.report.numbers import percent, with_limits
from studies.report.words import scheme_name
from studies.turns.faults import Measured, OfWinding, standing_a
from studies.turns.frames import ALL, catalogue_frame, turn_fault_frame
from studies.turns.words import CLASS_WORDS, span_text

if TYPE_CHECKING:
    import pandas as pd

# --- by hand ------------------------------------------------------------------


def winding_by_hand(study: Study) -> list[Block]:
    """Numbers of the winding, places of possible faults, and what they carry.

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of Block
        Empty without a winding.
    """
    if study.winding is None:
        return []
    of = OfWinding(study)
    return [*items(_facts(of)), _counts(of), _currents(of)]


def _facts(of: OfWinding) -> Iterator[str]:
    winding, (spread, pitch) = of.winding, of.factors
    yield (
        f"{winding.slots} slots, {2 * winding.pole_pairs} poles, q = {of.belt_slots:.4g};"
        f" {span_text(of.contacts.coils)}. k_d = {spread:.4f}, k_p = {pitch:.4f}, k_w ="
        f" {spread * pitch:.4f}."
    )
    yield (
        f"A branch has {winding.coils_in_series} coils and {of.branch_turns} turns in series,"
        f" {of.turn_v:.4g} V a turn, and carries {of.branch_a:.4g} A at rated load."
    )
    yield from weights_text(of)
    turn_a = of.one_turn * of.branch_a
    yield (
        f"One shorted turn carries {of.one_turn:.3g} times that in closed form, {turn_a:.4g} A. Its"
        f" branch then makes the groups differ by {turn_a / of.branch_turns:.3g} A,"
        f" {100 * turn_a / of.branch_turns / of.study.machine.rated_current_a:.2g} % of the"
        " machine's rated current."
    )
    for one in of.measured:
        yield (
            f"{scheme_name(one.scheme)}: without a fault, at rated load, 95 % of the installations"
            f" keep below {standing_a(one):.3g} A primary ({standing_a(one) / one.ratio:.3g} A"
            f" secondary). The weakest bolted fault within a phase gives"
            f" {one.faults_a.min():.3g} A."
        )


def weights_text(of: OfWinding) -> Iterator[str]:
    """How places are weighted, and which shares come of that; nothing where all are alike and the
    shares are the study's.

    Parameters
    ----------
    of : OfWinding

    Yields
    ------
    str
    """
    faults = of.study.internal_faults
    if of.exponent:
        yield (
            "A place of a possible fault is as likely as the voltage between its conductors to the"
            f" power {of.exponent:g} (voltage_exponent)."
        )
    if faults.turns is not None and faults.turns.shares_from_catalogue:
        by = "number and voltage" if of.exponent else "number"
        yield (
            f"The winding's places, by their {by}, divide faults between phases and between turns"
            f" (shares_from_catalogue): shares.phase_phase {percent(faults.shares.phase_phase, 3)},"
            f" shares.inter_turn {percent(faults.shares.inter_turn, 3)}. Other shares are as"
            " stated."
        )


def _counts(of: OfWinding) -> Table:
    rows = [
        (
            str(row["place"]).replace("_", " "),
            CLASS_WORDS[str(row["class"])],
            without_exponent(row["voltage_v"]),
            f"{row['count']:d}",
            percent(float(row["count_share"])),
            *([percent(float(row["weight_share"]))] if of.exponent else []),
        )
        for row in catalogue_frame(of).to_dict("records")
    ]
    weighted = ["by weight"] if of.exponent else []
    head = ("place", "class", "median V", "places", "share", *weighted)
    caption = "Places of a possible fault, each counted once"
    return Table(head, tuple(rows), "<<" + ">" * (len(head) - 2), caption)


def _currents(of: OfWinding) -> Table:
    rows = []
    for row in turn_fault_frame(of).to_dict("records"):
        fault, apart = (_range(row, name) for name in ("fault_current_{}_pu", _APART))
        name = CLASS_WORDS.get(str(row["class"]), "one turn")
        rows.append((name, _GAPS[str(row["gap"])], fault, apart))
    head = ("class", "by", "current, x rated branch", "groups differ by A")
    caption = "Bolted faults within a phase, least to most, every input at its centre"
    return Table(head, tuple(rows), "<<>>", caption)


_APART = "group_difference_{}_a"
_GAPS = {"shielded": "X''d", "unshielded": "Xd", "closed_form": "closed form"}


def _range(row: Mapping[str, Any], name: str) -> str:
    least, most = (without_exponent(row[name.format(end)]) for end in ("least", "most"))
    return least if least == most else f"{least} to {most}"


def without_exponent(value: float) -> str:
    """Three figures; whole from 1,000 on."""
    return f"{value:.0f}" if value >= 999.5 else f"{value:.3g}"


# --- after a run --------------------------------------------------------------


def unseen_text(of: OfWinding, frame: pd.DataFrame) -> list[Block]:
    """Which turn fault stays unseen at which pick-up, and what the finer pick-up meets.

    Parameters
    ----------
    of : OfWinding
    frame : DataFrame
        turn_faults_unseen.csv.

    Returns
    -------
    list of Block
    """
    return [block for one in of.measured for block in items(_answers(one, frame))]


def _answers(one: Measured, frame: pd.DataFrame) -> Iterator[str]:
    rows = frame[(frame["scheme"] == one.scheme) & (frame["element"] == one.axis)]
    if not len(rows):
        return
    name = scheme_name(one.scheme)
    every = rows[rows["class"] == ALL]
    seeing = every.loc[every["unseen_share"] == 0, ["pickup_a", "pickup_primary_a"]]
    if len(seeing):
        pickup_a, primary_a = seeing.iloc[-1]
        yield (
            f"{name}: up to a pick-up of {pickup_a:g} A ({primary_a:.3g} A primary) no bolted turn"
            " fault stays unseen, every input at its centre."
        )
    else:
        yield f"{name}: every pick-up leaves some bolted turn faults unseen."
    for _, row in every[every["unseen_share"] > 0].iloc[:1].iterrows():
        mine = rows[rows["pickup_a"] == row["pickup_a"]].set_index("class")["unseen_share"]
        left = listed(
            f"{_share(mine[kind])} of those {CLASS_WORDS[kind]}"
            for kind in WITHIN_PHASE
            if kind in mine and mine[kind] > 0
        )
        yield f"{name}: a pick-up of {row['pickup_a']:g} A leaves unseen {left}."
    yield _price(one, name, every)


def _share(share: float) -> str:
    return "all" if share == 1 else percent(share, 3)


def _price(one: Measured, name: str, every: pd.DataFrame) -> str:
    finest = every.iloc[0]
    above = float(finest["standing_above_share"])
    if above > 0:
        return (
            f"{name}: at the finest pick-up, {finest['pickup_a']:g} A, {percent(above, 3)} of the"
            " installations trip at rated load without a fault."
        )
    most = float(np.max(one.standing_a))
    return (
        f"{name}: at rated load without a fault no installation exceeds the finest pick-up,"
        f" {finest['pickup_a']:g} A; the largest has {most / one.ratio:.3g} A."
    )


def missed_text(frame: pd.DataFrame, chosen: int | None) -> Iterator[str]:
    """Which class of faults between turns the chosen setting misses, by the samples.

    Parameters
    ----------
    frame : DataFrame
        turn_faults_missed.csv.
    chosen : int or None
        Number of the candidate.

    Yields
    ------
    str
        Nothing without a choice, or where no sample has a result.
    """
    rows = frame[(frame["candidate"] == chosen) & frame["p_missed"].notna()].to_dict("records")
    if not rows:
        return
    if all(row["p_missed"] == 1 for row in rows):
        yield f"Setting no. {chosen} misses every sampled fault between turns."
        return
    parts = listed(
        f"{with_limits(row, 'p_missed')} of those {CLASS_WORDS[row['class']]}" for row in rows
    )
    yield f"Of the sampled faults between turns setting no. {chosen} misses {parts}."
    most = max(rows, key=lambda row: row["share"] * row["p_missed"])
    if most["p_missed"] > 0:
        every = sum(row["share"] * row["p_missed"] for row in rows)
        yield (
            f"Those {CLASS_WORDS[most['class']]} are {percent(most['share'])} of all faults between"
            f" turns and {percent(most['share'] * most['p_missed'] / every)} of the missed ones."
        )


def left_out(study: Study, row: Mapping[str, Any]) -> Iterator[str]:
    """That missed faults do not count turn faults, and how many there are with them.

    Parameters
    ----------
    study : Study
    row : mapping
        Of a candidate.

    Yields
    ------
    str
        Nothing where p_missed counts them, or without a winding.
    """
    faults = study.internal_faults
    counted = faults.turns is not None and faults.turns.count_in_p_missed and sees_turns(study)
    if study.winding is None or not faults.shares.inter_turn or counted:
        return
    yield (
        "Missed faults (p_missed) leave out those between turns,"
        f" {percent(faults.shares.inter_turn)} of all internal faults."
    )
    if "p_missed_all" in row:
        yield f"With them {percent(row['p_missed_all'], 3)} are missed (p_missed_all)."
