"""The command selfcheck: what a run needs of this machine and installation, each with a verdict
and, where it is not good, a cure. Nothing outside the standard library is imported before it is
looked at, so that what is broken is told."""

from __future__ import annotations

import importlib
import math
import os
import platform
import shutil
import stat
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING

from montecarlo.errors import reason
from studies.report.streams import say

if TYPE_CHECKING:
    from packaging.specifiers import SpecifierSet

PRODUCT = "statorodds"
GOOD, OPTIONAL, BAD = "good", "absent", "NOT GOOD"  # absent: what only an option needs
LEAST_PYTHON = (3, 11)
LEAST_FREE = 500_000_000  # bytes; a run with its figures and samples of one type
LONGEST_S = 60.0  # for worker processes to start and answer
TEMPORARY = "temporary folder"
FOLDERS = {
    "current folder": "go to another folder, or name one with run --out",
    TEMPORARY: "set TMPDIR to a folder that can be written",
}
# Code that is kept is run: who can write there can have anything run.
CACHE_CURE = "set NUMBA_CACHE_DIR to a folder that only you can write"
PURPOSES = {"parquet": "run --keep-samples", "cluster": "run --cluster"}
IMPORTED_AS = {"pyarrow": "pyarrow.parquet"}
ONE_WORKER = "run with --workers 1"
AGAIN = "install the program again, in an environment of its own"


@dataclass(frozen=True)
class Finding:
    """One line: what was looked at, what was found, how good that is; what to do where it is
    not."""

    what: str
    found: str
    verdict: str = GOOD
    cure: str = ""


def _judged(what: str, found: str, good: object, cure: str) -> Finding:
    """Good, or bad with its cure."""
    return Finding(what, found) if good else Finding(what, found, BAD, cure)


def selfcheck() -> int:
    """Print every finding as it is made.

    Returns
    -------
    int
        0 if all that a run needs is good, else 1.
    """
    bad = 0
    for part in examine():
        say(shown(part))
        bad += part.verdict == BAD
    say(
        f"\n{bad} of these would spoil a run or its numbers. Mend the first, then repeat."
        if bad
        else "\nEverything that a run needs is in order."
    )
    return 1 if bad else 0


def shown(finding: Finding) -> str:
    """A finding as text, its cure below it.

    Parameters
    ----------
    finding : Finding

    Returns
    -------
    str
    """
    line = f"{finding.what:<23}  {finding.verdict:<8}  {finding.found}"
    return f"{line}\n{'':<35}{finding.cure}" if finding.cure else line


def examine() -> Iterator[Finding]:
    """Everything, in the order in which one thing rests on another.

    Yields
    ------
    Finding
    """
    yield from _safely("this tool", _tool)
    yield from _safely("Python", _python)
    yield from _safely("packages", packages)
    yield from _safely("cores", _cores)
    yield from _safely("threads", _threads)
    for what, cure in FOLDERS.items():
        yield from _safely(what, partial(_folder, what), cure)
    yield from _safely("compiled solvers", _cache, CACHE_CURE)
    yield from _safely("browser", _browser)
    yield from _safely("worker processes", _workers, ONE_WORKER)
    yield from _safely("self-check: earth fault", _earth_fault)
    yield from _safely("self-check: rare event", _rare_event)


def _safely(
    what: str, look: Callable[[], Iterator[Finding]], cure: str = AGAIN
) -> Iterator[Finding]:
    """What the look finds; whatever it stumbles over is a finding too."""
    try:
        yield from look()
    except Exception as error:  # any: a broken installation knows no limits
        yield Finding(what, _reason(error), BAD, cure)


def _reason(error: BaseException) -> str:
    text = " ".join(str(error).split())
    return f"{type(error).__name__}: {text}"[:160] if text else type(error).__name__


# --- what is installed --------------------------------------------------------


def _tool() -> Iterator[Finding]:
    where = Path(__file__).resolve().parents[2]
    try:
        yield Finding(PRODUCT, f"{metadata.version(PRODUCT)}, {where}")
    except metadata.PackageNotFoundError:
        yield Finding(PRODUCT, f"not installed; runs from {where}", BAD, f"pip install {where}")


def _python() -> Iterator[Finding]:
    good = sys.version_info >= LEAST_PYTHON
    found = f"{platform.python_version()}, {sys.executable}"
    cure = f"Python {'.'.join(map(str, LEAST_PYTHON))} or newer is needed"
    yield _judged("Python", found, good, cure)


def packages() -> Iterator[Finding]:
    """Every requirement of the installed tool but those of its tests, tried by importing it.

    Yields
    ------
    Finding
    """
    from packaging.requirements import Requirement

    for text in metadata.requires(PRODUCT) or ():
        wanted = Requirement(text)
        for extra in ("", *PURPOSES):
            if wanted.marker is None or wanted.marker.evaluate({"extra": extra}):
                yield _package(wanted.name, wanted.specifier, extra)
                break


def _package(name: str, versions: SpecifierSet, extra: str) -> Finding:
    purpose = f"for {PURPOSES[extra]}" if extra else ""
    cure = f"pip install -U '{name}{versions}'" if versions else f"pip install -U {name}"
    try:
        version = metadata.version(name)
    except metadata.PackageNotFoundError:
        if extra:
            return Finding(name, purpose, OPTIONAL)
        return Finding(name, "missing", BAD, cure)
    try:
        importlib.import_module(IMPORTED_AS.get(name, name))
    except Exception as error:  # a library that fails to load, whatever way
        found = f"{version} does not import: {_reason(error)}"
        return Finding(name, found, BAD, f"pip install --force-reinstall {name}")
    told = " ".join(filter(None, [version, purpose]))
    if not versions.contains(version, prereleases=True):
        return Finding(name, f"{told}, must be {versions}", BAD, cure)
    return Finding(name, told)


# --- the machine --------------------------------------------------------------


def _cores() -> Iterator[Finding]:
    from montecarlo.engine.workers import workers_of

    usable = workers_of(None).count
    yield Finding(
        "cores",
        f"{usable} of {os.cpu_count()} usable; a run starts {usable} workers unless --workers is"
        " given",
    )


def _threads() -> Iterator[Finding]:
    import numpy
    import scipy.linalg
    from numba import config
    from threadpoolctl import threadpool_info

    assert numpy.__version__
    assert scipy.linalg.__name__  # both, so that their libraries are loaded
    pools = sorted({f"{pool['internal_api']} {pool['num_threads']}" for pool in threadpool_info()})
    yield Finding(
        "threads",
        f"{', '.join(pools) or 'no pool found'}, numba {config.NUMBA_NUM_THREADS}; "
        "a run takes one a worker",
    )


def _folder(what: str) -> Iterator[Finding]:
    folder = Path(tempfile.gettempdir()) if what == TEMPORARY else Path.cwd()
    try:
        with tempfile.TemporaryFile(dir=folder) as file:
            file.write(b"written")
    except OSError as error:
        yield Finding(what, f"cannot be written ({reason(error)}): {folder}", BAD, FOLDERS[what])
        return
    free = shutil.disk_usage(folder).free
    found = f"can be written, {free / 1e9:.1f} GB free: {folder}"
    cure = f"free {LEAST_FREE / 1e6:.0f} MB, or {FOLDERS[what]}"
    yield _judged(what, found, free >= LEAST_FREE, cure)


def _cache() -> Iterator[Finding]:
    from montecarlo.secondary import kernel

    paths = {value.stats.cache_path for value in vars(kernel).values() if hasattr(value, "stats")}
    for path in sorted(filter(None, paths)):
        Path(path).mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=path) as file:
            file.write(b"written")
        others = os.name == "posix" and Path(path).stat().st_mode & stat.S_IWOTH
        found = f"{'anybody can write' if others else 'kept in'} {path}"
        yield _judged("compiled solvers", found, not others, CACHE_CURE)
    if not any(paths):
        found = "kept nowhere, compiled in every process"
        yield Finding("compiled solvers", found, BAD, CACHE_CURE)


def _browser() -> Iterator[Finding]:
    from studies.report.pdf import find_browser

    if browser := find_browser():
        yield Finding("browser", browser)
    else:
        yield Finding("browser", "for run --pdf: Chromium, Chrome or Edge", OPTIONAL)


@dataclass(frozen=True)
class _Task:
    label: str


def _process(task: _Task) -> int:
    return os.getpid()


def _workers() -> Iterator[Finding]:
    from montecarlo.engine.workers import Workers
    from montecarlo.engine.workers.processes import Processes

    began, workers = time.perf_counter(), Workers(2, site=Processes(2, LONGEST_S))
    others = {*workers.mapped(_process, [_Task("one"), _Task("another")])} - {os.getpid()}
    found = f"started and answered in {time.perf_counter() - began:.1f} s"
    yield _judged("worker processes", found, others, ONE_WORKER)


# --- the numbers --------------------------------------------------------------


def _earth_fault() -> Iterator[Finding]:
    """p_missed of a whole study against x = I R/V: ideal CTs, solid faults evenly along the
    winding."""
    from studies.verify.published.whole import missed_percent
    from studies.verify.published.winding import EXAMPLES

    example, began = EXAMPLES[1], time.perf_counter()
    ours = missed_percent(example)
    formula = 100 * example.pickup_a * example.resistor_ohm / (example.line_v / math.sqrt(3))
    yield _checked(
        "earth fault",
        f"p_missed {ours:.4f} %, by hand I R / V = {formula:.4f} %",
        abs(ours - formula) < 0.001,
        began,
    )


def _rare_event() -> Iterator[Finding]:
    """Weighted samples of a sum of ten standard normal inputs against the normal law."""
    from studies.verify.published.statistics import DEEP, deep_probability

    began = time.perf_counter()
    p, error = deep_probability()
    law = math.erfc(DEEP / math.sqrt(2)) / 2
    yield _checked(
        "rare event",
        f"p {p:.3e} +- {error:.0e}, by the normal law {law:.3e}",
        abs(p - law) < 4 * error < 0.1 * law,
        began,
    )


def _checked(what: str, found: str, good: bool, began: float) -> Finding:
    took = f"{found}; {time.perf_counter() - began:.1f} s"
    cure = f"do not use numbers of this program; {AGAIN}"
    return _judged(f"self-check: {what}", took, good, cure)
