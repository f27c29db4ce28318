"""The examples in docstrings, run as they stand."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
WITH_EXAMPLES = [
    path.relative_to(ROOT)
    for package in ("montecarlo", "studies")
    for path in sorted((ROOT / package).rglob("*.py"))
    if ">>> " in path.read_text(encoding="utf-8")
]


@pytest.mark.parametrize("path", WITH_EXAMPLES, ids=str)
def test_examples_give_what_they_say(path: Path) -> None:
    module = importlib.import_module(".".join(path.with_suffix("").parts))
    found = doctest.testmod(module, optionflags=doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE)
    assert found.attempted > 0
    assert found.failed == 0
