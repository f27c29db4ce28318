"""What the command line takes: each command, its options, and how faults among them are told."""

from __future__ import annotations

import argparse
import shlex
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any, NoReturn

from montecarlo.errors import StudyError
from montecarlo.study import renamed
from studies.report.streams import say

PROGRAM = "statorodds"
ASKS = {"-h", "--help", "--version"}
TEXTS = {
    "N",
    "ADDRESS",
    "MVA",
    "KV",
    "HZ",
    "A",
    "PRIMARY/SECONDARY",
}  # the others are names of files and folders


@dataclass(frozen=True)
class Option:
    """An argument or option: its name, what it takes (nothing for a switch), what it does."""

    name: str
    takes: str
    help: str

    def add_to(self, parser: argparse.ArgumentParser) -> None:
        """Let a command take it."""
        if self.takes:
            kind = str if self.takes in TEXTS else Path
            parser.add_argument(self.name, metavar=self.takes, type=kind, help=self.help)
        else:
            parser.add_argument(self.name, action="store_true", help=self.help)


@dataclass(frozen=True)
class Command:
    """What a command does, and what it takes."""

    help: str
    options: tuple[Option, ...] = ()


STUDY = Option("file", "FILE", "study file (TOML)")
COMMANDS: Mapping[str, Command] = {
    "new": Command(
        "write a commented starter study to FILE, scaled to a machine's name-plate if one is given",
        (
            Option("file", "FILE", "a name that is not in use yet"),
            Option("--mva", "MVA", "rated apparent power of the machine, 1 to 2000 MVA"),
            Option("--kv", "KV", "its rated line-to-line voltage, 1 to 30 kV"),
            Option("--hz", "HZ", "its rated frequency: 50, 60, 16.7 or 25 Hz"),
            Option(
                "--earthing-a",
                "A",
                "current of its earthing resistor at rated voltage, 1 to 2000 A",
            ),
            Option(
                "--ct",
                "PRIMARY/SECONDARY",
                "rated currents of its CTs, as 1500/1 (default: the next standard primary current,"
                " 1 A secondary)",
            ),
        ),
    ),
    "check": Command(
        "read FILE and list its inputs, settings, cautions and the hand calculation",
        (
            STUDY,
            Option(
                "--strict",
                "",
                "exit code 2 on any caution, except the two on assumptions of every study",
            ),
            Option(
                "--picture",
                "FILE",
                "draw the connections of every scheme into a new .svg or .png; excitation curves"
                " of CTs with a class or measured points go into a second one, FILE_excitation",
            ),
        ),
    ),
    "run": Command(
        "run the study in FILE and write a folder of tables and figures; an unfinished run goes on",
        (
            STUDY,
            Option(
                "--out", "DIR", "folder for the results (default: <name of FILE>-results, here)"
            ),
            Option(
                "--quick",
                "",
                "a first rough answer in seconds, from a part of the samples, in the folder"
                " <name of FILE>-quick",
            ),
            Option("--replace", "", "replace the results of an earlier run in that folder"),
            Option("--samples", "N", "sampled events of each type, instead of study.samples"),
            Option("--seed", "N", "root of the random numbers, instead of study.seed"),
            Option(
                "--workers",
                "N",
                "processes (default: one for each core); results do not depend on it",
            ),
            Option(
                "--cluster",
                "ADDRESS",
                "solve on the workers of a Dask cluster instead; tcp://HOST:PORT of its scheduler,"
                " or tls://",
            ),
            Option(
                "--keep-samples",
                "",
                "write the selection sample too, as Parquet files",
            ),
            Option(
                "--pdf",
                "",
                "also print the report to report.pdf, by an installed Chromium, Chrome or Edge",
            ),
        ),
    ),
    "measured": Command(
        "apply values measured on commissioning to a finished run: p_missed and p_false before and"
        " after",
        (
            Option("folder", "RUN", "results folder of a run"),
            Option(
                "measured",
                "MEASURED",
                "its commissioning.csv with the columns measured and uncertainty filled in",
            ),
            Option(
                "--out",
                "CSV",
                "file for the table (default: <name of MEASURED>-weighed.csv, here); a name not in"
                " use",
            ),
        ),
    ),
    "compare": Command(
        "compare two finished runs of one kind: inputs, choices, and figures with limits",
        (
            Option("results_a", "RESULTS_A", "results folder of a run"),
            Option("results_b", "RESULTS_B", "another one"),
            Option(
                "--out",
                "DIR",
                "folder for the comparison (default: <A>-<B>-compared, here); not there yet, or"
                " empty",
            ),
        ),
    ),
    "verify": Command(
        "compute published values again and compare; exit code 1 if one does not agree"
    ),
    "selfcheck": Command(
        "check this computer and this program, numbers included; exit code 1 if a run would fail"
    ),
    "schema": Command("print the JSON Schema of study files, for editors"),
}


def parse(given: list[str]) -> argparse.Namespace:
    """The command, what it was given, and all of it as it was `typed`.

    Raises
    ------
    StudyError
        For what no command takes.
    """
    _check_command(given)
    parser = _Parser(
        prog=PROGRAM,
        allow_abbrev=False,
        description=(
            "Probability of missed stator faults and of false trips for every candidate setting of"
            " a generator stator differential scheme."
        ),
    )
    parser.set_defaults(typed=shlex.join([PROGRAM, *given]))
    parser.add_argument("--version", action=_Version, nargs=0, help="show the version and stop")
    commands = parser.add_subparsers(
        title="commands", metavar="COMMAND", required=True, dest="command"
    )
    for name, command in COMMANDS.items():
        told = f"{command.help[0].upper()}{command.help[1:]}."
        added = commands.add_parser(name, help=command.help, description=told, allow_abbrev=False)
        for option in command.options:
            option.add_to(added)
    return parser.parse_args(given)


def _check_command(given: list[str]) -> None:
    """Options of the program itself stand before a command and take no value."""
    named = next((each for each in given if not each.startswith("-")), None)
    if named in COMMANDS or (named is None and not ASKS.isdisjoint(given)):
        return
    names = f"name one of {', '.join(COMMANDS)}"
    fault = f"no command; {names}"
    if named is not None:
        near = get_close_matches(named, COMMANDS, 1)
        fault = f"{named}: no such command; {f'did you mean {near[0]}?' if near else names}"
    if named in renamed.COMMANDS:
        fault = renamed.now_called(named, renamed.COMMANDS[named])
    raise StudyError(f"{fault}; see {PROGRAM} --help")


class _Parser(argparse.ArgumentParser):
    """Faults of the command line are told like those of a study: one line, exit code 2."""

    def print_help(self, file: Any = None) -> None:
        say(self.format_help().rstrip("\n"))

    def error(self, message: str) -> NoReturn:
        raise StudyError(f"{message.rstrip('.')}; see {self.prog} --help")


class _Version(argparse.Action):
    def __call__(self, parser: argparse.ArgumentParser, *unused: object) -> None:
        from importlib.metadata import version

        say(f"{PROGRAM} {version(PROGRAM)}")
        parser.exit()
