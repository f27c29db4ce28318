"""Words for what the winding's tables name."""

from __future__ import annotations

from montecarlo.plant.turns.catalogue import (
    BETWEEN_BRANCHES,
    BETWEEN_PHASES,
    WITHIN_BRANCH,
    WITHIN_COIL,
)
from montecarlo.plant.turns.layout import Coils

CLASS_WORDS = {
    BETWEEN_PHASES: "between phases",
    BETWEEN_BRANCHES: "between branches",
    WITHIN_BRANCH: "within a branch",
    WITHIN_COIL: "within a coil",
}


def span_text(coils: Coils) -> str:
    """How far coils reach.

    Parameters
    ----------
    coils : Coils

    Returns
    -------
    str
    """
    least, most = coils.span.min(), coils.span.max()
    spans = f"{least}" if least == most else f"{least} to {most}"
    return f"coils span {spans} of {coils.pole_pitch:.4g} slots"
