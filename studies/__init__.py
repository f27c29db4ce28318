"""What people ask of the engine: kinds of study, and the command line that runs them."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from importlib import import_module
from typing import TYPE_CHECKING, cast

from montecarlo.errors import StudyError

if TYPE_CHECKING:
    from studies.protocol import Kind
    from studies.sweep.run import SettingSweep

__all__ = ["KINDS", "keeping"]

ROOMS = {
    "setting_sweep": ("sweep", "SettingSweep"),
    "earthing_options": ("earthing", "EarthingOptions"),
    "scheme_comparison": ("schemes", "SchemeComparison"),
    "uncertainty_drivers": ("drivers", "UncertaintyDrivers"),
    "alternatives": ("alternatives", "StudyAlternatives"),
}


def _kind(name: str) -> Kind:
    """From its room, imported when asked for."""
    room, made = ROOMS[name]
    return cast("Kind", getattr(import_module(f"studies.{room}.run"), made)())


KINDS: dict[str, Callable[[], Kind]] = {name: partial(_kind, name) for name in ROOMS}


def keeping(kind: str) -> SettingSweep:
    """The kind of study that can keep the samples of its own batch.

    Raises
    ------
    StudyError
        For another kind, and without pyarrow.
    """
    from studies.report.sample_files import needs_pyarrow
    from studies.sweep.run import SettingSweep

    needs_pyarrow()
    found = KINDS[kind]()
    if not isinstance(found, SettingSweep):
        raise StudyError(
            f'--keep-samples: study.kind = "{kind}" keeps none; run the file as "setting_sweep", or'
            " leave the option out"
        )
    return found
