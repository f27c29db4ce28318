"""What people ask of the engine: kinds of study, and the command line that runs them."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from montecarlo.errors import StudyError

if TYPE_CHECKING:
    from studies.protocol import Keeping, Kind

__all__ = ["KINDS", "keeping"]


def _setting_sweep() -> Kind:
    from studies.setting_sweep import SettingSweep

    return SettingSweep()


def keeping(kind: str) -> Keeping:
    """The kind of study that `--keep-samples` is for. Raises StudyError for another."""
    from studies.setting_sweep import SettingSweep

    found = KINDS[kind]()
    if not isinstance(found, SettingSweep):
        raise StudyError(f"--keep-samples: study.kind = \"{kind}\" keeps none; run the file as \"setting_sweep\", or "
                         "leave the option out")
    return found


def _variants() -> Kind:
    from studies.variants import StudyVariants

    return StudyVariants()


def _scheme_comparison() -> Kind:
    from studies.scheme_comparison import SchemeComparison

    return SchemeComparison()


KINDS: dict[str, Callable[[], Kind]] = {                   # imported when asked for
    "setting_sweep": _setting_sweep, "scheme_comparison": _scheme_comparison, "variants": _variants}
