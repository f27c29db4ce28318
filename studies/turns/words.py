"""Words for what the winding's tables name."""

from __future__ import annotations

from montecarlo.plant.turns.catalogue import (
    BETWEEN_BRANCHES,
    BETWEEN_PHASES,
    WITHIN_BRANCH,
    WITHIN_COIL,
)

CLASS_WORDS = {
    BETWEEN_PHASES: "between phases",
    BETWEEN_BRANCHES: "between branches",
    WITHIN_BRANCH: "within a branch",
    WITHIN_COIL: "within a coil",
}
