"""Who may import whom. The folders of montecarlo/ have ranks; a file imports only from lower ones, and absolutely."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
RANK = {"errors": 0, "quantities": 1, "sampling": 2, "plant": 2, "relays": 2, "secondary": 3, "study": 4,
        "estimates": 5, "engine": 6, "report": 7}
HEAVY = {"pandas", "pyarrow", "seaborn", "matplotlib", "joblib", "tqdm", "xlsxwriter", "distributed",
         "filelock"}                                       # scipy.stats: 0.2 to 1.6 s each
LATE = {Path("montecarlo/engine/workers") / name for name in ("cluster.py", "dask_backend.py")}  # with --cluster alone
FILES = sorted([*(ROOT / "montecarlo").rglob("*.py"), *(ROOT / "studies").rglob("*.py")])


def imports(tree: ast.AST, *, top_only: bool = False) -> Iterator[tuple[str, int]]:
    """Every imported module, as a full name, and the level of a relative import."""
    for node in (_at_top(tree) if top_only else ast.walk(tree)):
        if isinstance(node, ast.ImportFrom):
            yield node.module or "", node.level
            yield from ((f"{node.module}.{name.name}", node.level) for name in node.names)
        elif isinstance(node, ast.Import):
            yield from ((name.name, 0) for name in node.names)


def _at_top(tree: ast.AST) -> Iterator[ast.AST]:
    """What runs when the module is imported: not in functions, not under TYPE_CHECKING."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)) or _for_types_only(node):
            continue
        yield node
        yield from _at_top(node)


def _for_types_only(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"


def faults(path: Path, source: str) -> list[str]:
    """What a file at `path` (from the root) imports against the rules."""
    tree, parts = ast.parse(source), path.with_suffix("").parts
    here = parts[1] if parts[0] == "montecarlo" and len(parts) > 2 else None
    found = []
    for module, level in imports(tree):
        names = module.split(".")
        there = names[1] if names[0] == "montecarlo" and len(names) > 1 else None
        if level:
            found.append(f"relative import of {module}")
        if parts[0] == "montecarlo" and names[0] in ("studies", "argparse", "tests"):
            found.append(f"montecarlo/ imports {module}")
        if parts[0] == "montecarlo" and here != "report" and names[0] in ("matplotlib", "seaborn"):
            found.append(f"plotting outside report/: {module}")
        if here in RANK and there in RANK and there != here and RANK[there] >= RANK[here]:
            found.append(f"{here} imports {there}")
    for module, _ in () if path in LATE else imports(tree, top_only=True):
        if module.split(".")[0] in HEAVY or module.startswith("scipy.stats"):
            found.append(f"heavy import at top level: {module}")
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_file_keeps_its_layer(path: Path) -> None:
    assert not faults(path.relative_to(ROOT), path.read_text(encoding="utf-8"))


def test_what_is_imported_late_is_imported_nowhere_at_the_top() -> None:
    for path in set(FILES) - {ROOT / late for late in LATE}:
        at_top = {module for module, _ in imports(ast.parse(path.read_text(encoding="utf-8")), top_only=True)}
        assert not at_top & {".".join(late.with_suffix("").parts) for late in LATE}


def test_every_folder_has_a_rank() -> None:
    folders = {path.relative_to(ROOT / "montecarlo").parts[0].removesuffix(".py") for path in FILES
               if path.is_relative_to(ROOT / "montecarlo")}
    assert folders - {"__init__"} == RANK.keys()


@pytest.mark.parametrize(("path", "source"), [
    ("montecarlo/plant/a.py", "from montecarlo.relays.schemes import Scheme"),
    ("montecarlo/plant/a.py", "from montecarlo import relays"),
    ("montecarlo/study/a.py", "def f():\n    import montecarlo.engine.run"),
    ("montecarlo/study/a.py", "from . import read"),
    ("montecarlo/engine/a.py", "from studies import cli"),
    ("montecarlo/engine/a.py", "import argparse"),
    ("montecarlo/engine/a.py", "def f():\n    import seaborn"),
    ("montecarlo/report/a.py", "import pandas as pd"),
    ("montecarlo/report/a.py", "try:\n    from scipy import stats\nexcept ImportError:\n    pass"),
])
def test_the_guard_catches(path: str, source: str) -> None:
    assert faults(Path(path), source)


@pytest.mark.parametrize(("path", "source"), [
    ("montecarlo/engine/a.py", "from montecarlo.study.read import digest"),
    ("montecarlo/report/a.py", "def f():\n    import pandas"),
    ("montecarlo/report/a.py", "if TYPE_CHECKING:\n    import pandas"),
    ("montecarlo/study/a.py", "from scipy import special"),
    ("studies/a.py", "import argparse\nfrom montecarlo.report import tables"),
])
def test_the_guard_lets_through(path: str, source: str) -> None:
    assert not faults(Path(path), source)
