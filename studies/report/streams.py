"""What is said to a person, on stdout and stderr; either may be closed, full or left by its
reader."""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from pathlib import Path

from montecarlo.errors import StudyError, reason


def make_whole() -> None:
    """A stream that was closed before the start leads nowhere; what a terminal cannot show is
    escaped."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            # Open to the end of the process.
            nowhere = Path(os.devnull).open(mode, encoding="utf-8")  # noqa: SIM115
            setattr(sys, name, nowhere)  # takes the number that it lacked
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")


def say(text: str, done: str = "") -> None:
    """A text on stdout, at once. Raises BrokenPipeError where its reader has left, StudyError with
    what is `done` all the same where it cannot be written."""
    try:
        print(text, flush=True)
    except BrokenPipeError:
        raise
    except OSError as error:
        leave_stdout()
        raise StudyError(
            f"stdout: cannot be written ({reason(error)})"
            f"{done and f'; {done}'}; send the text elsewhere"
        ) from None


def tell(text: str) -> None:
    """A line on stderr; where it cannot be written, nobody can be told."""
    try:
        print(text, file=sys.stderr, flush=True)
    except OSError:
        _lead_nowhere(2)


def leave_stdout() -> None:
    """What waits to be written goes nowhere, else Python complains of it once more at the end."""
    _lead_nowhere(1)


def _lead_nowhere(number: int) -> None:
    with suppress(OSError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), number)
