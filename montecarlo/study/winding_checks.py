"""The stator's coils: windings that do not exist, and what their reader should know."""

from __future__ import annotations

from collections.abc import Iterator

from montecarlo.plant.turns.catalogue import BETWEEN_PHASES, contacts
from montecarlo.plant.turns.emf import emf_faults
from montecarlo.plant.turns.layout import coils_of, winding_faults
from montecarlo.quantities import number
from montecarlo.quantities.wording import listed
from montecarlo.study.check import Caution, Check
from montecarlo.study.description import Study
from montecarlo.study.strata import schemes_of_branches


def _numbers(study: Study) -> Iterator[str]:
    if (winding := study.winding) is None:
        return
    faults = winding_faults(winding)
    if not faults and winding.table is not None:
        faults = list(emf_faults(winding))
    yield from (f"winding.{fault}" for fault in faults)


def _leakage(study: Study) -> Iterator[str]:
    """X_l is a part of X''d."""
    if (winding := study.winding) is None:
        return
    most = winding.leakage_reactance_pu.support()[1]
    least = study.machine.subtransient_reactance_pu.support()[0]
    if not most < least:
        yield (
            f"winding.leakage_reactance_pu: can be {most:g} pu, must be below"
            f" machine.subtransient_reactance_pu, which can be {least:g} pu; it is a part of that"
        )


def _turns(study: Study) -> Iterator[str]:
    turns = study.internal_faults.turns
    if study.winding is not None and turns is None:
        yield (
            "internal_faults.turns: missing; [winding] needs the table [internal_faults.turns],"
            " empty if its defaults hold"
        )
    elif study.winding is None and turns is not None:
        yield "winding: missing; [internal_faults.turns] needs the coils; add [winding]"


def _schemes(study: Study) -> Iterator[str]:
    """A scheme between groups of branches needs two groups, and faults that it may see."""
    if not (kinds := schemes_of_branches(study)):
        return
    who = f"{listed(kinds)} {'compares' if len(kinds) == 1 else 'compare'}"
    if study.winding is None:
        yield (
            f"winding: missing; {who} groups of branches; add"
            " [winding] with slots, pole_pairs, pitch, branches and turns_per_coil"
        )
    elif study.winding.branches % 2:
        yield (
            f"winding.branches: {study.winding.branches}, must be even; {who} the two"
            " halves of the branches of a phase"
        )
    elif not any(winding_faults(study.winding)):
        places = contacts(coils_of(study.winding.placing), study.winding.turns_per_coil)
        if places.of(BETWEEN_PHASES).all():
            yield (
                f"winding: no two conductors of a phase touch, but {who} groups of branches for"
                " faults between them; correct pitch and turns_per_coil, or take"
                f" {listed(kinds)} out"
            )


WINDING_CHECKS = (
    Check(_numbers, ("winding",)),
    Check(_leakage, ("winding", "machine")),
    Check(_turns, ("winding", "internal_faults")),
    Check(_schemes, ("winding", "scheme", "ct")),
)


def winding_cautions(study: Study) -> Iterator[Caution]:
    """What decides a pick-up between groups and may be unknown.

    Parameters
    ----------
    study : Study

    Yields
    ------
    Caution
    """
    winding = study.winding
    if winding is None or not schemes_of_branches(study):
        return
    standing = (winding.group_unbalance_percent, winding.circulating_percent)
    if all(one == number(0.0) for one in standing):
        yield Caution(
            "winding.group_unbalance_percent",
            "The groups of branches share all currents alike, without a standing difference. A"
            " machine has one, and it decides the finest pick-up. Give what was measured.",
        )
    third = winding.link_third_harmonic_percent
    if third == number(0.0) and study.relay.measure != "fundamental":
        yield Caution(
            "winding.link_third_harmonic_percent",
            "No third harmonic flows between the star points, but a machine has some, and"
            f' relay.measure = "{study.relay.measure}" measures it. Give what was measured, or'
            " measure the fundamental.",
        )
    if study.internal_faults.shares.inter_turn == 0:
        yield Caution(
            "internal_faults.shares.inter_turn",
            "No fault is one between turns. Schemes between groups of branches are there for them.",
        )
