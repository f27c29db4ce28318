"""Who may import whom. The folders of both trees have ranks; a file imports only from lower ones,
and absolutely. No two files import each other, however long the way round."""

from __future__ import annotations

import ast
from collections.abc import Iterable, Iterator, Mapping
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ENGINE = {
    "errors": 0,
    "quantities": 1,
    "sampling": 2,
    "plant": 2,
    "relays": 2,
    "formulas": 3,
    "secondary": 3,
    "study": 4,
    "estimates": 5,
    "engine": 6,
    "frames": 7,
}
ROOMS = {
    "report": 0,
    "starter": 1,
    "protocol": 1,
    "nominal": 1,
    "connections": 1,
    "commissioning": 2,
    "waveforms": 2,
    "turns": 2,
    "clearing": 2,
    "verify": 2,
    "check": 5,
    "sweep": 3,
    "schemes": 4,
    "earthing": 4,
    "drivers": 4,
    "alternatives": 4,
    "measured": 4,
    "compare": 4,
    "cli": 6,
}
RANK = {"montecarlo": ENGINE, "studies": ROOMS}
# scipy.stats: 0.2 to 1.6 s each
HEAVY = {
    "pandas",
    "pyarrow",
    "seaborn",
    "matplotlib",
    "joblib",
    "xlsxwriter",
    "distributed",
    "filelock",
}
# with --cluster alone
LATE = {Path("montecarlo/engine/workers") / name for name in ("cluster.py", "dask_client.py")}
FILES = sorted([*(ROOT / "montecarlo").rglob("*.py"), *(ROOT / "studies").rglob("*.py")])


def imports(tree: ast.AST, *, top_only: bool = False) -> Iterator[tuple[str, int]]:
    """Every imported module, as a full name, and the level of a relative import."""
    for node in _at_top(tree) if top_only else ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            yield node.module or "", node.level
            yield from ((f"{node.module}.{name.name}", node.level) for name in node.names)
        elif isinstance(node, ast.Import):
            yield from ((name.name, 0) for name in node.names)


def _at_top(tree: ast.AST) -> Iterator[ast.AST]:
    """What runs when the module is imported: not in functions, not under TYPE_CHECKING."""
    for node in ast.iter_child_nodes(tree):
        function = isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef))
        if function or _for_types_only(node):
            continue
        yield node
        yield from _at_top(node)


def _for_types_only(node: ast.AST) -> bool:
    named = isinstance(node, ast.If) and isinstance(node.test, ast.Name)
    return named and node.test.id == "TYPE_CHECKING"


def faults(path: Path, source: str) -> list[str]:
    """What a file at `path` (from the root) imports against the rules."""
    tree = ast.parse(source)
    parts = path.with_suffix("").parts
    ranks = RANK[parts[0]]
    here = parts[1] if len(parts) > 2 or parts[1] in ranks else None
    found = []
    for module, level in imports(tree):
        names = module.split(".")
        there = names[1] if names[0] == parts[0] and len(names) > 1 else None
        if level:
            found.append(f"relative import of {module}")
        if parts[0] == "montecarlo" and names[0] in ("studies", "argparse", "tests"):
            found.append(f"montecarlo/ imports {module}")
        if parts[0] == "montecarlo" and names[0] in ("matplotlib", "seaborn"):
            found.append(f"plotting in the engine: {module}")
        if here in ranks and there in ranks and there != here and ranks[there] >= ranks[here]:
            found.append(f"{here} imports {there}")
    for module, _ in () if path in LATE else imports(tree, top_only=True):
        if module.split(".")[0] in HEAVY or module.startswith("scipy.stats"):
            found.append(f"heavy import at top level: {module}")
    return found


def circle(modules: Mapping[str, Iterable[str]]) -> list[str]:
    """Modules that import each other in a ring, the first one again at its end; [] without one."""
    try:
        TopologicalSorter(modules).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []


def graph() -> dict[str, set[str]]:
    """Of every file of both trees, which other files it imports, in functions too."""
    names = {".".join(path.relative_to(ROOT).with_suffix("").parts): path for path in FILES}
    known = {name.removesuffix(".__init__"): path for name, path in names.items()}
    return {
        name: {
            module
            for module, _ in imports(ast.parse(path.read_text(encoding="utf-8")))
            if module in known and module != name
        }
        for name, path in known.items()
    }


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_file_keeps_its_layer(path: Path) -> None:
    assert not faults(path.relative_to(ROOT), path.read_text(encoding="utf-8"))


def test_no_files_import_each_other() -> None:
    modules = {name: others - {"montecarlo", "studies"} for name, others in graph().items()}
    assert not circle(modules)


def test_a_ring_is_found() -> None:
    ring = circle({"a": ["b"], "b": ["c"], "c": ["a"], "d": ["a"]})
    assert set(ring) == {"a", "b", "c"}


def test_what_is_imported_late_is_imported_nowhere_at_the_top() -> None:
    late = {".".join(path.with_suffix("").parts) for path in LATE}
    for path in set(FILES) - {ROOT / path for path in LATE}:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        assert not {module for module, _ in imports(tree, top_only=True)} & late


@pytest.mark.parametrize("tree", RANK)
def test_every_folder_has_a_rank(tree: str) -> None:
    inside = [path.relative_to(ROOT / tree) for path in FILES if path.is_relative_to(ROOT / tree)]
    folders = {path.parts[0].removesuffix(".py") for path in inside}
    assert folders - {"__init__", "__main__"} == RANK[tree].keys()


@pytest.mark.parametrize(
    ("path", "source"),
    [
        ("montecarlo/plant/a.py", "from montecarlo.relays.schemes import Scheme"),
        ("montecarlo/plant/a.py", "from montecarlo import relays"),
        ("montecarlo/study/a.py", "def f():\n    import montecarlo.engine.run"),
        ("montecarlo/study/a.py", "from . import read"),
        ("montecarlo/engine/a.py", "from studies import cli"),
        ("montecarlo/engine/a.py", "import argparse"),
        ("montecarlo/frames/a.py", "def f():\n    import seaborn"),
        ("montecarlo/frames/a.py", "import pandas as pd"),
        (
            "montecarlo/frames/a.py",
            "try:\n    import scipy.stats\nexcept ImportError:\n    pass",
        ),
        ("studies/report/a.py", "from studies.sweep import text"),
        ("studies/schemes/a.py", "from studies.earthing.run import EarthingOptions"),
        ("studies/sweep/a.py", "def f():\n    from studies.cli.folder import Destination"),
    ],
)
def test_the_guard_catches(path: str, source: str) -> None:
    assert faults(Path(path), source)


@pytest.mark.parametrize(
    ("path", "source"),
    [
        ("montecarlo/engine/a.py", "from montecarlo.study.read import digest"),
        ("montecarlo/frames/a.py", "def f():\n    import pandas"),
        ("montecarlo/frames/a.py", "if TYPE_CHECKING:\n    import pandas"),
        ("montecarlo/study/a.py", "from scipy import special"),
        ("studies/cli/a.py", "import argparse\nfrom montecarlo.frames import result"),
        ("studies/schemes/a.py", "from studies.sweep.text import result_text"),
    ],
)
def test_the_guard_lets_through(path: str, source: str) -> None:
    assert not faults(Path(path), source)
