"""What a delay buys: the best setting with the least delay beside one that has more, and the other
way round."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from montecarlo.study.axes import Setting


def across_the_delay(
    order: Iterable[Setting], candidates: Sequence[Setting], chosen: Setting
) -> Setting | None:
    """The best setting with the least delay of all candidates, where the chosen one has a longer
    one; the best with a longer one, where it has the least.

    Parameters
    ----------
    order : iterable of Setting
        Those that may be chosen, best first.
    candidates : sequence of Setting
    chosen : Setting

    Returns
    -------
    Setting or None
        None where no other may be chosen.
    """
    least = min(one.delay_s for one in candidates)
    delayed = chosen.delay_s > least
    return next((one for one in order if (one.delay_s > least) != delayed), None)
