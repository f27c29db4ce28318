"""All that people read has the field's terms and short sentences: documents, comments of studies,
help, messages, and what small runs of each kind of study write."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.house import ROOT
from tests.made.reading import literals, paragraphs, sentences, without_code, words

LONGEST = 30  # words of a sentence
# Written, and what is not: expressions, without regard to capitals
TERMS: dict[str, tuple[str, ...]] = {
    "unprotected or protected part of the winding": (
        r"\bblind\b",
        r"\bcover(?:s|ed)? (?:no part|\S+ %|the|all) ?(?:of )?(?:the )?winding",
        r"\bwinding covered",
    ),
    "within the scheme's scope": (r"\b(?:within|out of|beyond) (?:its |the scheme's )?reach\b",),
    "existing setting": (
        r"\bpresent (?:one|setting|scheme|and proposed)\b",
        r"\bin service today\b",
        r"\b(?:setting|one|scheme) in service\b",
    ),
    "installation": (r"\bplants?\b",),
    "relay circuit": (r"\blegs?\b",),
    "CT secondary leads, open CT circuit": (r"\bpilots?\b",),
    "interposing CT": (r"\bmatching transformer",),
    "neutral CT": (r"\bCT in the neutral conductor\b",),
    "neutral back-up": (r"\bback-up in the neutral\b", r"\bwhat backs up\b"),
    "one element per phase": (r"\bthree (?:phase|biased) elements\b",),
    "independent sample, selection sample": (
        r"\bfresh\b",
        r"\bown batch\b",
        r"\bstudy's batch\b",
    ),
    "reported": (r"\btold\b", r"\btells?\b"),
    "Notes, Browse the settings, Not selected": (
        r"\bto know with it\b",
        r"\bexplorer\b",
        r"\bcandidates refused\b",
    ),
    "restrains, saturates": (r"\bstays? silent\b", r"\bgiv(?:es|e|ing) way\b"),
    "probability": (r"\bodds\b",),
    "first slope, second slope, turning point": (
        r"\bslope ?[12]\b",
        r"\bslopes? (?:above|below) the break\b",
        r"\bthe break\b",
    ),
    "alternatives, assumption sets": (r"\bvariants?\b", r"\bscenarios?\b"),
    "selfcheck, measured": (r"\bdoctor\b", r"\bstatorodds update\b", r"\bcommand update\b"),
    "no significant difference": (r"\bdistinguishabl[ey]\b", r"\btold? apart\b"),
    "right singulars, no minus zero": (r"\(s\)", r"\b1 circuits\b", r"(?<![\w.])-0(?![\w.,])"),
}
# Said on purpose: of a power station, not of a sampled installation; of paths in this tree
ALLOWED = (
    r"no plant stands behind",
    r"not for the plant",
    r"\binvented plant",
    r"\bplant/",
)


def not_written(text: str) -> list[str]:
    """What of a text is not the field's term, with what is written instead."""
    for allowed in ALLOWED:
        text = re.sub(allowed, "", text, flags=re.IGNORECASE)
    return [
        f"{found[0]!r}: write {term}"
        for term, patterns in TERMS.items()
        for pattern in patterns
        if (found := re.search(pattern, text, re.IGNORECASE))
    ]


def faults(texts: Iterator[tuple[str, str]]) -> list[str]:
    """Of places and texts."""
    return [
        f"{place}: {fault} in {text[:300]!r}"
        for place, text in texts
        for fault in not_written(text)
    ]


def too_long(texts: Iterator[tuple[str, str]]) -> list[str]:
    return [
        f"{place}: {count} words: {sentence}"
        for place, text in texts
        for sentence in sentences(text)
        if (count := words(sentence)) > LONGEST
    ]


# --- documents ----------------------------------------------------------------

READ = ("README.md", "studies/GUIDE.md")
TECHNICAL = ("montecarlo/METHOD.md", "configs/README.md", "configs/REFERENCE.md")


def document(name: str) -> Iterator[tuple[str, str]]:
    for paragraph in paragraphs((ROOT / name).read_text(encoding="utf-8")):
        yield name, without_code(paragraph)


@pytest.mark.parametrize("name", [*READ, *TECHNICAL])
def test_a_document_has_the_field_s_terms(name: str) -> None:
    assert faults(document(name)) == []


@pytest.mark.parametrize("name", READ)
def test_a_document_has_no_long_sentence(name: str) -> None:
    assert too_long(document(name)) == []


def comments(path: Path) -> Iterator[tuple[str, str]]:
    for line in path.read_text(encoding="utf-8").splitlines():
        found = re.search(r'(?:^|\s)#\s(.*)$|title = (".*")', line)
        if found:
            yield path.name, without_code(found[1] or found[2])


@pytest.mark.parametrize(
    "path",
    [ROOT / "studies" / "starter.toml", *sorted((ROOT / "configs").glob("*.toml"))],
    ids=lambda path: path.stem,
)
def test_comments_of_a_study_have_the_field_s_terms(path: Path) -> None:
    assert faults(comments(path)) == []


# --- words of the program -----------------------------------------------------


def spoken(package: str) -> Iterator[tuple[str, str]]:
    """Strings with words; a name alone is no text."""
    for path in sorted((ROOT / package).rglob("*.py")):
        for line, text in literals(path.read_text(encoding="utf-8")):
            if " " in text.strip():
                yield f"{path.relative_to(ROOT)}:{line}", text


@pytest.mark.parametrize("package", ["montecarlo", "studies"])
def test_messages_and_texts_have_the_field_s_terms(package: str) -> None:
    assert faults(spoken(package)) == []


def test_templates_have_the_field_s_terms() -> None:
    from tests.made.reading import page_paragraphs

    texts = (
        (path.name, text)
        for path in sorted((ROOT / "studies").rglob("*.html"))
        for text in page_paragraphs(path.read_text(encoding="utf-8"))
    )
    assert faults(texts) == []
