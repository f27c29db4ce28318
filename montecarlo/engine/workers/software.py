"""What must be the same wherever chunks of one run are solved."""

from __future__ import annotations

import hashlib
import platform
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from importlib.util import find_spec
from pathlib import Path

PRODUCT = "statorodds"
OWN = ("montecarlo", "studies")
NUMERICAL = ("numpy", "scipy", "numba")  # whose versions may move a result

Software = tuple[tuple[str, str], ...]  # name and version


@cache
def software() -> Software:
    """Names and versions here: Python to its minor version, this program by its files too,
    numerical packages.

    Returns
    -------
    tuple of (str, str)
    """
    python = ".".join(platform.python_version_tuple()[:2])
    return (
        ("Python", python),
        (PRODUCT, version_of(PRODUCT)),
        (f"files of {PRODUCT}", source_digest()),
        *((name, version_of(name)) for name in NUMERICAL),
    )


def version_of(name: str) -> str:
    """The version of an installed package.

    Parameters
    ----------
    name : str

    Returns
    -------
    str
        "not installed" where there is none.
    """
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"


@cache
def source_digest() -> str:
    """SHA-256 of this program's Python files, its first 12 digits: two copies of one version may
    differ.

    Returns
    -------
    str
    """
    found = hashlib.sha256()
    for package in OWN:
        spec = find_spec(package)
        for folder in (spec.submodule_search_locations or ()) if spec else ():
            for path in sorted(Path(folder).rglob("*.py")):
                found.update(
                    path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes() + b"\0"
                )
    return found.hexdigest()[:12]


def other_software(wanted: Software) -> str:
    """How what is here differs, in words.

    Parameters
    ----------
    wanted : tuple of (str, str)

    Returns
    -------
    str
        Empty if it does not.
    """
    return told_difference(dict(software()), dict(wanted))


def told_difference(has: dict[str, str], wanted: dict[str, str]) -> str:
    """As "has numpy 1.26.4 where 2.4.6 is wanted".

    Parameters
    ----------
    has, wanted : dict
        Versions by name.

    Returns
    -------
    str
        Empty where nothing differs.
    """
    parts = [
        f"{name} {has.get(name, 'not installed')} where {value} is wanted"
        for name, value in wanted.items()
        if has.get(name) != value
    ]
    return f"has {', '.join(parts)}" if parts else ""
