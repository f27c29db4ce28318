"""What people ask of the engine: kinds of study, and the command line that runs them."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from importlib import import_module
from typing import TYPE_CHECKING, cast

from montecarlo.errors import StudyError

if TYPE_CHECKING:
    from studies.protocol import Keeping, Kind

__all__ = ["KINDS", "keeping"]

CLASSES = {"setting_sweep": "SettingSweep", "earthing_options": "EarthingOptions",
           "scheme_comparison": "SchemeComparison", "uncertainty_drivers": "UncertaintyDrivers",
           "variants": "StudyVariants"}


def _kind(name: str) -> Kind:
    """From the module of the same name, imported when asked for."""
    return cast("Kind", getattr(import_module(f"studies.{name}"), CLASSES[name])())


KINDS: dict[str, Callable[[], Kind]] = {name: partial(_kind, name) for name in CLASSES}


def keeping(kind: str) -> Keeping:
    """The kind of study that `--keep-samples` is for. Raises StudyError for another, and without
    pyarrow."""
    from montecarlo.engine.sample_files import needs_pyarrow
    from studies.setting_sweep import SettingSweep

    needs_pyarrow()
    found = KINDS[kind]()
    if not isinstance(found, SettingSweep):
        raise StudyError(f"--keep-samples: study.kind = \"{kind}\" keeps none; run the file as \"setting_sweep\", or "
                         "leave the option out")
    return found
