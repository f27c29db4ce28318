"""The connection diagram draws the scheme's table: every CT, leg and element once, every sign as it
stands there."""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

import numpy as np
import pytest

from montecarlo.relays.places import PLACES
from montecarlo.relays.schemes import BUILT_IN, OF_GROUPS
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from montecarlo.study.read import read_study
from studies.connections.facts import connections, followers
from studies.connections.figure import drawings, figure_of, pictures, svg_of
from studies.connections.layout import layout
from studies.connections.shapes import Box, Circle, Drawing, Line, Role, Text
from studies.report.look import look
from tests.made.boxes import assert_text_is_readable, boxes
from tests.made.branches import BRANCHES
from tests.made.custom_schemes import PHASES, element, leg, line_ends, phase_leg
from tests.made.starter import STARTER
from tests.made.studies import study_with

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tests.made.boxes import Boxes

ROOT = Path(__file__).parents[4]
FILES = [STARTER, *sorted((ROOT / "configs").glob("*.toml"))]
PRINTED = ("schemes_11kv", "transformer_earthed_13_8kv")  # every scheme; the other earthing
Changes = dict[str, Any]
PHASE: Changes = {"phase_pickup_a": [0.1]}
EARTH: Changes = {"earth_pickup_a": [0.05]}
NEUTRAL: Changes = {"ct.neutral_conductor": {}}
SECOND: Changes = {"ct.second_neutral_end": {}, "ct.second_line_end": {}}
LINE = line_ends("-")
ALL_NEUTRAL = line_ends("", "neutral_end")


def own(legs: list[Any], elements: list[Any], **changes: Any) -> Study:
    """A study with a scheme of its own."""
    scheme = {"name": "mine", "legs": legs, "elements": elements}
    candidates: Changes = {}
    for one in elements:
        candidates |= PHASE if one["setting"] == "phase" else EARTH
    return study_with(
        {"scheme.kind": "mine", "scheme.custom": [scheme], "candidates": candidates} | changes
    )


def built_in(kind: str, **changes: Any) -> Study:
    alone = ("restricted_earth_fault", "biased_restricted_earth_fault", "neutral_to_neutral")
    candidates: Changes = EARTH if kind in alone else PHASE
    if kind in ("two_phase_one_earth", "biased_with_restricted_earth_fault"):
        candidates = PHASE | EARTH
    if kind.startswith("biased"):
        candidates = candidates | {"first_slope": [0.2]}
    stabilised = not kind.startswith("biased") and kind not in OF_GROUPS
    if kind in OF_GROUPS:
        changes = BRANCHES | changes
    grid = {"stabilising_resistance_ohm": [0, 300]} if stabilised else {}
    return study_with({"scheme.kind": kind, "candidates": candidates | grid} | NEUTRAL | changes)


PHASE_LEGS = [phase_leg(phase) for phase in PHASES]
PHASE_ELEMENTS = [element(phase, "phase") for phase in PHASES]
MIXED = [*ALL_NEUTRAL, "-line_end.L1", "line_end.L2", "-line_end.L3"]
OWN = {
    "second cores": own(
        [
            *PHASE_LEGS,
            leg(
                "residual",
                *line_ends("", "second_neutral_end"),
                *line_ends("-", "second_line_end"),
                stabilising=True,
            ),
        ],
        [*PHASE_ELEMENTS, element("residual", "earth")],
        **SECOND,
    ),
    "biased against the neutral": own(
        [
            *PHASE_LEGS,
            leg("a_long_name_of_a_leg", "neutral_conductor", *LINE, resistance_ohm=12.5),
        ],
        [
            *PHASE_ELEMENTS,
            element("a_long_name_of_a_leg", "earth", bias_cts=["neutral_conductor", "line_end.L1"]),
        ],
        **NEUTRAL,
        **{"scheme.leads": "six_wire", "candidates": PHASE | EARTH | {"first_slope": [0.1]}},
    ),
    "one CT turned in the residual leg": own(
        [*PHASE_LEGS, leg("earth", *MIXED)], [*PHASE_ELEMENTS, element("earth", "earth")]
    ),
    "all turned round": own([leg("L1", "-neutral_end.L1", "line_end.L1")], PHASE_ELEMENTS[:1]),
    "one end alone": own([leg("earth", *LINE)], [element("earth", "earth")]),
    "groups beside ends": own(
        [
            leg("L1", "group_1.L1", "-group_2.L1", stabilising=True),
            leg("L2", "core_balance.L2"),
            leg("L3", "neutral_end.L3", "-line_end.L3"),
            leg("link", "star_link"),
        ],
        [*PHASE_ELEMENTS, element("link", "earth")],
        **BRANCHES,
    ),
    "several elements in one leg": own(
        [leg("L1", "neutral_end.L1", "-line_end.L1")],
        [element("L1", "phase"), element("L1", "earth")],
    ),
}
STUDIES = {kind: built_in(kind) for kind in BUILT_IN} | OWN
STUDIES["six-wire"] = built_in("per_phase", **{"scheme.leads": "six_wire"})
for more in OF_GROUPS:
    STUDIES[f"{more}, six-wire"] = built_in(more, **{"scheme.leads": "six_wire"})
    STUDIES[f"{more}, return cores"] = built_in(more, **{"ct.return_core_ohm": 0.7})
STUDIES["return cores"] = built_in("two_phase_one_earth", **{"ct.return_core_ohm": 0.7})
EVERY = pytest.mark.parametrize("name", STUDIES)


def drawn(study: Study) -> Drawing:
    (kind,) = study.scheme.kinds
    return layout(connections(study, kind, "a title"))


@cache
def printed(name: str) -> tuple[Figure, Boxes]:
    """The figure of one of `STUDIES`, and where its texts stand."""
    with look():
        figure = figure_of([drawn(STUDIES[name])])
    return figure, boxes(figure)


def texts(drawing: Drawing) -> list[str]:
    return [shape.text for shape in drawing.shapes if isinstance(shape, Text)]


def circle(drawing: Drawing, name: str) -> Circle:
    (found,) = (shape for shape in drawing.named(name) if shape.name == name)
    assert isinstance(found, Circle)
    return found


def lead_at(drawing: Drawing, place: str, x: float) -> str:
    """Which terminal of a CT the conductor at x comes from, where it reaches the relay circuit."""
    for terminal in ("S1", "S2"):
        (line,) = drawing.named(f"lead {terminal} {place}")
        assert isinstance(line, Line)
        if line.points[-1][0] == pytest.approx(x):
            return terminal
    raise AssertionError(f"no lead of {place} at {x}")


def enters(drawing: Drawing, study: Study, row: int, place: str) -> str | None:
    """The terminal of a CT that is drawn at a leg, by its own lead or by legs that lead to it."""
    (kind,) = study.scheme.kinds
    facts = connections(study, kind, "")
    name = f"tap {facts.legs[row].name} {place}"
    if any(shape.name == name for shape in drawing.shapes):
        return lead_at(drawing, place, circle(drawing, name).middle[0])
    for other, before in enumerate(facts.legs):
        if before.after == row and place in before.senses:
            return enters(drawing, study, other, place)
    return None


# --- the table ----------------------------------------------------------------


@EVERY
def test_every_ct_leg_and_element_is_drawn_once(name: str) -> None:
    study = STUDIES[name]
    (kind,) = study.scheme.kinds
    scheme, drawing = scheme_of(study, kind), drawn(study)
    names = [shape.name for shape in drawing.shapes]
    wanted = [f"CT {PLACES[place]}" for place in scheme.places]
    assert sorted(name for name in names if name.startswith("CT ")) == sorted(wanted)
    legs = [one.name for one in scheme.legs if not one.name.startswith("return core")]
    assert sorted(name for name in names if name.startswith("rail ")) == sorted(
        f"rail {leg}" for leg in legs
    )
    elements = [name for name in names if name.startswith("element ")]
    assert elements == sorted(set(elements))
    assert len(elements) == len(scheme.elements)
    for number in range(len(scheme.elements)):
        (words,) = (text for text in texts(drawing) if text.startswith(f"{'abcd'[number]}: "))
        assert words.endswith(scheme.element_name(number))


@EVERY
def test_every_sign_is_drawn_as_it_stands_in_the_table(name: str) -> None:
    """A plus at the neutral's side and a minus at the line's side put S1 to the leg, since P1 faces
    away from the winding at both."""
    study = STUDIES[name]
    (kind,) = study.scheme.kinds
    scheme, drawing = scheme_of(study, kind), drawn(study)
    for row, one in enumerate(scheme.legs):
        if one.name.startswith("return core"):
            continue
        for column, place in enumerate(scheme.places):
            sign = np.sign(scheme.table[row, column])
            at_line = PLACES[place].startswith(("line", "second_line", "group"))
            wanted = {0: None, 1: "S2" if at_line else "S1", -1: "S1" if at_line else "S2"}
            assert enters(drawing, study, row, PLACES[place]) == wanted[int(sign)]


@EVERY
def test_what_restrains_an_element_is_drawn_on_its_leads(name: str) -> None:
    study = STUDIES[name]
    (kind,) = study.scheme.kinds
    scheme, drawing = scheme_of(study, kind), drawn(study)
    wanted = [
        f"bias {'abcd'[number]} {PLACES[scheme.places[ct]]}"
        for number, one in enumerate(scheme.elements)
        for ct in one.bias
    ]
    assert sorted(box.name for box in drawing.named("bias ")) == sorted(wanted)


def test_leads_have_the_resistances_of_their_wires() -> None:
    four, six, core = (
        drawn(study)
        for study in (STUDIES["per_phase"], STUDIES["six-wire"], STUDIES["return cores"])
    )
    boxes = [len([*drawing.named("lead resistance")]) for drawing in (four, six, core)]
    assert boxes == [6, 12, 6]
    assert [len([*drawing.named("return core ")]) for drawing in (four, six)] == [0, 0]
    assert "return core 0.7 Ω" in texts(core)
    assert len([box for box in core.named("return core ") if isinstance(box, Box)]) == 2


def test_circuits_that_share_no_leg_have_return_rails_of_their_own() -> None:
    rails = {name: len([*drawn(STUDIES[name]).named("return rail")]) for name in STUDIES}
    several = {name: count for name, count in rails.items() if count > 1}
    assert several == {"second cores": 2, "groups beside ends": 4}


def test_a_leg_follows_the_smallest_one_with_all_its_cts_in_the_same_sense() -> None:
    rows = [[1, 1, 0, 0], [0, 0, 1, 1], [1, 1, 1, 1], [1, 1, 1, 0], [0, 0, 1, -1]]
    assert followers(np.array(rows)) == [3, 2, None, 2, None]


# --- groups of branches -------------------------------------------------------


def conductors(drawing: Drawing) -> list[Line]:
    return [line for line in drawing.named("winding") if isinstance(line, Line)]


def passes(line: Line, ct: Circle) -> list[float]:
    """How far to the right a conductor goes each time it passes through a CT."""
    (x, y), radius = ct.middle, ct.radius
    return [
        end[0] - start[0]
        for start, end in pairwise(line.points)
        if start[1] == end[1]
        and abs(start[1] - y) < radius
        and min(start[0], end[0]) < x < max(start[0], end[0])
    ]


@pytest.mark.parametrize("name", [*OF_GROUPS, "per_phase"])
def test_each_group_of_branches_has_a_conductor_and_a_coil(name: str) -> None:
    count = 3 if name == "per_phase" else 6
    lines = conductors(drawn(STUDIES[name]))
    assert len({line.points[0][1] for line in lines}) == len(lines) == count
    assert {max(line.points)[0] for line in lines} == {lines[0].points[-1][0]}


def test_each_group_has_its_cts_on_its_own_conductor() -> None:
    drawing = drawn(STUDIES["split_phase"])
    through = [
        [k for k, line in enumerate(conductors(drawing)) if passes(line, ct)]
        for group in ("group_1", "group_2")
        for phase in PHASES
        for ct in [circle(drawing, f"CT {group}.{phase}")]
    ]
    assert through == [[0], [2], [4], [1], [3], [5]]


def test_one_lead_goes_back_through_a_core_balance_ct() -> None:
    drawing = drawn(STUDIES["core_balance"])
    for k, phase in enumerate(PHASES):
        ct = circle(drawing, f"CT core_balance.{phase}")
        both = [passes(line, ct) for line in conductors(drawing)]
        assert [len(one) for one in both] == [int(row // 2 == k) for row in range(6)]
        first, second = both[2 * k : 2 * k + 2]
        assert first[0] < 0 < second[0]
    assert any("goes back through the core-balance CT" in text for text in texts(drawing))


def test_the_ct_of_the_star_link_stands_between_two_star_points() -> None:
    drawing = drawn(STUDIES["neutral_to_neutral"])
    ct = circle(drawing, "CT star_link")
    (link,) = (line for line in drawing.named("star link") if isinstance(line, Line))
    assert passes(link, ct)
    stars = [line.points[0][0] for line in drawing.named("star point") if isinstance(line, Line)]
    assert sorted({x for x, _ in link.points}) == sorted(stars)
    starts = [line.points[0][0] for line in conductors(drawing)]
    assert starts == [stars[0], stars[1]] * 3


# --- words and values ---------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "numbers"),
    [
        ("per_phase", ["87G"] * 3),
        ("two_phase_one_earth", ["87G", "87G", "87GN"]),
        ("restricted_earth_fault", ["87GN"]),
        ("biased_with_restricted_earth_fault", ["87G", "87G", "87G", "87GN"]),
        ("one end alone", ["50N/51N"]),
        ("split_phase", ["50/51"] * 3),
        ("core_balance", ["50/51"] * 3),
        ("neutral_to_neutral", ["50N/51N"]),
    ],
)
def test_elements_have_their_device_numbers(name: str, numbers: list[str]) -> None:
    found = [
        shape.text for shape in drawn(STUDIES[name]).named("number") if isinstance(shape, Text)
    ]
    assert sorted(found) == sorted(numbers)


def test_values_are_those_of_the_study_or_of_one_setting() -> None:
    study = built_in("two_phase_one_earth", **{"scheme.phase_stabilising_ohm": 47})
    said = texts(drawn(study))
    for words in ("1500/1 A", "knee 300 V", "lead 1 Ω", "47 Ω", "as a phase circuit", "0 to 300 Ω"):
        assert words in said
    assert "burden 0.1 Ω" in said
    setting = next(iter(candidate_lattices(study)[-1].settings()))
    (picture,) = pictures(study, setting)
    for words in (
        f"{setting.stabilising_resistance_ohm:g} Ω",
        f"pick-up {setting.earth_pickup_a:g} A",
    ):
        assert f">{words}<" in picture.svg


@pytest.mark.parametrize(
    ("earthing", "words", "shapes"),
    [
        ({"resistance_ohm": 21.2}, ["resistor", "21.2 Ω"], {"earthing resistor"}),
        ({"current_limit_a": 300}, ["resistor for", "300 A"], {"earthing resistor"}),
        (
            {"transformer_ratio": 40, "secondary_resistance_ohm": 0.3},
            ["transformer 40 : 1", "secondary 0.3 Ω"],
            {"earthing resistor", "earthing secondary", "earthing transformer"},
        ),
    ],
)
def test_the_earthing_is_drawn(earthing: Changes, words: list[str], shapes: set[str]) -> None:
    drawing = drawn(study_with({"earthing": earthing, "scheme.kind": "two_phase_one_earth"}))
    assert [one.text for one in drawing.named("earthing words") if isinstance(one, Text)] == words
    assert {one.name for one in drawing.named("earthing ")} - {"earthing words"} == shapes


# --- what is wrong is seen ----------------------------------------------------


def test_a_ct_without_its_minus_is_crossed_coloured_and_named() -> None:
    legs = [leg("L1", "neutral_end.L1", "line_end.L1"), *PHASE_LEGS[1:]]
    wrong, right = (drawn(own(some, PHASE_ELEMENTS)) for some in (legs, PHASE_LEGS))
    assert wrong != right
    assert {shape.role for shape in right.shapes} == {Role.PRIMARY, Role.SECONDARY, Role.NOTE}
    named = {shape.name for shape in wrong.shapes if shape.role is Role.SUSPECT}
    assert {"CT line_end.L1", "lead S1 line_end.L1", "tap L1 line_end.L1"} <= named
    assert not any("neutral_end" in name or "L2" in name for name in named)
    below = [
        shape.text
        for shape in wrong.named("below")
        if isinstance(shape, Text) and shape.role is Role.SUSPECT
    ]
    assert '"line_end.L1" should be "-line_end.L1".' in " ".join(below)
    assert (
        "A CT is turned round where its leads cross, or where S2 stands at a relay circuit."
        in texts(wrong)
    )
    assert svg_of([wrong]) != svg_of([right])


def test_a_ct_turned_in_one_of_two_legs_enters_that_one_with_its_other_lead() -> None:
    drawing = drawn(OWN["one CT turned in the residual leg"])
    left, right = (circle(drawing, f"tap {leg} line_end.L2") for leg in ("L2", "earth"))
    middle = circle(drawing, "CT line_end.L2").middle[0]
    assert left.middle[0] < middle < right.middle[0]
    assert right.role is Role.SUSPECT
    assert left.role is Role.SECONDARY


def test_a_leg_that_carries_nothing_is_told() -> None:
    study = own(
        [leg("L1", "neutral_end.L1", "-neutral_conductor"), *PHASE_LEGS[1:]],
        PHASE_ELEMENTS,
        **NEUTRAL,
    )
    assert any("Wiring check" in text for text in texts(drawn(study)))


# --- drawing ------------------------------------------------------------------


@EVERY
def test_everything_stands_on_the_sheet(name: str) -> None:
    drawing = drawn(STUDIES[name])
    for shape in drawing.shapes:
        points = shape.points if isinstance(shape, Line) else ()
        if isinstance(shape, (Box, Circle)):
            points = (shape.middle,)
        for x, y in points:
            assert 0 < x < drawing.width
            assert 0 < y < drawing.height


@EVERY
def test_the_svg_is_xml_and_the_same_every_time(name: str) -> None:
    (first,), (second,) = (pictures(STUDIES[name]) for _ in range(2))
    assert first.svg == second.svg
    assert ElementTree.fromstring(first.svg).tag.endswith("svg")


@EVERY
def test_no_text_lies_on_another_or_is_cut(name: str) -> None:
    assert_text_is_readable(*printed(name))


def on_shapes(name: str, slack_mm: float = 0.25) -> list[tuple[str, str]]:
    """Texts that a line or a box passes under, but for what stands in the box of an element."""
    drawing = drawn(STUDIES[name])
    figure, shown = printed(name)
    to_mm = figure.axes[0].transData.inverted()
    parts = [
        (line.name, ends)
        for line in drawing.shapes
        if isinstance(line, Line)
        for ends in pairwise(line.points)
    ]
    for box in drawing.shapes:
        if isinstance(box, Box) and not box.name.startswith("element "):
            x, y = box.middle
            half = box.width / 2, box.height / 2
            parts.append((box.name, ((x - half[0], y - half[1]), (x + half[0], y + half[1]))))
    found = []
    for text, extent in shown:
        corners = to_mm.transform(extent.get_points())
        low, high = corners.min(axis=0) + slack_mm, corners.max(axis=0) - slack_mm
        for name, ends in parts:
            if (np.min(ends, axis=0) < high).all() and (np.max(ends, axis=0) > low).all():
                found.append((text.get_text(), name))
    return found


@EVERY
def test_no_line_or_box_passes_under_a_text(name: str) -> None:
    assert on_shapes(name) == []
    assert on_shapes(name, slack_mm=-2.0)  # wider texts would


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_every_shipped_study_has_its_diagrams(file: Path) -> None:
    study = read_study(file)
    sheets = drawings(study)
    assert len(sheets) == len(study.scheme.kinds)
    assert not any(shape.role is Role.SUSPECT for sheet in sheets for shape in sheet.shapes)


@pytest.mark.parametrize(
    "file",
    [
        file if file.stem in PRINTED else pytest.param(file, marks=pytest.mark.slow)
        for file in FILES
    ],
    ids=lambda file: file.stem,
)
def test_the_diagrams_of_every_shipped_study_are_readable(file: Path) -> None:
    with look():
        assert_text_is_readable(figure_of(drawings(read_study(file))))
