"""python -m tests.house [--quick]: measures of the house, one table. The places behind a number are
listed below it. `--quick` looks at two small folders."""

from __future__ import annotations

import argparse
import ast
import io
import re
import tokenize
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from tests.test_layers import RANK, ROOT, circle, faults, graph

WIDTH = 100
OURS = {"montecarlo", "studies", "tests"}
FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)
AXES = {
    "phase_pickup_a",
    "earth_pickup_a",
    "stabilising_resistance_ohm",
    "delay_s",
    "first_slope",
    "second_slope",
    "turning_point_a",
}
SIDES = {"internal", "external", "state"}
NAMES_A_STRATUM = re.compile(r"\b(?:stratum|name|chunk)\b")  # what is parsed, as it is called here
TUPLES = {"_replace", "_asdict", "_fields", "_make", "_exit"}  # public, in spite of the underscore
PAPERS = ("README.md", "DEVELOPERS.md")
Sources = Mapping[Path, str]


# --- tokens and lines ---------------------------------------------------------


def docstring_lines(tree: ast.AST) -> set[int]:
    """The numbers of the lines that docstrings take."""
    found: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, (ast.Module, ast.ClassDef, *FUNCTIONS)) and _docstring(node):
            first = node.body[0]
            found.update(range(first.lineno, (first.end_lineno or first.lineno) + 1))
    return found


def _docstring(node: Any) -> str:
    return ast.get_docstring(node) or ""


def tokens_and_lines(source: str) -> tuple[int, int]:
    """Names, operators, numbers and strings of a file, and the lines that hold any. Docstrings and
    comments do not count."""
    counted = {tokenize.NAME, tokenize.OP, tokenize.NUMBER, tokenize.STRING}
    docstrings = docstring_lines(ast.parse(source))
    lines = [
        token.start[0]
        for token in tokenize.generate_tokens(io.StringIO(source).readline)
        if token.type in counted and token.start[0] not in docstrings
    ]
    return len(lines), len(set(lines))


def wide_lines(source: str, width: int = WIDTH) -> list[int]:
    """Numbers of the lines over `width` columns."""
    return [no for no, line in enumerate(source.splitlines(), 1) if len(line) > width]


def longest_function(source: str) -> tuple[int, str]:
    """The lines of the longest function, its docstring left out, and its name."""
    tree = ast.parse(source)
    skipped = docstring_lines(tree)
    found = [(0, "")]
    for node in ast.walk(tree):
        if isinstance(node, FUNCTIONS):
            lines = set(range(node.lineno, (node.end_lineno or node.lineno) + 1))
            found.append((len(lines - skipped), node.name))
    return max(found)


# --- docstrings ---------------------------------------------------------------


def public_functions(tree: ast.AST) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Functions and methods without an underscore, in classes without one. No properties, and
    nothing inside a function."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            yield from public_functions(node)
        elif isinstance(node, FUNCTIONS) and not (node.name.startswith("_") or _is_property(node)):
            yield node


def _is_property(node: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    return any("property" in ast.unparse(each) for each in node.decorator_list)


def is_documented(node: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    """Whether the docstring says what goes in (Parameters) and what comes out (Returns), as far as
    something does."""
    text = _docstring(node)
    arguments = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    arguments += [each for each in (node.args.vararg, node.args.kwarg) if each]
    takes = any(each.arg not in ("self", "cls") for each in arguments)
    gives = node.returns is not None and ast.unparse(node.returns) not in ("None", "NoReturn")
    if takes and not _has_section(text, "Parameters"):
        return False
    return not gives or _has_section(text, "Returns") or _has_section(text, "Yields")


def told_by_a_base(trees: Iterable[ast.AST]) -> set[ast.AST]:
    """Methods that a class above theirs documents, which their readers find there."""
    every = [n for tree in trees for n in ast.walk(tree) if isinstance(n, ast.ClassDef)]
    bases = {one.name: [ast.unparse(base).split("[")[0] for base in one.bases] for one in every}
    methods = [(one.name, m) for one in every for m in one.body if isinstance(m, FUNCTIONS)]
    told = {(name, method.name) for name, method in methods if is_documented(method)}

    def above(name: str, method: str) -> bool:
        return any((base, method) in told or above(base, method) for base in bases.get(name, ()))

    return {method for name, method in methods if above(name, method.name)}


def _has_section(docstring: str, name: str) -> bool:
    return re.search(rf"^{name}\n-{{3,}}$", docstring, re.MULTILINE) is not None


# --- strings that decide ------------------------------------------------------


def stratum_parsings(source: str) -> list[int]:
    """Lines in which the name of a stratum is taken apart (heuristic): `partition` or `split` at a
    dot, or `startswith` of a side, of something that is called stratum, name or chunk."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.args):
            continue
        first = ast.unparse(node.args[0]).strip("'\"")
        cut = node.func.attr in ("partition", "rpartition", "split", "rsplit") and first == "."
        begins = node.func.attr in ("startswith", "removeprefix") and first.rstrip(".") in SIDES
        if (cut or begins) and NAMES_A_STRATUM.search(ast.unparse(node.func.value)):
            found.append(node.lineno)
    return found


def declares_axes(source: str) -> bool:
    """Whether at least three of the settings' axes stand as strings in one tuple, list, set or
    dict."""
    for node in ast.walk(ast.parse(source)):
        parts: Iterable[ast.AST | None] = ()
        if isinstance(node, (ast.Tuple, ast.List, ast.Set)):
            parts = node.elts
        elif isinstance(node, ast.Dict):
            parts = node.keys
        keys = {part.value for part in parts if isinstance(part, ast.Constant)}
        if len(keys & AXES) >= 3:
            return True
    return False


# --- inner names of other libraries -------------------------------------------


def bound_names(source: str) -> set[str]:
    """Every name with one leading underscore that a file itself gives to something."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, (ast.ClassDef, *FUNCTIONS)):
            found.add(node.name)
        elif isinstance(node, (ast.Name, ast.Attribute)) and isinstance(node.ctx, ast.Store):
            owner = node.value if isinstance(node, ast.Attribute) else None
            if owner is None or (isinstance(owner, ast.Name) and owner.id in ("self", "cls")):
                found.add(node.id if isinstance(node, ast.Name) else node.attr)
    return {name for name in found if _is_inner(name)}


def inner_names(source: str, ours: set[str]) -> list[tuple[int, str]]:
    """Lines that use an inner name of another library (heuristic): an import of it, or an attribute
    `_name` that is not among `ours`, the names that our own files bind."""
    found = []
    for node in ast.walk(ast.parse(source)):
        names: list[str] = []
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] not in OURS:
            names = [*(node.module or "").split("."), *(each.name for each in node.names)]
        elif isinstance(node, ast.Import):
            names = [part for each in node.names for part in each.name.split(".")]
        elif isinstance(node, ast.Attribute) and node.attr not in ours | TUPLES:
            names = [node.attr]
        found += [(node.lineno, name) for name in names if _is_inner(name)]
    return found


def _is_inner(name: str) -> bool:
    return name.startswith("_") and not name.startswith("__") and name != "_"


# --- the table ----------------------------------------------------------------


def sources(folders: Iterable[str]) -> dict[Path, str]:
    """The product's files below these folders of the root."""
    paths = [path for folder in folders for path in sorted((ROOT / folder).rglob("*.py"))]
    return {path.relative_to(ROOT): path.read_text(encoding="utf-8") for path in paths}


def places(files: Sources, lines: Callable[[str], Iterable[int]]) -> list[str]:
    """path:line of every line that `lines` finds."""
    return [f"{path}:{line}" for path, text in files.items() for line in lines(text)]


def undocumented(files: Sources) -> tuple[int, list[str]]:
    """How many public functions the engine has, and those whose docstring lacks a section."""
    trees = {path: ast.parse(text) for path, text in files.items() if path.parts[0] == "montecarlo"}
    inherited = told_by_a_base(trees.values())
    every = [(path, node) for path, tree in trees.items() for node in public_functions(tree)]
    lacking = [
        f"{path}:{node.lineno} {node.name}"
        for path, node in every
        if not is_documented(node) and node not in inherited
    ]
    return len(every), lacking


def tokens_a_line(files: Sources) -> tuple[int, float]:
    """Tokens of all files, and tokens a line of code."""
    pairs = [tokens_and_lines(text) for text in files.values()]
    tokens = sum(tokens for tokens, _ in pairs)
    return tokens, tokens / sum(lines for _, lines in pairs)


def widest(path: Path) -> tuple[int, int]:
    """Lines of a text file, and the columns of its widest line."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return len(lines), max(map(len, lines))


def ring() -> list[str]:
    """Files that import each other in a ring; [] without one."""
    return circle({name: others - OURS for name, others in graph().items()})


def rows(files: Sources) -> Iterator[tuple[str, str, list[str]]]:
    """Measure, value, and the places behind it."""
    upward = [f"{path}: {one}" for path, text in files.items() for one in faults(path, text)]
    tokens, dense = tokens_a_line(files)
    public, lacking = undocumented(files)
    ours = {name for text in files.values() for name in bound_names(text)}
    inner = [
        f"{path}:{line} {name}"
        for path, text in files.items()
        for line, name in inner_names(text, ours)
    ]
    axes = [str(path) for path, text in files.items() if declares_axes(text)]
    long_file = max((len(text.splitlines()), str(path)) for path, text in files.items())
    long_function = max((*longest_function(text), str(path)) for path, text in files.items())
    wide = places(files, wide_lines)
    parsed = places(files, stratum_parsings)
    rings = ring()
    yield "files in a ring of imports", f"{len(set(rings))}", rings
    yield "imports against the layers", f"{len(upward)}", upward
    yield "product tokens", f"{tokens:,}", []
    yield "tokens a line of code", f"{dense:.2f}", []
    yield f"lines over {WIDTH} columns", f"{len(wide)}", wide
    yield "public functions of the engine", f"{public}", []
    yield "documented, with sections", f"{1 - len(lacking) / max(public, 1):.1%}", lacking
    yield "places that parse a stratum's name", f"{len(parsed)}", parsed
    yield "modules that declare the settings' axes", f"{len(axes)}", axes
    yield "inner names of other libraries", f"{len(inner)}", inner
    for name in PAPERS:
        lines, columns = widest(ROOT / name)
        yield f"{name}: lines, widest", f"{lines}, {columns}", []
    yield "longest file, lines", f"{long_file[0]}", [long_file[1]]
    yield "longest function, lines", f"{long_function[0]}", [" ".join(long_function[:0:-1])]


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.house", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="two small folders alone")
    parser.add_argument("--places", action="store_true", help="list the places behind each number")
    given = parser.parse_args()
    folders = ("montecarlo/formulas", "montecarlo/sampling") if given.quick else tuple(RANK)
    table = list(rows(sources(folders)))
    print("| measure | value |\n|---|---|")
    for measure, value, _ in table:
        print(f"| {measure} | {value} |")
    for measure, _, found in table if given.places else ():
        print("", f"{measure}:", *(found or ["none"]), sep="\n  ")


if __name__ == "__main__":
    main()
