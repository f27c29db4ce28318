"""Texts as a terminal shows them, for tests that look for words."""

from __future__ import annotations

from collections.abc import Iterable

from montecarlo.study.description import Study
from studies.check.text import checked
from studies.report.blocks import Block
from studies.report.terminal import text_of

__all__ = ["check_text", "words"]


def words(said: Iterable[Block] | str) -> str:
    """What is said, in one line: where lines break is no matter."""
    text = said if isinstance(said, str) else text_of(said)
    return " ".join(text.split())


def check_text(study: Study) -> str:
    """What the command check says of a study, line by line."""
    return text_of(checked(study).text)
