"""What the documents name is there, their links lead somewhere, and no sentence stands in two."""

from __future__ import annotations

import re
from collections import defaultdict
from pathlib import Path

import pytest

from tests.gallery import PICTURES
from tests.house import ROOT, widest

LINES = {"README.md": 150, "DEVELOPERS.md": 200}
COLUMNS = 120
DOCUMENTS = (
    "README.md",
    "DEVELOPERS.md",
    "studies/GUIDE.md",
    "configs/README.md",
    "montecarlo/METHOD.md",
    "tests/MEASUREMENTS.md",
)
BASES = (ROOT, ROOT / "montecarlo", ROOT / "studies", ROOT / "tests")  # that a path may start from
CAUTIONS = {
    "Settings must be reviewed and approved by a licensed engineer under the local code before use"
}
WORDS = 7  # a sentence of fewer may stand twice


def read(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def prose(text: str) -> str:
    """A document without its code blocks, tables and headings."""
    kept = [line for line in text.splitlines() if not line.startswith(("    ", "|", "#"))]
    return "\n".join(kept)


def named_paths(text: str) -> set[str]:
    """Files and folders of ours in backticks: what has a slash and an ending or a slash at its
    end."""
    return set(re.findall(r"`((?:[\w.]+/)+(?:\w+\.(?:py|md|toml|csv))?)(?:: [^`]*)?`", text))


def anchors(text: str) -> set[str]:
    """Where a link into a document may lead: its headings, as they are written in an address."""
    heads = re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    return {re.sub(r"[^\w -]", "", head.lower()).replace(" ", "-") for head in heads}


def sentences(text: str) -> set[str]:
    """Whole sentences of a document's prose, without marks."""
    plain = " ".join(re.sub(r"[*`_]", "", prose(text)).split())
    found = {part.strip(" .-") for part in re.split(r"(?<=[.?!:;])\s+", plain)}
    return {one.rstrip(".:;") for one in found if len(one.split()) >= WORDS}


@pytest.mark.parametrize("name", DOCUMENTS)
def test_a_document_keeps_its_length_and_width(name: str) -> None:
    lines, columns = widest(ROOT / name)
    assert 20 < lines <= LINES.get(name, lines)
    assert columns <= COLUMNS


@pytest.mark.parametrize("name", ["DEVELOPERS.md", "studies/GUIDE.md", "montecarlo/METHOD.md"])
def test_what_a_document_names_is_there(name: str) -> None:
    found = named_paths(read(name))
    results = {"inputs/", "waveforms/"}  # of a run, not of the tree
    missing = {
        path for path in found - results if not any((base / path).exists() for base in BASES)
    }
    assert not missing


@pytest.mark.parametrize("name", DOCUMENTS)
def test_links_lead_somewhere(name: str) -> None:
    for link in re.findall(r"\]\(([^)]+)\)", read(name)):
        path, _, anchor = link.partition("#")
        target = (ROOT / name).parent / path if path else ROOT / name
        assert target.is_file(), link
        assert not anchor or anchor in anchors(target.read_text(encoding="utf-8")), link


def test_every_shipped_study_has_its_picture_in_the_gallery() -> None:
    sections = re.split(r"^## ", read("configs/README.md"), flags=re.MULTILINE)[1:]
    assert len(sections) == len(PICTURES)
    for (name, figure), section in zip(PICTURES.items(), sections, strict=True):
        assert section.startswith(f"{name}.toml\n")
        assert f"](pictures/{name}.svg)" in section
        assert f"(`{figure}.svg`; " in section
    for folder, ending in (("configs", "toml"), ("configs/pictures", "svg")):
        assert {path.stem for path in (ROOT / folder).glob(f"*.{ending}")} == PICTURES.keys()


def test_no_sentence_stands_in_two_documents() -> None:
    places: dict[str, list[str]] = defaultdict(list)
    for name in DOCUMENTS:
        for sentence in sentences(read(name)) - CAUTIONS:
            places[sentence].append(name)
    assert {sentence: names for sentence, names in places.items() if len(names) > 1} == {}


# --- what is looked for -------------------------------------------------------


def test_the_parts_of_a_document_are_found() -> None:
    text = "# A: head!\n\nOne two three four five six seven. Short one.\n\n    code/here.py\n"
    assert sentences(text) == {"One two three four five six seven"}
    assert anchors(text) == {"a-head"}
    assert named_paths("`a/b.py: name` and `c/d/` and `x.py` and `y/z.csv`") == {
        "a/b.py",
        "c/d/",
        "y/z.csv",
    }
    assert not Path("a/b.py").exists()
