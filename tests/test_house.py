"""The measures of the house: that they count what they say, and limits that are met and stay so."""

from __future__ import annotations

import ast

import pytest

from tests.house import (
    RANK,
    bound_names,
    declares_axes,
    inner_names,
    is_documented,
    longest_function,
    places,
    public_functions,
    sources,
    stratum_parsings,
    tokens_a_line,
    tokens_and_lines,
    told_by_a_base,
    undocumented,
    wide_lines,
)

TOKENS_A_LINE = 9.0
DOCUMENTED = 0.99  # share of the public functions with sections
WIDE = 0  # lines over 100 columns

FUNCTION = '''
def current(volts, ohms):
    """Current. [A]

    Parameters
    ----------
    volts, ohms : float

    Returns
    -------
    float
    """
    return volts / ohms
'''


def function(source: str) -> ast.FunctionDef | ast.AsyncFunctionDef:
    (found,) = public_functions(ast.parse(source))
    return found


# --- the limits ---------------------------------------------------------------


def test_the_product_keeps_its_limits() -> None:
    files = sources(RANK)
    assert len(files) > 200
    assert len(places(files, wide_lines)) <= WIDE
    assert tokens_a_line(files)[1] <= TOKENS_A_LINE
    public, lacking = undocumented(files)
    assert public > 300
    assert 1 - len(lacking) / public >= DOCUMENTED, lacking


# --- what is counted ----------------------------------------------------------


def test_tokens_leave_out_docstrings_and_comments() -> None:
    assert tokens_and_lines('"""Text."""\n# more\nx = 1  # that\n') == (3, 1)
    assert tokens_and_lines("f(a, b)\n\ny = 'text'\n") == (6 + 3, 2)


def test_wide_lines_are_those_over_the_width() -> None:
    assert wide_lines("a" * 100 + "\n" + "a" * 101 + "\n") == [2]


def test_the_longest_function_without_its_docstring() -> None:
    assert longest_function("def a():\n    pass\n\n\n" + FUNCTION) == (2, "current")
    assert longest_function("x = 1") == (0, "")


def test_public_functions_are_those_that_others_may_call() -> None:
    source = """
def seen(): ...
def _inner(): ...
class Shown:
    def method(self):
        def inside(): ...
    @property
    def size(self): ...
    def __len__(self): ...
class _Hidden:
    def method(self): ...
"""
    assert [node.name for node in public_functions(ast.parse(source))] == ["seen", "method"]


@pytest.mark.parametrize(
    ("source", "documented"),
    [
        (FUNCTION, True),
        (FUNCTION.replace("Returns", "Gives"), True),  # no annotation: nothing known to return
        (FUNCTION.replace("ohms):", "ohms) -> float:"), True),
        (FUNCTION.replace("ohms):", "ohms) -> float:").replace("Returns", "Gives"), False),
        (FUNCTION.replace("Parameters", "Arguments"), False),
        ("def a(self) -> None: ...", True),
        ("def a(self) -> int: ...", False),
        ("def a(*, key): ...", False),
        ('def a() -> int:\n    """Text.\n\n    Yields\n    ------\n    int\n    """', True),
    ],
)
def test_documented_is_what_says_what_goes_in_and_out(source: str, documented: bool) -> None:
    assert is_documented(function(source)) is documented


def test_what_a_class_above_documents_needs_no_second_text() -> None:
    source = """
class Above:
    def told(self) -> int:
        '''Text.

        Returns
        -------
        int
        '''
    def mute(self) -> int: ...
class Between(Above): ...
class Below(Between):
    def told(self) -> int: ...
    def mute(self) -> int: ...
"""
    inherited = told_by_a_base([ast.parse(source)])
    assert [(node.name, node.lineno) for node in inherited] == [("told", 13)]


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("side, _, kind = stratum.partition('.')", [1]),
        ("x = block.chunk.stratum.split('.')[0]", [1]),
        ("x = 1\nif name.startswith('external.'): ...", [2]),
        ("table, *path = key.split('.')", []),
        ("name.partition('=')", []),
        ("name.startswith('x')", []),
    ],
)
def test_parsings_of_a_stratum_are_found(source: str, found: list[int]) -> None:
    assert stratum_parsings(source) == found


@pytest.mark.parametrize(
    ("source", "declares"),
    [
        ("A = ('phase_pickup_a', 'earth_pickup_a', 'delay_s', 'x')", True),
        ("A = {'phase_pickup_a': 1, 'first_slope': 2, 'second_slope': 3}", True),
        ("A = ('phase_pickup_a', 'earth_pickup_a')", False),
        ("f('phase_pickup_a', 'first_slope', 'second_slope')", False),
    ],
)
def test_declarations_of_the_axes_are_found(source: str, declares: bool) -> None:
    assert declares_axes(source) is declares


def test_inner_names_of_others_are_found_and_ours_are_not() -> None:
    source = """
from joblib._dask import Backend
import numpy._core
from montecarlo.study import _ours
lock._context.handle = 1
self._mine = other._mine
row._replace(a=1)
x.__class__
"""
    ours = bound_names(source)
    assert ours == {"_mine"}
    assert inner_names(source, ours) == [(2, "_dask"), (3, "_core"), (5, "_context")]
