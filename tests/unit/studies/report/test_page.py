"""A report as a page: what a file says is shown and never interpreted."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from studies.report.blocks import (
    Caution,
    Heading,
    Items,
    Lead,
    Page,
    Paragraph,
    Picture,
    Section,
    Table,
)
from studies.report.catalogue import column_head
from studies.report.frame_table import MOST_ROWS, frame_table
from studies.report.look import blank, look, write_figure
from studies.report.page import css_string, inline, render
from studies.sweep.explorer import explorer
from tests.made import results

ATTACKS = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "</style><script>1</script>",
    "{{ 7 * 7 }}",
    "</script><b>",
    "a\u202eb",
    "\x00\x1b[31m",
    "'; content: url(http://x.invalid)",
]


class Outline(HTMLParser):
    """Tags and the text of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.text += data


def outline(text: str) -> Outline:
    found = Outline()
    found.feed(text)
    return found


def page(said: str) -> str:
    svg = '<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"><path id="a"/></svg>'
    figure = Picture(said, svg, said, said)
    return render(
        Page(
            said,
            said,
            {"Document": said, "Revision": said},
            {"Prepared": said},
            [
                Section(
                    said,
                    [
                        Paragraph(said),
                        Items((said,)),
                        Heading(said),
                        Caution(said),
                        Table((said,), ((said,),), "<", said, (said,)),
                        Lead((said,)),
                        *([figure] if said.isalpha() else []),
                    ],
                )
            ],
            said,
        )
    )


@pytest.mark.parametrize("attack", ATTACKS)
def test_markup_shows_as_text(attack: str) -> None:
    harmless, found = outline(page("plain")), outline(page(attack))
    assert [
        tag for tag in found.tags if tag not in ("figure", "svg", "path", "figcaption", "div")
    ] == [tag for tag in harmless.tags if tag not in ("figure", "svg", "path", "figcaption", "div")]
    assert not [name for name, _ in found.attributes if name.startswith("on")]
    shown = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in attack)
    assert found.text.count(shown) >= 8


def test_a_string_of_css_cannot_be_left() -> None:
    for attack in [*ATTACKS, '"; } body { display: none } "', "\\", "\n"]:
        assert re.fullmatch(r'"(?:[A-Za-z0-9 .,-]|\\[0-9a-f]+ )*"', css_string(attack))


def test_a_page_without_an_explorer_allows_no_script() -> None:
    assert "script-src &#39;none&#39;" in page("plain")
    assert "http" not in page("plain").replace("http-equiv", "").replace("http://www.w3.org", "")


def test_no_two_parts_of_a_page_have_one_id() -> None:
    block = explorer(results.candidates(), 5, {"chosen": 5}, limit=0.01, limit_text="limit")
    text = render(
        Page(
            "", "", {}, {}, [Section("Explorer", [block]), Section("Answer", [Paragraph("x")])], ""
        )
    )
    ids = [value for name, value in outline(text).attributes if name == "id"]
    assert len(ids) == len(set(ids)) == 4  # two sections, a pattern, the data


def test_a_figure_keeps_its_texts_and_its_ids_to_itself(tmp_path: Path) -> None:
    with look():
        figure, ax = blank()
        ax.plot([0, 1], [0, 1], clip_on=True)
        ax.set_xlabel("<b>pick-up</b>, A")
    write_figure(figure, tmp_path, "one", "A line")
    svg = inline(Picture("one", (tmp_path / "one.svg").read_text(), "A line", ""))
    assert svg.startswith("<svg")
    assert "&lt;b&gt;pick-up&lt;/b&gt;, A</text>" in svg
    assert "<metadata" not in svg
    ids = set(re.findall(r'\bid="([^"]+)"', svg))
    assert all(name.startswith("one-") for name in ids)
    assert set(re.findall(r'(?:url\(#|href="#)([^")]+)', svg)) <= ids


# --- tables of a run ----------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "head"),
    [
        ("phase_pickup_a", "phase pick-up [A]"),
        ("delay_s", "delay [s]"),
        ("p_missed_low", "p missed low [%]"),
        ("protected_p05", "protected 5 % [%]"),
        ("false_per_year", "false trips [1/year]"),
        ("p_false_from", "p false from"),
        ("fault_energy_j_median", "energy in the fault median [J]"),
        ("damage_failed_share", "damage from faults whose parts have failed [%]"),
        ("first_slope", "first slope"),
        ("scheme", "scheme"),
        ("p", "p [%]"),
    ],
)
def test_heads_are_words_with_units(name: str, head: str) -> None:
    assert column_head(name) == head


def test_a_frame_is_cut_turned_and_freed_of_what_is_empty() -> None:
    frame = pd.DataFrame({"n": range(60), "p": np.linspace(0, 1, 60), "none": np.nan, "yes": True})
    found = frame_table(frame, "A table", "a.csv")
    assert len(found.rows) == MOST_ROWS
    assert "60 rows" in found.notes[0]
    assert found.header == ("n", "p [%]", "yes")
    assert found.rows[0] == ("0", "0", "yes")
    limits = pd.DataFrame(
        {
            "p_missed": [0.25],
            "p_missed_low": [0.2],
            "p_missed_high": [0.3],
            "x_j_p05": [1.0],
            "x_j_median": [2.0],
            "x_j_p95": [3.0],
            "difference": [-1.0],
            "low": [-2.0],
            "high": [0.0],
        }
    )
    together = frame_table(limits, "", "a.csv")
    assert together.header == (
        "p missed [%] (limits)",
        "x median [J] (5 to 95 %)",
        "difference (limits)",
    )
    assert together.rows == (("25 (20 to 30)", "2 (1 to 3)", "-1 (-2 to 0)"),)
    none = pd.DataFrame({"p_false": [0.0], "p_false_low": [0.0], "p_false_high": [0.0009]})
    assert frame_table(none, "", "a.csv").rows == (("none (< 0.09)",),)
    wide = pd.DataFrame(
        [{"option": word, **{f"x{k}_a": float(k) for k in range(14)}} for word in ("one", "two")]
    )
    turned = frame_table(wide, "", "a.csv")
    assert turned.header == ("option", "one", "two")
    assert turned.rows[3] == ("x3 [A]", "3", "3")
