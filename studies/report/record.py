"""What a run writes of itself, provenance.json: read, and sealed with a checksum."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from montecarlo.quantities.files import read_bounded

PROVENANCE = "provenance.json"
ROUGH = "rough"  # in a record: what the answer of run --quick rests on
SEAL = "sha256_of_the_rest"  # in a record, of all that it says beside
LARGEST_RECORD = 10_000_000  # bytes of what a run writes of itself


def read_record(record: Path) -> dict[str, Any]:
    """What a run has written of itself; empty where that cannot be read."""
    try:
        found = json.loads(read_bounded(record, LARGEST_RECORD).decode("utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def sealed(record: Mapping[str, Any]) -> dict[str, Any]:
    """The record with a checksum over all of it, by which a later change is seen."""
    return {**record, SEAL: _checksum(record)}


def is_as_sealed(record: Mapping[str, Any]) -> bool:
    """Whether nothing was changed since."""
    return record.get(SEAL) == _checksum(
        {key: value for key, value in record.items() if key != SEAL}
    )


def _checksum(record: Mapping[str, Any]) -> str:
    """Of what JSON keeps of it, in whatever order."""
    kept = json.loads(json.dumps(record))
    return hashlib.sha256(json.dumps(kept, sort_keys=True).encode()).hexdigest()
