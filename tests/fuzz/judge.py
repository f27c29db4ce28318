"""One case through the command check, in this process: what must hold of the answer, whatever the
file says."""

from __future__ import annotations

import contextlib
import io
import os
import re
import signal
import socket
import sys
import time
import tomllib
import traceback
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

from montecarlo.quantities.wording import bare
from montecarlo.study.description import Study
from montecarlo.study.read import LONG_KEY
from studies.cli.main import main
from studies.cli.options import PROGRAM
from studies.report.safety import CAUTION

LONGEST_LINE = 2000  # characters
MOST_LINES = 60  # of faults
THEIR_WORDS = re.compile(r"\A.*|source: .*")  # title and sources say what they like
PLAIN = b"a,b\n0.1,1\n0.2,2\n0.3,3\n"


class Overdue(BaseException):
    """A case took longer than it may; no handler of the project catches it."""


@dataclass(frozen=True)
class Verdict:
    """Exit code (None where there was none), what is wrong with the answer ("" nothing),
    seconds."""

    code: int | None
    wrong: str
    seconds: float
    stdout: str = ""
    stderr: str = ""


def furnish(folder: Path) -> None:
    """Everything that a study's `file` may name and must not get, beside two files that it may."""
    (folder / "data.csv").write_bytes(PLAIN)
    (folder / "invented_neutral_ct_13_8kv.csv").write_bytes(
        (Path(__file__).parents[2] / "configs" / "invented_neutral_ct_13_8kv.csv").read_bytes()
    )
    (folder / "folder").mkdir()
    os.mkfifo(folder / "pipe")
    for name, target in (
        ("dangling", "nothing"),
        ("loop", "loop"),
        ("out", "/etc/passwd"),
        ("zero", "/dev/zero"),
        ("inner", "data.csv"),
        ("proc", "/proc/self/environ"),
    ):
        (folder / name).symlink_to(target)
    with contextlib.closing(socket.socket(socket.AF_UNIX)) as server:
        before = Path.cwd()
        os.chdir(folder)  # a socket's name may have 107 letters
        server.bind("socket")
        os.chdir(before)
    for name, content in (
        ("utf16.csv", PLAIN.decode().encode("utf-16")),
        ("latin.csv", b"a,b\n\xe9,1\n"),
        ("nul.csv", b"a,b\n\x00,1\n"),
        ("wide.csv", b"a,b\n" + b"1" * 10**6 + b",2\n"),
        ("empty.csv", b""),
        ("ragged.csv", b"a,b\n1\n1,2,3\n\n"),
        ("words.csv", b"a,b\nx,nan\n"),
        ("quoted.csv", b'a,b\n"1,2\n3,4\n'),
    ):
        (folder / name).write_bytes(content)
    with (folder / "large.csv").open("wb") as file:
        file.truncate(10**10)  # a hole: no disk is used


def call(arguments: Sequence[str], limit_s: float) -> Verdict:
    """main(arguments) with its output caught and a limit on its time; `wrong` only for what no
    caller may see."""
    out, err = io.StringIO(), io.StringIO()
    code, wrong, start = None, "", time.perf_counter()
    try:
        with (
            _limit(limit_s),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
            warnings.catch_warnings(),
        ):
            warnings.simplefilter("always")
            code = main(arguments)
    except Overdue as error:
        wrong = f"no end after {limit_s:g} s, {error}"
    except MemoryError:
        wrong = "memory"
    except (Exception, SystemExit) as error:
        place = traceback.extract_tb(error.__traceback__)[-1]
        wrong = (
            f"{type(error).__name__} in {Path(place.filename).name}:{place.lineno}:"
            f" {str(error)[:200]}"
        )
    return Verdict(code, wrong, time.perf_counter() - start, out.getvalue(), err.getvalue())


@contextlib.contextmanager
def _limit(seconds: float) -> Iterator[None]:
    def end(number: int, frame: FrameType | None) -> None:
        place = f"{Path(frame.f_code.co_filename).name}:{frame.f_lineno}" if frame else ""
        raise Overdue(f"at {place}")

    before = signal.signal(signal.SIGALRM, end)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def check(file: Path, limit_s: float = 20.0) -> Verdict:
    """The verdict on `check FILE`: a study, or lines that say why not; and nothing is written."""
    before = _listing(file.parent)
    found = call(["check", str(file)], limit_s)
    wrong = found.wrong or _answer_faults(found, file)
    if _listing(file.parent) != before:
        wrong = wrong or "something was written"
    return Verdict(found.code, wrong, found.seconds, found.stdout, found.stderr)


def _listing(folder: Path) -> list[tuple[str, int, int]]:
    return sorted(
        (
            entry.name,
            entry.stat(follow_symlinks=False).st_size,
            entry.stat(follow_symlinks=False).st_mtime_ns,
        )
        for entry in os.scandir(folder)
    )


def _answer_faults(found: Verdict, file: Path) -> str:
    if found.code == 0:
        if found.stderr:
            return f"accepted, and stderr says {found.stderr[:300]!r}"
        if not " ".join(found.stdout.split()).endswith(CAUTION):
            return "accepted without the caution at the end"
        if odd := {c for c in found.stdout if not c.isprintable() and c != "\n"}:
            return f"accepted, and the terminal gets {odd}"
        if bad := re.search(
            r".*(?<![\w.\"])-?(?:nan|inf)(?![\w.\"]).*", THEIR_WORDS.sub("", found.stdout)
        ):
            return f"accepted, and no number in {bad[0].strip()[:200]!r}"
        return ""
    if found.code != 2:
        return f"exit code {found.code}"
    return refusal_faults(found, file)


def refusal_faults(found: Verdict, file: Path) -> str:
    """What is wrong with a refusal: one line a fault, by the file or a key, of a length that can be
    read."""
    if found.stdout:
        return f"refused, and stdout says {found.stdout[:200]!r}"
    if not found.stderr.endswith("\n") or "Traceback" in found.stderr:
        return f"stderr is {found.stderr[-300:]!r}"
    lines = found.stderr.removesuffix("\n").split("\n")
    if len(lines) > MOST_LINES:
        return f"{len(lines)} lines"
    starts = (str(file), *Study.model_fields, *map(bare, _keys(file)), "and ")
    for line in lines:
        head, _, text = line.partition(": ")
        if (
            head != PROGRAM
            or not text.startswith(starts)
            or not text.isprintable()
            or len(line) > LONGEST_LINE
        ):
            return f"line {line[:300]!r} ({len(line)} characters)"
    if any(
        word in found.stderr
        for word in ("pydantic", "Input should", "validation error", "object at 0x")
    ):
        return f"words of a library: {found.stderr[:300]!r}"
    return ""


def _keys(file: Path) -> tuple[str, ...]:
    """The keys of the top level; none where a parser would take long, as the project says of the
    file."""
    try:
        text = file.read_bytes().decode("utf-8-sig")
        return () if LONG_KEY.search(text) else tuple(tomllib.loads(text))
    except (OSError, ValueError, RecursionError):
        return ()


def say(text: str) -> None:
    print(text, file=sys.stdout, flush=True)
