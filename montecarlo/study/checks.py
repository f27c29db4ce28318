"""Judgement checks: what a study may well mean, and its reader should know. A sentence each, with
the numbers.

Numbers are taken at the centre (median) of each input. Nothing here stops a study."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from montecarlo.study.backup_checks import backup_cautions
from montecarlo.study.check import Caution
from montecarlo.study.clearing_checks import clearing_cautions
from montecarlo.study.description import Study
from montecarlo.study.event_cautions import EVENT_CAUTIONS
from montecarlo.study.internal_checks import evolving_cautions
from montecarlo.study.plant_cautions import PLANT_CAUTIONS
from montecarlo.study.secondary_cautions import SECONDARY_CAUTIONS
from montecarlo.study.usual import usual_cautions
from montecarlo.study.winding_checks import winding_cautions
from montecarlo.study.wiring import wiring_cautions

CAUTIONS: tuple[Callable[[Study], Iterator[Caution]], ...] = (
    wiring_cautions,
    usual_cautions,
    *PLANT_CAUTIONS,
    *SECONDARY_CAUTIONS,
    backup_cautions,
    clearing_cautions,
    *EVENT_CAUTIONS,
    evolving_cautions,
    winding_cautions,
)


def cautions(study: Study) -> list[Caution]:
    """Everything that the reader of this study should know of its inputs.

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of Caution
        In the order of `CAUTIONS`.
    """
    return [caution for check in CAUTIONS for caution in check(study)]
