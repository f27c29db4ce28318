"""The list of published values: complete, met, honest about its sources, and told by name where one
is not met."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from studies.report.terminal import WIDTH, lines
from studies.verify import published
from studies.verify import run as verify
from studies.verify.published import QUICK, SUBJECTS, Kind, Published, counted, published_values
from studies.verify.published.whole import rows as whole_studies
from studies.verify.published.winding import EXAMPLES
from studies.verify.run import closing, of_subject

ROOT = Path(__file__).parents[4]
DOCUMENTS = (
    "README.md",
    "studies/GUIDE.md",
    "configs/README.md",
    "DEVELOPERS.md",
    "tests/MEASUREMENTS.md",
    "montecarlo/METHOD.md",
)
ROW = Published("A book", "Ex 1", "current", "A", 2.0, 2.004, 0.005, Kind.PRINT)


@pytest.fixture(scope="module")
def found() -> dict[str, list[Published]]:
    """All but the whole studies, which tests/reference runs one by one."""
    return dict(
        published_values(
            {name: rows for name, rows in SUBJECTS.items() if rows is not whole_studies}
        )
    )


def test_every_value_is_met_within_what_its_source_leaves_open(
    found: dict[str, list[Published]],
) -> None:
    every = [one for rows in found.values() for one in rows]
    assert len(every) >= 90
    assert [one for one in every if not one.agrees] == []


def test_no_tolerance_is_so_wide_that_anything_would_agree(
    found: dict[str, list[Published]],
) -> None:
    """The digits given: 0.8 % at most. Limits near zero, what is sampled, and envelopes have
    reasons of their own."""
    wide = {
        (one.source.split(",")[0], one.quantity)
        for rows in found.values()
        for one in rows
        if not one.at_most and one.tolerance > 8e-3 * abs(one.given)
    }
    assert {source for source, _ in wide} == {
        "Newcombe",
        "Hanley and Lippman-Hand",
        "IEEE C37.110",
        "IEC 61508-6",
        "Ishigami and Homma 1990",
        "Four-branch series system; Schobi",
        "The normal law",
    }
    assert all(
        one.tolerance <= 0.06 * abs(one.given)
        for rows in found.values()
        for one in rows
        if not one.at_most and one.source[:8] not in ("Newcombe", "Ishigami")
    )


def test_subjects_are_there_and_rows_are_told_apart(found: dict[str, list[Published]]) -> None:
    assert SUBJECTS.keys() > QUICK.keys()
    for rows in found.values():
        assert len({(one.source, one.place, one.quantity) for one in rows}) == len(rows)
        assert all(one.source and one.place and one.quantity for one in rows)


def test_a_study_too_fine_for_the_example_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """Not a list that cannot fail: an example whose value is not ours is told."""
    wrong = replace(EXAMPLES[1], percent=20.0)
    monkeypatch.setattr(published.winding, "EXAMPLES", (wrong,))
    (row,) = published.winding.rows()
    assert not row.agrees
    assert row.cells == ("winding left unprotected", "20 %", "19.6824", "-0.32", "DIFFERS")


@pytest.mark.parametrize(
    ("ours", "at_most", "agrees"),
    [
        (2.004, False, True),
        (1.996, False, True),
        (2.006, False, False),
        (1.994, False, False),
        (0.1, True, True),
        (2.004, True, True),
        (2.006, True, False),
        (float("nan"), False, False),
        (float("nan"), True, False),
    ],
)
def test_agreement(ours: float, at_most: bool, agrees: bool) -> None:
    assert replace(ROW, ours=ours, at_most=at_most).agrees is agrees


def test_cells() -> None:
    assert ROW.cells == ("current", "2 A", "2.004", "+0.004", "agrees")
    assert replace(ROW, unit="-", ours=2.0 + 1e-12).cells[1:4] == ("2", "2", "0")
    assert replace(ROW, ours=1.0, at_most=True).cells == (
        "current",
        "at most 2 A",
        "1",
        "-1",
        "agrees",
    )


# --- how the values are known -------------------------------------------------


def test_no_source_hides_its_kind_in_its_words(found: dict[str, list[Published]]) -> None:
    """A page that quotes, a script, a memory: the kind says it, so that each can be counted."""
    words = (
        "memory",
        "companion",
        "quoted",
        "examination",
        "public page",
        "textbook, from",
        "any textbook",
    )
    for rows in found.values():
        assert not [
            one.source for one in rows if any(word in f"{one.source} {one.place}" for word in words)
        ]


def test_a_script_is_no_print(found: dict[str, list[Published]]) -> None:
    kinds = {one.source.split(",")[0]: one.kind for rows in found.values() for one in rows}
    for source in (
        "Mehta and Mehta",
        "Chakrabarti",
        "Rao",
        "Wadhwa",
        "Rajput",
        "An open network library's tests",
    ):
        assert kinds[source] is Kind.SCRIPT
    assert {source for source, kind in kinds.items() if kind is Kind.PRINT} == {
        "NPTEL",
        "NIST/SEMATECH e-Handbook of Statistical Methods",
        "Soong",
    }


def test_kinds_are_counted_and_say_what_they_mean() -> None:
    rows = [ROW, replace(ROW, kind=Kind.MEMORY), replace(ROW, kind=Kind.MEMORY, ours=3.0)]
    assert [(one.kind, one.values, one.agree) for one in counted(rows)] == [
        (Kind.PRINT, 1, 1),
        (Kind.MEMORY, 2, 1),
    ]
    assert all(len(kind.meaning) > 20 for kind in Kind)
    assert ROW.cited == "A book (in print)"


def test_a_unit_transformer_is_told_with_and_without_its_correction(
    found: dict[str, list[Published]],
) -> None:
    given = {
        one.quantity: one.given
        for one in found["Machine and earthing"]
        if one.place == "beyond its transformer"
    }
    assert given == {"initial current without K_SO": 1.8460, "initial current with K_SO": 1.9755}


def test_the_documents_name_as_many_values_as_there_are(found: dict[str, list[Published]]) -> None:
    number = sum(map(len, found.values())) + len(EXAMPLES)
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert re.findall(r"(\d+) published values", readme) == [f"{number}"]
    for name in DOCUMENTS:
        assert not re.search(
            r"\d+ (of \d+ )?values in print", (ROOT / name).read_text(encoding="utf-8")
        )


@pytest.mark.parametrize(
    "words",
    [
        "honest interval",
        "othing published gives",
        "othing published supports",
        "stand in print",
        "integrated exactly",
        "exact in the position",
        "exact binomial",
        "operates with certainty",
    ],
)
def test_the_documents_claim_no_more_than_was_measured(words: str) -> None:
    for name in (
        *DOCUMENTS,
        "studies/report/templates/method.html",
        "montecarlo/study/event_cautions.py",
    ):
        text = " ".join((ROOT / name).read_text(encoding="utf-8").split())
        assert words not in text.partition("## Changelog")[0], name


# --- the command --------------------------------------------------------------


def some(*rows: Published) -> dict[str, object]:
    def give() -> Iterator[Published]:
        yield from rows

    return {"Machines": give}


def test_all_agree_is_exit_code_0(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(verify, "SUBJECTS", some(ROW, replace(ROW, place="Ex 2", kind=Kind.MEMORY)))
    assert verify.verify() == 0
    out = capsys.readouterr().out
    assert "MACHINES\n" in out
    for source, place in (("in print", "Ex 1"), ("from memory", "Ex 2")):
        assert re.search(rf"^ +A book \({source}\)\n +{place} ", out, re.MULTILINE)
    assert re.search(
        r"known +values +agree +what that means\n  in print +1 +1  [^:]*\n  from memory +1 +1  ",
        out,
    )
    assert out.endswith("2 values: 2 agree, 0 differ.\n")


def test_one_that_differs_is_exit_code_1_and_named(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(verify, "SUBJECTS", some(ROW, replace(ROW, place="Ex 2", ours=3.0)))
    assert verify.verify() == 1
    out = capsys.readouterr().out
    assert "2 values: 1 agree, 1 differ." in out
    assert out.endswith("DIFFERS: A book, Ex 2: current\n")


def test_a_source_stands_once_above_its_rows_and_lines_fit(
    found: dict[str, list[Published]],
) -> None:
    for rows in found.values():
        text = lines([of_subject(rows)], 120)
        head = ["where", "quantity", "value", "given", "here", "difference", "verdict"]
        assert text[0].split() == head
        assert max(map(len, text)) <= 120
        assert len(text) == 1 + len(rows) + len({one.cited for one in rows})
        assert max(map(len, lines([of_subject(rows)]))) <= WIDTH
    assert max(map(len, lines(closing([ROW] * 3)))) <= WIDTH
