"""The back-up elements in words: by hand for `check`, and what a run found of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.formulas import handcalc
from montecarlo.quantities.wording import listed
from montecarlo.relays.backup import Backup, NeutralCurrent
from studies.nominal.desk import Desk
from studies.report.blocks import Block, Paragraph
from studies.report.numbers import a_year, percent, with_limits

if TYPE_CHECKING:
    import pandas as pd


def backup_by_hand(desk: Desk) -> list[Block]:
    """The part of the winding that each back-up element leaves, by the classic formula.

    Parameters
    ----------
    desk : Desk

    Returns
    -------
    list of Block
    """
    backup, emf, rated = desk.study.backup, desk.emf_v, desk.study.machine.phase_voltage_v
    if backup is None:
        return []
    ohm = float(abs(desk.own_neutral_ohm))
    parts = []
    for name, operating_a in backup.operating_a(desk.samples, desk.own_neutral_ohm, rated).items():
        amperes = float(operating_a[0])
        volts = amperes * ohm
        left = float(handcalc.displacement_fraction(volts, emf))
        formula = (
            f"I R_N / E = {amperes:.4g} A x {ohm:.4g} ohm / {emf:.4g} V"
            if name.endswith("current")
            else f"V / E = {volts:.4g} V / {emf:.4g} V"
        )
        parts.append(f"{_words(name)} {formula} = {percent(left) if left < 1 else 'all of it'}")
    text = (
        "Part of the winding, from the neutral, where a bolted earth fault does not operate the"
        f" neutral back-up: {'; '.join(parts)}. Winding impedance and capacitance are left out."
    )
    return [Paragraph(text)]


def backup_found(
    backup: Backup, table: pd.DataFrame, row: Mapping[str, Any], role: str
) -> list[Block]:
    """What a candidate misses and the back-up catches, and what nobody catches.

    Parameters
    ----------
    backup : Backup
    table : DataFrame
        backup.csv.
    row : mapping
        Of the candidate.
    role : str
        What to call it.

    Returns
    -------
    list of Block
    """
    caught = percent(row["p_backup_only"], 3)
    missed, nobody = percent(row["p_missed"], 3), with_limits(row, "p_nobody")
    text = (
        f"Neutral back-up: {elements(backup)}. Of the faults in scope {role} misses {missed}; the"
        f" back-up clears {caught}. With sound parts nobody clears {nobody},"
        f" {a_year(row['nobody_per_year'])} a year."
    )
    events = table[table["side"] == "external"].to_dict("records")
    if events:
        shares = listed(map(_at, events))
        text += f" Of the external events the back-up operates on {shares}."
    else:
        text += (
            " No external event of the study drives a current through the neutral, so the back-up"
            " operates on none."
        )
    return [Paragraph(f"{text} None of this enters the choice.")]


def _at(event: Mapping[str, Any]) -> str:
    if event["p_operates"] == 0:
        return (
            f"none of {event['samples']} {event['type']} (at most"
            f" {percent(event['p_operates_high'])})"
        )
    return f"{with_limits(event, 'p_operates', 3)} of {event['type']}"


def elements(backup: Backup) -> str:
    """Each element with its setting.

    Parameters
    ----------
    backup : Backup

    Returns
    -------
    str
    """
    return listed(
        (
            f"{_words(name)} {element.pickup_a:g} A after {element.delay_s:g} s"
            if isinstance(element, NeutralCurrent)
            else f"{_words(name)} {element.pickup_percent:g} % after {element.delay_s:g} s"
        )
        for name, element in backup.elements.items()
    )


def _words(name: str) -> str:
    return name.replace("_", " ")
