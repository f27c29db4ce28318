"""statorodds, the engine: odds of missed stator faults and of false trips for every candidate
setting.

study description -> uncertain inputs -> samples -> primary currents -> secondary circuit ->
elements -> tallies -> estimates -> tables and figures

>>> from montecarlo import read_study, run_study
>>> result = run_study(read_study("configs/hydro_11kv.toml"))       # doctest: +SKIP
>>> result.candidates                                               # doctest: +SKIP
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from montecarlo.frames.result import Result, run_study
    from montecarlo.study.read import read_study

__all__ = ["Result", "read_study", "run_study"]


def __getattr__(name: str) -> Any:
    """Import on first use: `--help` and input checking do without the numerical stack."""
    if name == "read_study":
        from montecarlo.study.read import read_study

        return read_study
    if name in ("Result", "run_study"):
        from montecarlo.frames import result as tables

        return getattr(tables, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
