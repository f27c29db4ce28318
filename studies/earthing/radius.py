"""How far inputs may be off before another option is the best by what the answer is decided by."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from montecarlo.engine.clearing import Clearing, wanted
from montecarlo.engine.clearing_radius import BestOption, Turn, radius_of_best, radius_size
from montecarlo.engine.stages import Stage
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.intervals import Estimate
from montecarlo.frames.annual_cost import cost_per_year
from montecarlo.frames.best_option import centre_at, half_widths
from montecarlo.frames.clearing import ClearingFrames
from montecarlo.frames.limits import with_limits
from montecarlo.sampling.stratum import EARTH, Stratum
from montecarlo.study.description import Study
from montecarlo.study.strata import internal_shares
from studies.earthing.answer import Quantity, names
from studies.earthing.decision import DAMAGE, NOBODY, criterion, standing_options
from studies.report.words import input_name
from studies.sweep.radius import centre_lies, counted_half_widths

if TYPE_CHECKING:
    from montecarlo.engine.progress import Progress
    from montecarlo.engine.workers import Workers
    from studies.earthing.frames import Options

MOST_NAMED = 3  # inputs in the answer; the table has all


def option_radius(options: Options, workers: Workers, tell: Progress) -> BestOption | None:
    """What would make another option the best.

    Parameters
    ----------
    options : Options
    workers : Workers
    tell : Progress

    Returns
    -------
    BestOption or None
        None where the study does not ask, or fewer than two options are compared.
    """
    study = options.study
    if not asked(study):
        return None
    rows = {row["option"]: row for row in standing_options(study, options.table.to_dict("records"))}
    whole = {name: options.clearing[name].clearing for name in rows}
    a_year = weights_of(study).events_per_year
    false = {
        name: Estimate(*(a_year * row[part] for part in with_limits("p_false")))
        for name, row in rows.items()
    }
    value, reach = _value_of(criterion(study), false), study.policy.margins.reach
    return radius_of_best(whole, _types(study), value, reach, workers, tell)


def radius_stages(study: Study) -> Iterator[Stage]:
    """What `option_radius` is for progress.

    Parameters
    ----------
    study : Study

    Yields
    ------
    Stage
    """
    if asked(study):
        yield from radius_size(dict(study.options), _types(study))


def asked(study: Study) -> bool:
    """Whether a study asks for it.

    Parameters
    ----------
    study : Study

    Returns
    -------
    bool
    """
    return wanted(study) and study.study.radius


def _types(study: Study) -> tuple[Stratum, ...]:
    return (EARTH,) if criterion(study) is DAMAGE else tuple(internal_shares(study))


def _value_of(what: Quantity, false: dict[str, Estimate]) -> Callable[[str, Clearing], float]:
    """Of an option what the answer is decided by; false trips stay as stated."""

    def value(name: str, found: Clearing) -> float:
        frames = ClearingFrames(found)
        if what in (DAMAGE, NOBODY):
            return float(frames.block_means()[what.column].mean())
        cost = cost_per_year(frames, false[name])
        assert cost is not None
        return float(cost.p)

    return value


# --- words --------------------------------------------------------------------


def best_unless(study: Study, found: BestOption | None) -> Iterator[str]:
    """What makes another option the best, the nearest first.

    Parameters
    ----------
    study : Study
    found : BestOption or None

    Yields
    ------
    str
    """
    if found is None:
        return
    turned = sorted((one for one in found.turns if one.other), key=half_widths)
    what = _lower(criterion(study).least)
    if not turned:
        yield (
            f"{names([found.best])} keeps the {what} whichever one input is off by up to"
            f" {counted_half_widths(found.reach)}, or as far as its values are possible."
        )
    for one in turned[:MOST_NAMED]:
        yield f"{names([str(one.other)])} has the {what} if {_where(one, found)}."


def _lower(text: str) -> str:
    return text[0].lower() + text[1:]


def _where(turn: Turn, found: BestOption) -> str:
    own = "" if len(turn.options) == len(found.among) else f" with {names(turn.options)}"
    at = centre_at(turn, float(turn.stands_to or 0.0))
    return centre_lies(f"{input_name(turn.key)}{own}", turn.way, at, turn.unit)


def radius_notes(found: BestOption | None) -> Iterator[str]:
    """How that was found.

    Parameters
    ----------
    found : BestOption or None

    Yields
    ------
    str
    """
    if found is not None:
        yield (
            "options_radius.csv lists how far the centre of each uncertain input may be off before"
            f" another option is the best, on {found.faults:,} faults of a type. One input moves at"
            f" a time, up to {counted_half_widths(found.reach)} or as far as its values are"
            " possible. Settings, false trips, and what is left out of the answer stay as they are."
        )
