"""The command line: new, check, run, update, compare, verify, selfcheck, schema. What a person can
put right ends with exit code 2 and a line a fault; the numerical stack is imported only when a
command needs it."""

from __future__ import annotations

import os
import re
import shlex
import sys
from argparse import Namespace
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path

from montecarlo.errors import StudyError, no_memory, no_room, reason
from studies.cli.devices import check_no_device
from studies.cli.ending import Ended
from studies.cli.options import PROGRAM, parse
from studies.report.streams import leave_stdout, make_whole, say, tell

MOST_SAMPLES, MOST_SEED, MOST_WORKERS = 10**12, 2**63 - 1, 1024
INTERRUPTED, BROKEN_PIPE = 130, 141
NO_ROOM = (
    "the system allows no more processes or threads here ({}); end others, or raise the limit"
    " (ulimit -u)"
)
OF_WORKERS = ("montecarlo.engine.counted", "montecarlo.engine.rare")  # what they import
NUMBA_FILE, MATPLOTLIB_FILE = ".numba_config.yaml", "matplotlibrc"


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
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # more serve nothing, and may not be had
    try:
        _check_names(given)
        _check_folder()
        options = parse(given)
        return RUNS[options.command](options) or 0
    except StudyError as error:
        return _refused(*error.faults)
    except KeyboardInterrupt as stopped:
        tell(f"{PROGRAM}: stopped; {str(stopped) or 'nothing was written'}")
        return stopped.code if isinstance(stopped, Ended) else INTERRUPTED
    except BrokenPipeError:
        leave_stdout()
        return BROKEN_PIPE
    except Exception as error:
        if words := no_room(error):
            return _refused(NO_ROOM.format(words))
        if no_memory(error):
            return _refused("too little memory; end other programs, or take another machine")
        raise


def _refused(*faults: str) -> int:
    for fault in faults:
        tell(f"{PROGRAM}: {_one_line(fault)}")
    return 2


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


def _whole(text: str | None, option: str, low: int, high: int, cure: str) -> int | None:
    if text is None:
        return None
    if re.fullmatch(r"[+-]?[0-9]{1,30}", text.strip()) and low <= int(text) <= high:
        return int(text)
    raise StudyError(
        f"{option} {shlex.quote(text[:60])}: must be a whole number from {low} to {high}; {cure}"
    )


# --- commands -----------------------------------------------------------------


def _new(options: Namespace) -> None:
    from studies.starter.plate import READERS, read_plate
    from studies.starter.text import starter_text

    path: Path = options.file
    check_no_device(path, "name another file")
    plate = read_plate({name: getattr(options, name.replace("-", "_")) for name in READERS})
    try:
        with path.open("xb") as file:
            file.write(starter_text(plate).encode())
    except FileExistsError:
        raise StudyError(f"{path}: exists already; name another file, or remove it first") from None
    except OSError as error:
        cure = "name another file"
        raise StudyError(f"{path}: cannot be written ({reason(error)}); {cure}") from None
    from studies.starter.said import written

    shown = shlex.quote(str(path))
    commands = f"  {PROGRAM} check {shown}\n  {PROGRAM} run {shown}"
    say(f"{written(path, plate)}\n{commands}", f"{path} is written")


def _check(options: Namespace) -> None:
    from montecarlo import read_study

    if options.picture is not None:
        check_no_device(options.picture, "name another file with --picture")
        os.environ["MPLBACKEND"] = "agg"
        from studies.check.picture import draw_study

        for written in draw_study(options.file, options.picture):
            say(f"{written} is written")
    study = read_study(options.file)
    from montecarlo.engine.sizes import check_sizes
    from studies.check.text import checked
    from studies.cli.durations import durations
    from studies.report.blocks import Paragraph
    from studies.report.safety import CAUTION
    from studies.report.terminal import shown

    check_sizes(study)
    found = checked(study)
    last = [*map(Paragraph, durations(study)), Paragraph(CAUTION)]
    say("\n\n".join((shown(found.text), *(shown([block]) for block in last))))
    if options.strict and found.cautions:
        raise StudyError(*(f"--strict: {caution}" for caution in found.cautions))


def _run(options: Namespace) -> None:
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
    if options.quick:
        from studies.cli.rough import check_options

        check_options(options)
    os.environ["MPLBACKEND"] = "agg"  # figures go to files, whatever the terminal has
    with _workers_early(options, workers):
        from studies.cli.running import Request, run_file

        run_file(
            Request(
                options.file,
                options.out
                or Path(f"{options.file.stem}-{'quick' if options.quick else 'results'}"),
                samples,
                seed,
                workers,
                options.cluster,
                options.replace,
                options.keep_samples,
                options.pdf,
                options.typed,
                options.quick,
            )
        )


def _workers_early(options: Namespace, workers: int | None) -> AbstractContextManager[None]:
    """Worker processes that start while this one imports and reads; none for a cluster, or for a
    file that is not there."""
    if options.cluster is not None or not options.file.is_file():
        return nullcontext()
    from montecarlo.engine.workers.pool import cores
    from montecarlo.engine.workers.processes import started_early

    return started_early(cores() if workers is None else workers, OF_WORKERS)


def _measured(options: Namespace) -> None:
    out: Path = options.out or Path(f"{options.measured.stem}-weighed.csv")
    check_no_device(out, "name another file with --out")
    if os.path.lexists(out):
        raise StudyError(f"{out}: exists already; name another file with --out, or remove it first")
    from studies.cli.output import write_new_table
    from studies.measured.run import weigh
    from studies.report.blocks import Paragraph
    from studies.report.safety import CAUTION
    from studies.report.terminal import shown

    found = weigh(options.folder, options.measured)
    try:
        write_new_table(found.frame, out)
    except OSError as error:
        raise StudyError(
            f"{out}: cannot be written ({reason(error)}); name another file with --out"
        ) from None
    table = f"Table: {out}, every candidate before and after"
    text = "\n\n".join([shown(found.text), table, shown([Paragraph(CAUTION)])])
    say(text, f"the table is {out}")


def _compare(options: Namespace) -> None:
    os.environ["MPLBACKEND"] = "agg"
    from studies.cli.comparing import compare_runs

    compare_runs(options.results_a, options.results_b, options.out)


def _verify(options: Namespace) -> int:
    from studies.verify.run import verify

    return verify()


def _selfcheck(options: Namespace) -> int:
    from studies.cli.selfcheck import selfcheck

    return selfcheck()


def _schema(options: Namespace) -> None:
    import json

    from montecarlo.study.schema import study_schema

    say(json.dumps(study_schema(), indent=2, ensure_ascii=False))


RUNS: dict[str, Callable[[Namespace], int | None]] = {
    "new": _new,
    "check": _check,
    "run": _run,
    "measured": _measured,
    "compare": _compare,
    "verify": _verify,
    "selfcheck": _selfcheck,
    "schema": _schema,
}
