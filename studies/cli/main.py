"""The command line: new, check, run, update, verify, doctor, schema. What a person can put right
ends with exit code 2 and a line a fault; the numerical stack is imported only when a command needs
it."""

from __future__ import annotations

import argparse
import os
import re
import shlex
import sys
from collections.abc import Callable, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any, NoReturn

from montecarlo.errors import StudyError, no_room
from studies.cli.devices import check_no_device
from studies.cli.ending import Ended
from studies.report.streams import leave_stdout, make_whole, say, tell

__all__ = ["main"]

PROGRAM = "statorodds"
MOST_SAMPLES, MOST_SEED, MOST_WORKERS = 10**12, 2**63 - 1, 1024
INTERRUPTED, BROKEN_PIPE = 130, 141
NO_ROOM = (
    "the system allows no more processes or threads here ({}); end others, or raise that limit "
    "(ulimit -u)"
)
NUMBA_FILE, MATPLOTLIB_FILE = ".numba_config.yaml", "matplotlibrc"
COMMANDS = ("new", "check", "run", "update", "verify", "doctor", "schema")
ASKS = {"-h", "--help", "--version"}
_NAMES = "one of " + ", ".join(COMMANDS)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    arguments : sequence of str, optional
        Else those of the process.

    Returns
    -------
    int
        The exit code: 2 for what a person can put right.
    """
    given = list(sys.argv[1:] if arguments is None else arguments)
    make_whole()
    os.environ.setdefault(
        "OPENBLAS_NUM_THREADS", "1"
    )  # more serve nothing here; it ends where it has none
    try:
        _check_names(given)
        _check_folder()
        _check_command(given)
        options = _parser().parse_args(given)
        code: int | None = options.command(options, given)
    except StudyError as error:
        for fault in error.faults:
            tell(f"{PROGRAM}: {_one_line(fault)}")
        return 2
    except (BlockingIOError, RuntimeError) as error:
        if not (reason := no_room(error)):
            raise
        tell(f"{PROGRAM}: {NO_ROOM.format(reason)}")
        return 2
    except (MemoryError, ImportError) as error:
        if isinstance(error, ImportError) and "failed to map segment" not in str(error):
            raise  # else a library that finds no room
        tell(f"{PROGRAM}: too little memory; end other programs, or take another machine")
        return 2
    except KeyboardInterrupt as stopped:
        tell(f"{PROGRAM}: stopped; {str(stopped) or 'nothing was written'}")
        return stopped.code if isinstance(stopped, Ended) else INTERRUPTED
    except BrokenPipeError:
        leave_stdout()
        return BROKEN_PIPE
    return code or 0


def _one_line(text: str) -> str:
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def _check_names(given: list[str]) -> None:
    """Names go into tables, reports and the record of a run, all of them UTF-8."""
    for name in given:
        try:
            name.encode("utf-8")
        except UnicodeEncodeError:
            shown = os.fsencode(name).decode("utf-8", "backslashreplace")
            raise StudyError(
                f"{shown}: is not UTF-8; rename it, or start from inside that folder"
            ) from None


def _check_folder() -> None:
    """Libraries take two files of the current folder as theirs. Numba's can say where compiled code
    is loaded from. Matplotlib's changes no figure, but one that cannot be read would end the run.
    """
    if os.path.lexists(NUMBA_FILE):
        raise StudyError(
            f"{NUMBA_FILE}: this file of the current folder would change how the solvers "
            "are compiled and loaded; move it away, or start from another folder"
        )
    if os.path.lexists(MATPLOTLIB_FILE) and not _is_text(Path(MATPLOTLIB_FILE)):
        raise StudyError(
            f"{MATPLOTLIB_FILE}: this file of the current folder is no UTF-8 text, and the "
            "library that draws would read it; move it away, or start from another folder"
        )


def _is_text(path: Path) -> bool:
    try:
        if not path.is_file():  # a pipe would be waited for
            return False
        path.read_text("utf-8")
    except (OSError, UnicodeDecodeError):
        return False
    return True


# --- options ------------------------------------------------------------------


class _Parser(argparse.ArgumentParser):
    """Faults of the command line are told like those of a study: one line, exit code 2."""

    def print_help(self, file: Any = None) -> None:
        say(self.format_help().rstrip("\n"))

    def error(self, message: str) -> NoReturn:
        raise StudyError(f"{message.rstrip('.')}; see {self.prog} --help")


def _check_command(given: list[str]) -> None:
    """Options of the program itself stand before a command and take no value."""
    named = next((each for each in given if not each.startswith("-")), None)
    if named in COMMANDS or (named is None and not ASKS.isdisjoint(given)):
        return
    if named is None:
        fault = f"no command; name {_NAMES}"
    else:
        near = get_close_matches(named, COMMANDS, 1)
        cure = f"did you mean {near[0]}?" if near else f"name {_NAMES}"
        fault = f"{named}: no such command; {cure}".rstrip(".")
    raise StudyError(f"{fault}; see {PROGRAM} --help")


def _parser() -> _Parser:
    parser = _Parser(
        prog=PROGRAM,
        allow_abbrev=False,
        description=(
            "Odds of missed stator faults and of false trips for every candidate setting of a"
            " generator differential scheme."
        ),
    )
    parser.add_argument("--version", action=_Version, nargs=0, help="show the version and stop")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)

    def add(name: str, command: Callable[..., int | None], text: str) -> argparse.ArgumentParser:
        added = commands.add_parser(
            name, help=text, description=text[0].upper() + text[1:] + ".", allow_abbrev=False
        )
        added.set_defaults(command=command)
        return added

    new = add("new", _new, "write a commented starter study to FILE")
    new.add_argument("file", metavar="FILE", type=Path, help="a name that is not in use yet")
    check = add(
        "check",
        _check,
        "read FILE and list its inputs, settings, cautions and the hand calculation",
    )
    check.add_argument("file", metavar="FILE", type=Path, help="study file (TOML)")
    check.add_argument(
        "--strict",
        action="store_true",
        help="exit code 2 on any caution but the two of assumptions that stand in every study",
    )
    check.add_argument(
        "--picture",
        metavar="FILE",
        type=Path,
        help=(
            "draw measured excitation points and the fitted curve, also when it is refused; "
            "a new .svg or .png"
        ),
    )
    run = add(
        "run",
        _run,
        "run the study in FILE and write a folder of tables and figures; an unfinished run goes on",
    )
    run.add_argument("file", metavar="FILE", type=Path, help="study file (TOML)")
    run.add_argument(
        "--out",
        metavar="DIR",
        type=Path,
        help="folder for the results (default: <name of FILE>-results, here)",
    )
    run.add_argument(
        "--replace",
        action="store_true",
        help="replace the results of an earlier run in that folder",
    )
    run.add_argument(
        "--samples", metavar="N", help="sampled events of each type, instead of study.samples"
    )
    run.add_argument(
        "--seed", metavar="N", help="root of the random numbers, instead of study.seed"
    )
    run.add_argument(
        "--workers",
        metavar="N",
        help="processes (default: one for each core); results do not depend on it",
    )
    run.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help=(
            "solve on the workers of a Dask cluster instead; tcp://HOST:PORT of its scheduler, or"
            " tls://"
        ),
    )
    run.add_argument(
        "--keep-samples",
        action="store_true",
        help="write the samples of the study's own batch too, as Parquet files",
    )
    run.add_argument(
        "--pdf",
        action="store_true",
        help="also print the report to report.pdf, by an installed Chromium, Chrome or Edge",
    )
    update = add(
        "update",
        _update,
        "weight the plants of a finished run by what was measured on commissioning, and "
        "tell p_missed and p_false before and after",
    )
    update.add_argument("folder", metavar="RUN", type=Path, help="folder that run has written")
    update.add_argument(
        "measured",
        metavar="MEASURED",
        type=Path,
        help="its commissioning.csv with the columns measured and uncertainty filled in",
    )
    update.add_argument(
        "--out",
        metavar="CSV",
        type=Path,
        help=(
            "file for the table (default: <name of MEASURED>-updated.csv, here); a name not in use"
        ),
    )
    add(
        "verify",
        _verify,
        "work out published values anew and tell which agree; exit code 1 if one does not",
    )
    add(
        "doctor",
        _doctor,
        "look at this machine and installation, with a short check of the numbers; exit code 1 if a"
        " run would fail",
    )
    add("schema", _schema, "print the JSON Schema of study files, for editors")
    return parser


class _Version(argparse.Action):
    def __call__(self, parser: argparse.ArgumentParser, *unused: object) -> None:
        from importlib.metadata import version

        say(f"{PROGRAM} {version(PROGRAM)}")
        parser.exit()


def _whole(text: str | None, option: str, low: int, high: int, cure: str) -> int | None:
    if text is None:
        return None
    if re.fullmatch(r"[+-]?[0-9]{1,30}", text.strip()) and low <= int(text) <= high:
        return int(text)
    raise StudyError(
        f"{option} {shlex.quote(text[:60])}: must be a whole number from {low} to {high}; {cure}"
    )


# --- commands -----------------------------------------------------------------


def _new(options: argparse.Namespace, given: list[str]) -> None:
    from importlib.resources import files

    path: Path = options.file
    check_no_device(path, "name another file")
    text = (files("studies") / "starter.toml").read_bytes()
    try:
        with path.open("xb") as file:
            file.write(text)
    except FileExistsError:
        raise StudyError(f"{path}: exists already; name another file, or remove it first") from None
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise StudyError(f"{path}: cannot be written ({reason}); name another file") from None
    shown = shlex.quote(str(path))
    say(
        f"{path}: a starter study of an invented machine. Change it to yours, then:\n"
        f"  {PROGRAM} check {shown}\n  {PROGRAM} run {shown}",
        f"{path} is written",
    )


def _check(options: argparse.Namespace, given: list[str]) -> None:
    from montecarlo import read_study

    if options.picture is not None:
        check_no_device(options.picture, "name another file with --picture")
        os.environ["MPLBACKEND"] = "agg"
        from studies.check.picture import draw_excitation

        if draw_excitation(options.file, options.picture):
            say(f"{options.picture} is written")
    study = read_study(options.file)
    from montecarlo.engine.sizes import check_sizes
    from studies.check.text import checked
    from studies.report.safety import CAUTION
    from studies.report.terminal import text_of

    check_sizes(study)
    found = checked(study)
    say(f"{text_of(found.text)}\n\n{CAUTION}")
    if options.strict and found.cautions:
        raise StudyError(*(f"--strict: {caution}" for caution in found.cautions))


def _run(options: argparse.Namespace, given: list[str]) -> None:
    samples = _whole(
        options.samples, "--samples", 1, MOST_SAMPLES, "leave it out for the study's own number"
    )
    seed = _whole(options.seed, "--seed", 0, MOST_SEED, "leave it out for the study's own")
    workers = _whole(options.workers, "--workers", 1, MOST_WORKERS, "leave it out for one a core")
    if workers is not None and options.cluster is not None:
        raise StudyError(
            "--workers: counts processes of this machine, and --cluster takes those of a cluster;"
            " leave one of the two out"
        )
    os.environ["MPLBACKEND"] = "agg"  # figures go to files, whatever the terminal has
    from studies.cli.running import Request, run_file

    run_file(
        Request(
            options.file,
            options.out or Path(f"{options.file.stem}-results"),
            samples,
            seed,
            workers,
            options.cluster,
            options.replace,
            options.keep_samples,
            options.pdf,
            shlex.join([PROGRAM, *given]),
        )
    )


def _update(options: argparse.Namespace, given: list[str]) -> None:
    out: Path = options.out or Path(f"{options.measured.stem}-updated.csv")
    check_no_device(out, "name another file with --out")
    if os.path.lexists(out):
        raise StudyError(f"{out}: exists already; name another file with --out, or remove it first")
    from studies.cli.output import write_new_table
    from studies.measured.run import update
    from studies.report.safety import CAUTION
    from studies.report.terminal import lines

    found = update(options.folder, options.measured)
    try:
        write_new_table(found.frame, out)
    except OSError as error:
        raise StudyError(
            f"{out}: cannot be written ({error.strerror or type(error).__name__}); name another"
            " file with --out"
        ) from None
    table = f"Table: {out}, every candidate before and after"
    say("\n".join([*lines(found.text), "", table, "", CAUTION]), f"the table is {out}")


def _verify(options: argparse.Namespace, given: list[str]) -> int:
    from studies.verify.run import verify

    return verify()


def _doctor(options: argparse.Namespace, given: list[str]) -> int:
    from studies.cli.doctor import doctor

    return doctor()


def _schema(options: argparse.Namespace, given: list[str]) -> None:
    import json

    from montecarlo.study.schema import study_schema

    say(json.dumps(study_schema(), indent=2, ensure_ascii=False))
