"""Every script that the documents of developers name still runs and prints its tables; a run with
`--quick` takes seconds.

A script that is named there and knows no `--quick` fails here. Those of .ci need a network: their
syntax, their refusals and the files that they name are looked at."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
DOCUMENTS = [ROOT / "DEVELOPERS.md", ROOT / "tests" / "MEASUREMENTS.md"]
TEXT = "\n".join(path.read_text(encoding="utf-8") for path in DOCUMENTS)
NAMED = sorted(set(re.findall(r"python -m (tests(?:\.\w+)+)", TEXT)))
SAID = {
    "tests.coverage.racing": "runs whose chosen setting was left out: ",
    "tests.coverage.chosen": "chosen beyond the limit: ",
    "tests.trouble.kills": "1 kills in 1 runs",
}  # by those that print no table
CI = ("run", "versions", "wheel")


def test_the_scripts_are_found_in_the_document() -> None:
    assert {
        "tests.benchmarks",
        "tests.benchmarks.cluster",
        "tests.benchmarks.missed",
        "tests.benchmarks.rare",
        "tests.benchmarks.steps",
        "tests.coverage.missed",
        "tests.coverage.pairs",
        "tests.coverage.rare",
        "tests.coverage.real",
        "tests.coverage.whole",
        "tests.fuzz",
        "tests.gallery",
        "tests.house",
        "tests.trouble.kills",
    } <= set(NAMED)


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMED)
def test_a_script_runs_and_prints_its_tables(name: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", name, "--quick"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    if name in SAID:
        assert SAID[name] in done.stdout
        return
    tables = tables_of(done.stdout)
    assert tables
    for head, *rows in tables:
        assert rows, head
        assert {len(row) for row in rows} == {len(head)}, head
        assert any(re.search(r"\d", cell) for row in rows for cell in row[1:]), head


def tables_of(text: str) -> list[list[list[str]]]:
    """The tables in a text: their heads, then their rows, without the line between."""
    found: list[list[list[str]]] = []
    for before, line in zip(["", *text.splitlines()], text.splitlines(), strict=False):
        if line.startswith("|"):
            if not before.startswith("|"):
                found.append([])
            if not line.startswith("|---"):
                found[-1].append([cell.strip() for cell in line.strip().strip("|").split("|")])
    return found


# --- .ci ----------------------------------------------------------------------


@pytest.mark.parametrize("name", CI)
def test_a_script_of_ci_is_sound_shell_around_sound_python(name: str) -> None:
    path = ROOT / ".ci" / name
    assert os.access(path, os.X_OK)
    subprocess.run(["bash", "-n", path], check=True)
    for code in re.findall(r"<<'END'\n(.*?)\nEND\n", path.read_text(encoding="utf-8"), re.DOTALL):
        ast.parse(code)


@pytest.mark.parametrize("name", CI)
def test_what_a_script_of_ci_names_is_there(name: str) -> None:
    text = (ROOT / ".ci" / name).read_text(encoding="utf-8")
    paths = re.findall(r"(?<![\w/.])(?:tests|configs)/[\w/.]*\w", text)
    assert [path for path in paths if not (ROOT / path).exists()] == []
    assert name == "run" or len(paths) >= 4


def test_versions_refuses_what_it_does_not_know() -> None:
    done = subprocess.run(
        [ROOT / ".ci" / "versions", "oldest"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "name lowest, newest or both" in done.stderr
