"""Mutated study files: a worked study with bytes, lines or values changed. Hypothesis draws; the
caller judges."""

from __future__ import annotations

import copy
import datetime
import json
import math
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from tests.made.starter import STARTER

ROOT = Path(__file__).parents[2]
REMOVE = object()

# Few samples and a lenient limit, so that what is accepted can be run in seconds and chooses a
# setting.
SMALL = {
    "samples": "16",
    "earth_fault_samples": "16",
    "installations": "16",
    "rare_samples": "0",
    "p_false_max": "0.9",
}


def small(text: str) -> str:
    """A study file with the numbers of SMALL in the places of its own; with one stabilising
    resistance, since `check` works out a peak voltage for each; without comments, in which a change
    would change nothing."""
    text = re.sub(r"""(?m)^((?:[^"'#\n]|"[^"\n]*"|'[^'\n]*')*?)[ \t]*#.*$""", r"\1", text)
    text = re.sub(r"\n{2,}", "\n", text)
    for key, value in SMALL.items():
        text = re.sub(rf"(?m)^{key} = .*$", f"{key} = {value}", text)
    return re.sub(r"(?m)^(stabilising_resistance_ohm = )\[(?:.*, )?([\d.]+)\]", r"\1[\2]", text)


def worked() -> dict[str, str]:
    """The worked studies and the starter, small, by name."""
    files = [*sorted((ROOT / "configs").glob("*.toml")), STARTER]
    return {path.stem: small(path.read_text(encoding="utf-8")) for path in files}


BASES = worked()
TREES = {name: tomllib.loads(text) for name, text in BASES.items()}


@dataclass(frozen=True)
class Case:
    """A mutated file: the study it comes from, the kind of mutation, the file's bytes."""

    base: str
    kind: str
    content: bytes


# --- bytes --------------------------------------------------------------------

ODD = (
    b"\x00",
    b"\xef\xbb\xbf",
    b"\r",
    b"\r\n",
    b"\n\r",
    b"\xff",
    b"\xc3\x28",
    b"\xed\xa0\x80",
    b"\x1b[31m",
    b"\x7f",
    "\u202e".encode(),
    "\u2028".encode(),
    "\U0001f9ea".encode(),
    "\u0430".encode(),
    "\u200b".encode(),
    b'"',
    b"'''",
    b'"""',
    b"[",
    b"]",
    b"]]",
    b"{",
    b"}",
    b"=",
    b",",
    b".",
    b"#",
    b"\\",
    b"\\u0000",
    b"-",
    b"e999",
    b"_",
    b"0x",
    b"true",
    b"nan",
    b"1979-05-27T07:32:00Z",
)


@st.composite
def by_bytes(draw: st.DrawFn) -> Case:
    base = draw(st.sampled_from(sorted(BASES)))
    content = BASES[base].encode()
    kind = draw(
        st.sampled_from(
            (
                "cut",
                "piece twice",
                "pieces swapped",
                "odd bytes",
                "byte changed",
                "line ends",
                "long line",
                "deep nesting",
                "many of one",
                "encoding",
            )
        )
    )
    place = st.integers(0, len(content))
    match kind:
        case "cut":
            start, stop = sorted((draw(place), draw(place)))
            content = content[:start] + (b"" if draw(st.booleans()) else content[stop:])
        case "piece twice":
            start, stop = sorted((draw(place), draw(place)))
            content = content[:stop] + content[start:]
        case "pieces swapped":
            a, b, c = sorted(draw(st.lists(place, min_size=3, max_size=3, unique=True)))
            content = content[:a] + content[b:c] + content[a:b] + content[c:]
        case "odd bytes":
            for _ in range(draw(st.integers(1, 4))):
                at = draw(st.one_of(place, st.just(0)))
                content = (
                    content[:at]
                    + draw(st.sampled_from(ODD)) * draw(st.sampled_from((1, 1, 1, 7)))
                    + content[at:]
                )
        case "byte changed":
            changed = bytearray(content)
            for _ in range(draw(st.integers(1, 3))):
                changed[draw(st.integers(0, len(content) - 1))] = draw(st.integers(0, 255))
            content = bytes(changed)
        case "line ends":
            content = content.replace(
                b"\n", draw(st.sampled_from((b"\r\n", b"\r", b"\n\r", b"\x0b", b"\x85", b"")))
            )
        case "long line":
            at = draw(place)
            content = (
                content[:at]
                + draw(st.sampled_from((b" ", b"a", b"9", b"0.", b"#", b'"', b"a.", b"\xc3\xa9")))
                * draw(st.sampled_from((10**3, 10**5, 4 * 10**5)))
                + content[at:]
            )
        case "deep nesting":
            opening = draw(st.sampled_from((b"[", b"{a=", b"a.", b"[a.")))
            depth = draw(st.sampled_from((15, 99, 999, 9999)))
            start = draw(st.sampled_from((b"\nextra = ", b"\n", b"\n[study.extra]\nb = ")))
            content += (
                start + opening * depth + draw(st.sampled_from((b"", b"1", b"a = 1", b"a]\n")))
            )
        case "many of one":
            row = draw(
                st.sampled_from(
                    (
                        b"\n[[external_events]]",
                        b"\n[[alternatives]]\nname = 1",
                        b"\n[[correlations]]",
                        b"\n[[policy.assumption_sets]]\nchanges = {}",
                        b"\n[[scheme.custom]]",
                        b"\n[a%d]",
                        b"\nx%d = 1",
                        b"\n[[earthing_options]]\nname = 'a'",
                        b"\n[x.%d.%d]",
                    )
                )
            )
            count = draw(st.sampled_from((30, 1000, 20_000)))
            content += b"".join(row.replace(b"%d", b"%d" % k) for k in range(count)) + b"\n"
        case "encoding":
            codec = draw(
                st.sampled_from(
                    ("utf-16", "utf-16-le", "utf-32", "utf-7", "utf-8-sig", "cp500", "latin-1")
                )
            )
            text = content.decode() if codec != "latin-1" else content.decode() + "# \u00e9\u00fc\n"
            content = text.encode(codec, "replace")
    return Case(base, kind, content)


# --- lines --------------------------------------------------------------------

LOOKALIKE = {
    "a": "\u0430",
    "e": "\u0435",
    "o": "\u043e",
    "c": "\u0441",
    "p": "\u0440",
    "i": "\u0456",
    "_": "\uff3f",
}
VALUES = (
    "",
    "nan",
    "inf",
    "-inf",
    "true",
    "[]",
    "{}",
    "''",
    "1e999",
    "-1",
    "0",
    "0x1F",
    "1_0",
    "1979-05-27",
    "07:32:00",
    "{ dist = 'normal' }",
    "{ dist = 'uniform', low = 1, high = 1 }",
    "[1, 'a']",
    "'1'",
    "1e-320",
    "9" * 400,
    "{ value = 1, value = 2 }",
    "\u0663",
    "1,5",
    "1 2",
    "= 3",
)


@st.composite
def by_lines(draw: st.DrawFn) -> Case:
    base = draw(st.sampled_from(sorted(BASES)))
    lines = BASES[base].splitlines()
    kind = draw(
        st.sampled_from(
            (
                "lines swapped",
                "line twice",
                "line lost",
                "key renamed",
                "value replaced",
                "header replaced",
                "homoglyph",
            )
        )
    )
    for _ in range(draw(st.sampled_from((1, 1, 1, 2, 5)))):
        given = [k for k, line in enumerate(lines) if re.match(r"\w+ *=", line)]
        at = draw(st.sampled_from(given))
        key, _, rest = lines[at].partition("=")
        match kind:
            case "lines swapped":
                other = draw(st.integers(0, len(lines) - 1))
                lines[at], lines[other] = lines[other], lines[at]
            case "line twice":
                lines.insert(draw(st.integers(0, len(lines))), lines[at])
            case "line lost":
                del lines[at]
            case "key renamed":
                new = draw(
                    st.one_of(
                        st.just(key.strip() + "x"),
                        st.just(key.strip()[:-2]),
                        st.just(key.upper()),
                        st.text(max_size=20).map(lambda text: json.dumps(text, ensure_ascii=False)),
                        st.just("a.b.c"),
                        st.just("'" + "k" * 10**5 + "'"),
                        st.just("_" + key),
                    )
                )
                lines[at] = f"{new} = {rest}"
            case "value replaced":
                lines[at] = f"{key} = {draw(st.sampled_from(VALUES))}"
            case "header replaced":
                heads = [k for k, line in enumerate(lines) if line.startswith("[")]
                lines[draw(st.sampled_from(heads))] = draw(
                    st.sampled_from(
                        (
                            "[a]",
                            "[[study]]",
                            "[ct.neutral_end]",
                            "[[ct]]",
                            "[external_events]",
                            "[policy.assumption_sets]",
                            "[]",
                            "[study",
                            "[''.'']",
                            "[machine.machine]",
                            "[[external_events]]",
                            "[[candidates]]",
                            "[document]",
                        )
                    )
                )
            case "homoglyph":
                letters = [k for k, letter in enumerate(lines[at]) if letter in LOOKALIKE]
                k = draw(st.sampled_from(letters)) if letters else 0
                lines[at] = (
                    lines[at][:k] + LOOKALIKE.get(lines[at][k], "\u200b") + lines[at][k + 1 :]
                )
    return Case(base, kind, ("\n".join(lines) + "\n").encode("utf-8", "replace"))


# --- values -------------------------------------------------------------------

Path_ = tuple[str | int, ...]
FILES = (
    "data.csv",
    "../data.csv",
    "../../etc/passwd",
    "/etc/passwd",
    "/dev/zero",
    "/dev/stdin",
    "/dev/full",
    "folder",
    "pipe",
    "dangling",
    "loop",
    "out",
    "zero",
    "inner",
    "",
    ".",
    "a\nb",
    "x\0y",
    "n" * 10**5,
    "C:\\data.csv",
    "\\\\host\\share",
    "utf16.csv",
    "latin.csv",
    "nul.csv",
    "wide.csv",
    "large.csv",
    "empty.csv",
    "ragged.csv",
    "quoted.csv",
    "words.csv",
    "study.toml",
    "folder/../data.csv",
    "DATA.CSV",
    "~/data.csv",
    "data.csv/",
    "socket",
    "/proc/self/environ",
    "proc",
    "http://127.0.0.1/x.csv",
)
TEXTS = (
    "",
    " ",
    "$\\frac{$",
    "x",
    "a\nb",
    "\x00",
    "\x1b[31m",
    "\u202eabc",
    "\ud7ff",
    "L1",
    "=cmd()",
    "<script>",
    "{{ 7*7 }}",
    "%s%n",
    "../../etc/passwd",
    "z" * 10**5,
    "\U0001f9ea" * 100,
    "\u0430",
    "nan",
    "1.0",
    "__class__",
    "{0}",
)
LISTS: tuple[Any, ...] = (
    [],
    [[]],
    [[[]]],
    [1],
    [1, 2],
    [2, 1],
    [0.0, 1.0],
    [math.nan],
    ["a"],
    [True],
    [None],
    [{}],
    [1] * 10**5,
    ["a", 1],
    [1e308, -1e308],
)
NUMBERS: tuple[Any, ...] = (
    0,
    -0.0,
    1,
    -1,
    2,
    16,
    0.5,
    1e-9,
    1e-30,
    5e-324,
    1e9,
    1e30,
    1e308,
    -1e308,
    math.nan,
    math.inf,
    -math.inf,
    10**400,
    -(10**400),
    2**63,
    2**31,
    1e-3,
    100,
    1e6,
)
OTHERS: tuple[Any, ...] = (
    True,
    False,
    datetime.date(2026, 1, 1),
    datetime.time(1, 2, 3),
    {},
    {"a": {"b": [1, {}]}},
    datetime.datetime(2026, 1, 1, tzinfo=datetime.UTC),
    {"": 1},
    {"dist": 1},
    {"value": {}},
    {"value": "x", "source": 3},
    {"from": 0, "to": 1, "step": 1e-9},
    {"from": 0.1, "to": 0.3, "step": 0.1},
    {"from": 1, "to": 1, "step": math.nan},
)
KEYS = (
    "x",
    "",
    "name",
    "kind",
    "samples",
    "value",
    "dist",
    "low",
    "high",
    "shared",
    "varies",
    "truncate",
    "source",
    "resistance_ohm",
    "file",
    "a.b",
    "a\nb",
    "\u0430",
    "k" * 10**5,
    "__proto__",
    "\U0001f9ea",
    "model_config",
    "model_fields",
    "_told",
    "self",
)

ANY_NUMBER = st.one_of(st.sampled_from(NUMBERS), st.floats(), st.integers(), st.floats(1e-6, 1e6))


@st.composite
def distributions(draw: st.DrawFn, near: float) -> dict[str, Any]:
    """A table that looks like a distribution, with parameters of any kind, or all of them about
    `near`."""
    number = draw(
        st.sampled_from((ANY_NUMBER, st.floats(0.8, 1.2).map(lambda factor: factor * near)))
    )
    keys = {
        "uniform": ("low", "high"),
        "normal": ("mean", "sd"),
        "lognormal": ("median", "sigma"),
        "triangular": ("low", "mode", "high"),
        "beta": ("alpha", "beta", "low", "high"),
        "weibull": ("shape", "scale"),
        "discrete": ("values", "weights"),
        "empirical": ("values",),
        "tolerance": ("nominal", "tolerance_percent", "shape"),
    }
    family = draw(st.sampled_from(sorted(keys)))
    table: dict[str, Any] = {} if family == "tolerance" else {"dist": family}
    for key in keys[family]:
        lists = key in ("values", "weights")
        table[key] = draw(st.lists(number, max_size=4)) if lists else draw(number)
    if family == "tolerance":
        table["shape"] = draw(st.sampled_from(("uniform", "triangular", "normal", "square")))
    if draw(st.booleans()):
        table |= draw(
            st.sampled_from(
                (
                    {"truncate": [0, 1]},
                    {"truncate": [1e-300, 1e-299]},
                    {"shared": True},
                    {"varies": "event"},
                    {"varies": "installation"},
                    {"source": "z" * 10**4},
                    {"truncate": [-1e308, 1e308]},
                    {"extra": 1},
                )
            )
        )
    return table


def _paths(node: Any, path: Path_ = ()) -> list[Path_]:
    items = (
        node.items()
        if isinstance(node, dict)
        else enumerate(node)
        if isinstance(node, list)
        else ()
    )
    return [path, *(found for key, value in items for found in _paths(value, (*path, key)))]


PATHS = {name: [path for path in _paths(tree) if path] for name, tree in TREES.items()}


@st.composite
def by_values(draw: st.DrawFn) -> Case:
    base = draw(st.sampled_from(sorted(TREES)))
    tree = copy.deepcopy(TREES[base])
    kind = draw(
        st.sampled_from(
            (
                "number",
                "number",
                "scaled",
                "scaled",
                "type",
                "text",
                "list",
                "key lost",
                "key added",
                "distribution",
                "distribution",
                "file",
                "moved",
            )
        )
    )
    for _ in range(draw(st.sampled_from((1, 1, 1, 1, 2, 3)))):
        numeric = [path for path in PATHS[base] if _is_number(_at(TREES[base], path))]
        any_path = draw(st.sampled_from(PATHS[base]))
        path = (
            draw(st.sampled_from(numeric))
            if kind in ("number", "scaled", "distribution", "file")
            else any_path
        )
        value: Any = REMOVE
        match kind:
            case "number":
                value = draw(ANY_NUMBER)
            case "scaled":
                factor = draw(st.sampled_from((0.5, 0.8, 0.95, 1.05, 1.3, 2.0, 10.0, 0.1, -1.0)))
                value = _at(TREES[base], path) * factor
            case "type":
                value = draw(st.sampled_from(OTHERS))
            case "text":
                value = draw(st.one_of(st.sampled_from(TEXTS), st.text(max_size=30)))
            case "list":
                value = draw(st.sampled_from(LISTS))
            case "key added":
                path = (*path[:-1], draw(st.sampled_from(KEYS)))
                value = draw(st.one_of(ANY_NUMBER, st.sampled_from(OTHERS)))
            case "distribution":
                value = draw(distributions(_at(TREES[base], path)))
            case "file":
                value = {
                    "dist": "empirical",
                    "file": draw(st.sampled_from(FILES)),
                    "column": draw(st.sampled_from(("a", "b", "", "a\nb", "c" * 10**4))),
                }
            case "moved":
                value = _at(TREES[base], draw(st.sampled_from(PATHS[base])))
        _put(tree, path, value)
    return Case(base, kind, toml(tree).encode("utf-8", "replace"))


def _at(node: Any, path: Path_) -> Any:
    for key in path:
        node = node[key]
    return node


def _put(tree: Any, path: Path_, value: Any) -> None:
    try:
        node = _at(tree, path[:-1])
        if value is REMOVE:
            del node[path[-1]]
        else:
            node[path[-1]] = copy.deepcopy(value)
    except (KeyError, IndexError, TypeError):
        pass  # an earlier change took the place away


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def toml(tree: dict[str, Any]) -> str:
    """The tree as TOML, a line a table of the top level."""
    return "".join(f"{_text(str(key))} = {_value(value)}\n" for key, value in tree.items())


def _value(value: Any) -> str:
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            return _text(value)
        case int() | float():
            return repr(value)
        case list():
            return "[" + ", ".join(map(_value, value)) + "]"
        case dict():
            return (
                "{"
                + ", ".join(f"{_text(str(key))} = {_value(item)}" for key, item in value.items())
                + "}"
            )
        case None:
            return "''"
    return str(value.isoformat())


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


cases = st.one_of(by_bytes(), by_lines(), by_values(), by_values())
