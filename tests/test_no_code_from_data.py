"""No file that a person hands over is ever run: the sources know no pickle, no eval, and no loader
that would."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SOURCES = sorted(
    path for folder in ("montecarlo", "studies") for path in (ROOT / folder).rglob("*.py")
)

MODULES = {
    "pickle",
    "cPickle",
    "_pickle",
    "dill",
    "cloudpickle",
    "marshal",
    "shelve",
    "yaml",
    "jsonpickle",
    "code",
    "codeop",
    "runpy",
    "imp",
    "pty",
}
CALLS = {
    "eval",
    "exec",
    "compile",
    "__import__",
    "execfile",
    "os.system",
    "os.popen",
    "importlib.import_module",
    "joblib.load",
    "joblib.dump",
}
METHODS = {"read_pickle", "to_pickle"}  # of pandas, whatever it is called
LOADERS = {"load", "fromfile", "genfromtxt", "loadtxt", "memmap"}  # of numpy

ALLOWED = {
    # what every ticket to a worker holds, packed once; tickets are pickles whoever sends them
    "montecarlo/engine/job.py: pickle",
} | {
    f"{name}.py: importlib.import_module"
    for name in (
        "montecarlo/__init__",
        "montecarlo/engine/workers/processes",
        "studies/__init__",
        "studies/cli/selfcheck",
    )
}  # of names of their own


def findings(text: str) -> Iterator[str]:
    """What of the above a source has."""
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            yield from (
                alias.name for alias in node.names if alias.name.partition(".")[0] in MODULES
            )
        elif isinstance(node, ast.ImportFrom) and node.module:
            if node.module.partition(".")[0] in MODULES:
                yield node.module
            yield from (
                f"{node.module}.{alias.name}"
                for alias in node.names
                if f"{node.module}.{alias.name}" in CALLS
            )
        elif isinstance(node, ast.Call):
            yield from _call(node)


def _call(node: ast.Call) -> Iterator[str]:
    name = ast.unparse(node.func)
    keywords = {keyword.arg: ast.unparse(keyword.value) for keyword in node.keywords}
    if name in CALLS or name.rpartition(".")[2] in METHODS:
        yield name
    if keywords.get("allow_pickle", "False") != "False":
        yield f"{name}(allow_pickle={keywords['allow_pickle']})"
    package, _, function = name.rpartition(".")
    if (
        package in ("np", "numpy")
        and function in LOADERS
        and keywords.get("allow_pickle") != "False"
    ):
        yield f"{name} without allow_pickle=False"
    if keywords.get("shell", "False") != "False":
        yield f"{name}(shell={keywords['shell']})"


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("import pickle", ["pickle"]),
        ("import os, marshal as m", ["marshal"]),
        ("from shelve import open", ["shelve"]),
        ("x = eval('1')", ["eval"]),
        ("exec(text)", ["exec"]),
        ("from joblib import load", ["joblib.load"]),
        ("np.load(p)", ["np.load without allow_pickle=False"]),
        ("np.load(p, allow_pickle=False)", []),
        (
            "np.load(p, allow_pickle=True)",
            ["np.load(allow_pickle=True)", "np.load without allow_pickle=False"],
        ),
        ("pd.read_pickle(p)", ["pd.read_pickle"]),
        ("np.savez(p, allow_pickle=flag)", ["np.savez(allow_pickle=flag)"]),
        ("subprocess.run(c, shell=True)", ["subprocess.run(shell=True)"]),
        ("re.compile('x')", []),
        ("tomllib.load(f)", []),
        ("import yaml", ["yaml"]),
        ("model.evaluate()", []),
    ],
)
def test_the_search_finds_what_it_is_for(text: str, found: list[str]) -> None:
    assert list(findings(text)) == found


def test_sources_run_nothing_from_data() -> None:
    assert len(SOURCES) > 150
    found = {
        f"{path.relative_to(ROOT).as_posix()}: {name}"
        for path in SOURCES
        for name in findings(path.read_text(encoding="utf-8"))
    }
    assert found == ALLOWED
