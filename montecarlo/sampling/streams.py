"""Random streams keyed by what is drawn, never by who draws it.

One stream per (stratum, round, chunk, input): a new input, or one that becomes a plain number,
leaves every other input's draws as they were, and chunks may be computed anywhere, in any order."""

from __future__ import annotations

from collections.abc import Iterable
from zlib import crc32

import numpy as np

from montecarlo.errors import StudyError

# Inputs and draws that have a new name keep the random numbers of the first one
FIRST_NAMES = {
    "installation": "plant",
    "drawn.installation": "drawn.plant",
}
FIRST_WORDS = ("open_ct_circuit", "open_pilot")  # a part of several names, now and first


def stream(seed: int, stratum: str, round_: int, chunk: int, key: str) -> np.random.Generator:
    """The generator of one input in one chunk of one stratum.

    Parameters
    ----------
    seed : int
    stratum : str
    round_ : int
        0 is the study; 1, 2, ... independent samples.
    chunk : int
    key : str
        Of the input, or of the draw.

    Returns
    -------
    numpy.random.Generator
    """
    spawn_key = (_number(stratum), round_, chunk, _number(key))
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=spawn_key))


def _number(name: str) -> int:
    """What a name adds to the key of a stream."""
    return crc32(FIRST_NAMES.get(name, name).replace(*FIRST_WORDS).encode())


def check_distinct(names: Iterable[str]) -> None:
    """Refuse names that would share random numbers.

    Parameters
    ----------
    names : iterable of str

    Raises
    ------
    StudyError
        Two are equal, or are the one pair in 4e9 whose checksum agrees.
    """
    seen: dict[int, str] = {}
    for name in names:
        key = crc32(name.encode())
        if key in seen:
            clash = f"would share random numbers with {seen[key]}"
            if seen[key] == name:
                clash = "stands there twice"
            raise StudyError(f"{name}: {clash}; rename one of the two")
        seen[key] = name
