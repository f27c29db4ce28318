"""Shares of faults between phases and between turns as the winding's places have them, put in while
the file is read: all that follows knows one set of shares."""

from __future__ import annotations

from montecarlo.plant.turns.catalogue import BETWEEN_PHASES, contacts
from montecarlo.plant.turns.currents import TurnFaults
from montecarlo.plant.turns.layout import coils_of, winding_faults
from montecarlo.study.description import Study
from montecarlo.study.grids import without_dust

TABLES = frozenset({"winding", "internal_faults"})  # what they need


def with_catalogue_shares(study: Study, sound: frozenset[str]) -> tuple[Study, list[str]]:
    """The study with shares.phase_phase and shares.inter_turn divided as the catalogue's weights
    are, where it asks for that.

    Parameters
    ----------
    study : Study
    sound : frozenset of str
        Its tables without a fault.

    Returns
    -------
    Study
        The same where nothing is asked for, or a table is not sound.
    list of str
        What is wrong, a line each.
    """
    if not sound >= TABLES:
        return study, []
    winding, faults = study.winding, study.internal_faults
    turns = faults.turns
    if winding is None or turns is None or any(winding_faults(winding)):
        return study, []
    if not (turns.voltage_exponent or turns.shares_from_catalogue):
        return study, []
    places = contacts(coils_of(winding.placing), winding.turns_per_coil)
    weights, apart = TurnFaults(places).weights(turns.voltage_exponent), places.of(BETWEEN_PHASES)
    if not apart.all() and not weights[~apart].any():
        return study, [
            f"internal_faults.turns.voltage_exponent: {turns.voltage_exponent:g}, must be 0; no two"
            " conductors of a phase that touch have a voltage between them"
        ]
    if not turns.shares_from_catalogue:
        return study, []
    total = faults.shares.phase_phase + faults.shares.inter_turn
    if total == 0:
        return study, [
            "internal_faults.turns.shares_from_catalogue: true, but shares.phase_phase and"
            " shares.inter_turn are both 0 and must sum to more; give what they sum to, or take"
            " the key out"
        ]
    # without last bits, which differ between processors: the study's digest has the shares
    within = without_dust(total * float(weights[~apart].sum() / weights.sum()))
    divided = {"phase_phase": without_dust(total - within), "inter_turn": within}
    shares = faults.shares.model_copy(update=divided)
    return study.model_copy(
        update={"internal_faults": faults.model_copy(update={"shares": shares})}
    ), []
