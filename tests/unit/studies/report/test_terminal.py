"""Blocks as lines: what stands apart, how tables fit, and that nothing is lost."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studies.report.blocks import Caution, Fragment, Heading, Items, Paragraph, Section, Table
from studies.report.terminal import lines, text_of

TABLE = Table(("a", "b"), (("1", "x"), ("22", "y")), "><", notes=("a note",))


def test_sentences_stand_together_and_tables_apart() -> None:
    text = [Paragraph("one"), Paragraph("two"), TABLE, TABLE, Items(("x", "y")), Caution("mind")]
    rows = ["   a  b", "   1  x", "  22  y", "  a note", ""]
    assert lines(text) == ["one", "two", *rows, *rows, "- x", "- y", "", "Caution: mind"]


def test_a_section_has_its_head_in_capitals_and_its_blocks_indented() -> None:
    inner = [Heading("of these"), Items(("x",)), TABLE]
    assert text_of([Paragraph("first"), Section("A part", inner)]).splitlines() == [
        "first",
        "",
        "A PART",
        "  of these",
        "  - x",
        "",
        "     a  b",
        "     1  x",
        "    22  y",
        "    a note",
    ]


def test_a_caption_stands_above() -> None:
    table = Table((), (("1",),), ">", "what it is")
    assert lines([table]) == ["what it is", "  1"]


def test_a_column_that_makes_a_table_too_wide_stands_above_its_rows() -> None:
    rows = (("1", "a long name", "x"), ("2", "another", "y"), ("3", "a long name", "z"))
    table = Table(("no.", "of", "c"), rows, "><<", group=1)
    assert lines([table])[1] == "    1  a long name  x"
    assert lines([table], 16) == [
        "    no.  c",
        "  a long name",
        "      1  x",
        "      3  z",
        "  another",
        "      2  y",
    ]


@pytest.mark.parametrize("width", [60, 100])
def test_what_is_too_wide_in_a_last_column_goes_on_below(width: int) -> None:
    text = lines([Table(("key", "value"), (("a", "word " * 60),), "<<")], width)
    assert max(map(len, text)) <= width
    assert {line[:7] for line in text[2:]} == {" " * 7}


WORDS = st.text("ab cd-", min_size=1, max_size=200).filter(lambda text: text.split() != [])


@given(st.lists(WORDS, min_size=1, max_size=4), st.integers(40, 120))
def test_no_word_is_lost_and_no_line_too_long(texts: list[str], width: int) -> None:
    table = Table(("k", "v"), tuple(("x", text) for text in texts), "<<")
    blocks = [*map(Paragraph, texts), Items(tuple(texts)), table]
    found = lines(blocks, width)
    longest = max(len(word) for text in texts for word in text.split())
    assert max(map(len, found)) <= max(width, longest + 8)
    joined = "".join("".join(found).split())
    for text in texts:
        assert joined.count("".join(text.split())) >= 1


def test_what_only_a_page_shows_has_no_lines() -> None:
    with pytest.raises(TypeError, match="Fragment"):
        lines([Fragment("method.html")])


def test_heads_wider_than_their_cells_take_more_lines_before_columns_are_moved_away() -> None:
    table = Table(("name", "a head of five words", "and more"), (("one", "1", "22"),), "<>>")
    shown = {width: lines([table], width=width) for width in (36, 28, 18, 16)}
    assert shown == {
        36: ["  name a head of five words and more", "  one                     1       22"],
        28: ["        a head of  and", "  name five words more", "  one           1   22"],
        18: [
            "       a head",
            "           of",
            "         five  and",
            "  name  words more",
            "  one       1   22",
        ],
        16: [
            "  name",
            "  one",
            "      a head of",
            "      five words",
            "      1; and",
            "      more 22",
        ],
    }
