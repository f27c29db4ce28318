"""All that people read has the field's terms and short sentences: documents, comments of studies,
help, messages, and what small runs of each kind of study write."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path

import pytest
from openpyxl import load_workbook

from studies import KINDS
from studies.cli.main import main
from tests.house import ROOT
from tests.made.reading import (
    SILENT,
    literals,
    page_paragraphs,
    paragraphs,
    sentences,
    without_code,
    words,
)
from tests.made.starter import STARTER
from tests.made.studies import minimal_study_text

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
    "right singulars, no minus zero": (
        r"\(s\)",
        r"(?<![\w.,])[+-]?1 (?:circuits|candidates|events|samples|installations|points|files)\b",
        r"(?<![\w.])-0(?![\w.,])",
    ),
}
# Said on purpose: of a power station, not of a sampled installation; of paths in this tree
ALLOWED = (
    r"no plant stands",
    r"not for\s+the\s+plant",
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


def faults(texts: Iterable[tuple[str, str]]) -> list[str]:
    """Of places and texts."""
    return [
        f"{place}: {fault} in {text[:300]!r}"
        for place, text in texts
        for fault in not_written(text)
    ]


def too_long(texts: Iterable[tuple[str, str]]) -> list[str]:
    return [
        f"{place}: {count} words: {sentence}"
        for place, text in texts
        for sentence in sentences(text)
        if (count := words(sentence)) > LONGEST
    ]


# --- documents ----------------------------------------------------------------

READ = ("README.md", "studies/GUIDE.md")
TECHNICAL = ("montecarlo/METHOD.md", "configs/README.md", "configs/REFERENCE.md")


# METHOD and the worked study explain what a leg is; it is a key of the study's own schemes
OWN_WORDS = {
    "montecarlo/METHOD.md": r"\blegs?\b|\bpilot wires\b",
    "configs/REFERENCE.md": r"\blegs?\b",
    "biased_and_ref_13_8kv.toml": r"\blegs?\b",
    "montecarlo/study/reference.py": r"\blegs?\b",
    "montecarlo/relays/schemes.py": r"\blegs?\b",
    "montecarlo/secondary/workspace.py": r"\blegs?\b",
    "studies/connections/layout.py": r"\bleg\b",  # names of shapes
}


def without_own(name: str, text: str) -> str:
    return re.sub(OWN_WORDS[name], "", text) if name in OWN_WORDS else text


def document(name: str) -> Iterator[tuple[str, str]]:
    for paragraph in paragraphs((ROOT / name).read_text(encoding="utf-8")):
        yield name, without_own(name, without_code(paragraph))


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
            yield path.name, without_own(path.name, without_code(found[1] or found[2]))


@pytest.mark.parametrize(
    "path",
    [STARTER, *sorted((ROOT / "configs").glob("*.toml"))],
    ids=lambda path: path.stem,
)
def test_comments_of_a_study_have_the_field_s_terms(path: Path) -> None:
    assert faults(comments(path)) == []


# --- words of the program -----------------------------------------------------


def spoken(package: str) -> Iterator[tuple[str, str]]:
    """Strings with words; a name alone is no text."""
    for path in sorted((ROOT / package).rglob("*.py")):
        name = path.relative_to(ROOT).as_posix()
        for line, text in literals(path.read_text(encoding="utf-8")):
            if " " in text.strip():
                yield f"{name}:{line}", without_own(name, text)


@pytest.mark.parametrize("package", ["montecarlo", "studies"])
def test_messages_and_texts_have_the_field_s_terms(package: str) -> None:
    assert faults(spoken(package)) == []


def test_templates_have_the_field_s_terms() -> None:
    texts = [
        (path.name, text)
        for path in sorted((ROOT / "studies").rglob("*.html"))
        for text in page_paragraphs(path.read_text(encoding="utf-8"))
    ]
    assert faults(texts) == []


# --- what a run writes --------------------------------------------------------

BACKUP = "[backup.neutral_voltage]\npickup_percent = 10\ndelay_s = 0.3\n"
EXISTING = "existing = { phase_pickup_a = 0.1, earth_pickup_a = 0.1, delay_s = 0 }\n"
TWO_AND_ONE = 'kind = "two_phase_one_earth"'
TWO = 'kind = ["per_phase", "two_phase_one_earth"]'
OPTIONS = """
[[earthing_options]]
name = "400 A"
resistance_ohm = 10

[[earthing_options]]
name = "150 A"
resistance_ohm = 40

[fault_energy]
breaker_time_s = 0.08
field_decay_time_constant_s = 1.0
undetected_time_s = 10
"""
TIMES = OPTIONS[OPTIONS.index("[fault_energy]") :]
OF_OPTIONS = {
    'kind = "setting_sweep"': 'kind = "earthing_options"',
    "radius = false": "radius = true",
}
DAMAGE = """
[damage]
[[damage.zones]]
name = "insulation"
current_a = 10
time_s = 1

[dependability]
proof_test_years = 2
breaker_failure_time_s = 0.2
[[dependability.parts]]
name = "breaker"
paths = ["phase_elements", "earth_element", "neutral_voltage"]
dangerous_per_year = 0.005
spurious_per_year = 0.001
breaker_failure = true
"""
ALTERNATIVE = """
[[alternatives]]
name = "higher knee"
changes = { "ct.knee_voltage_v" = 450 }
"""
WIDE = {"p_false_max = 0.01": "p_false_max = 0.5"}
BIASED = {
    TWO_AND_ONE: 'kind = "biased"',
    'watched_phases = ["L1", "L3"]\n': "",
    "earth_pickup_a = { from = 0.02, to = 0.1, step = 0.02 }": "first_slope = [0.1]",
    "stabilising_resistance_ohm = [0, 300]\n": "",
}
GATED = {  # a gate, high-set elements, faults that follow one outside
    "delay_s = [0]\n": 'delay_s = [0.004]\nhigh_set_pickup_a = [4.0]\ngate = ["none", "held"]\n',
    "inter_turn = 0.01 }\n": "evolving = 0.01 }\n",
    '[[external_events]]\nname = "near_fault"': """[internal_faults.evolving]
event = "near_fault"
after_s = { dist = "uniform", low = 0.005, high = 0.05 }
kind = "three_phase"

[[external_events]]
name = "near_fault\"""",
}
GATE = """
[[scheme.gates]]
name = "held"
start = "time_difference"
start_pu = 0.5
wait_s = 0.003
hold = "direct_current"
hold_above = 0.15
stays_s = 0.04
"""
RUNS: dict[str, tuple[dict[str, str], str]] = {  # what is replaced in the small study, and added
    "setting_sweep": (WIDE | {"delay_s = [0]\n": f"delay_s = [0]\n{EXISTING}"}, BACKUP),
    "nothing chosen": ({"p_false_max = 0.01": "p_false_max = 1e-6"}, ""),
    "scheme_comparison": (WIDE | {TWO_AND_ONE: TWO}, BACKUP),
    "earthing_options": (WIDE, OPTIONS),
    "damage of options": (WIDE | OF_OPTIONS, OPTIONS + BACKUP + DAMAGE),
    "damage": (WIDE, TIMES + BACKUP + DAMAGE),
    "alternatives": (WIDE, ALTERNATIVE),
    "uncertainty_drivers": (WIDE, ""),
    "biased": (WIDE | BIASED, ""),
    "gates": (WIDE | BIASED | GATED, GATE),
}


def text_of_study(name: str) -> str:
    changes, added = RUNS[name]
    text = minimal_study_text()
    if name in KINDS:
        changes = changes | {'kind = "setting_sweep"': f'kind = "{name}"'}
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new)
    return text + added


@pytest.fixture(
    scope="module", params=[pytest.param(name, marks=pytest.mark.slow) for name in RUNS]
)
def outputs(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> dict[str, list[str]]:
    """All that a small run prints and writes for people, by file: paragraphs, cells, labels."""
    folder = tmp_path_factory.mktemp("words")
    study, out = folder / "s.toml", folder / "run"
    study.write_text(text_of_study(request.param), encoding="utf-8")
    options = ("--workers", "1", "--samples", "128", "--out", str(out))
    with redirect_stdout(StringIO()) as printed:
        assert main(["check", str(study)]) == 0
        assert main(["run", str(study), *options]) == 0
    found = {"terminal": re.split(r"\n\s*\n|\n(?=- )", printed.getvalue())}
    for path in (*out.glob("*.html"), *out.glob("*.svg")):
        hidden = SILENT - {"svg"} if path.suffix == ".svg" else SILENT
        found[path.name] = page_paragraphs(path.read_text(encoding="utf-8"), hidden)
    found["results.xlsx"] = cells(out / "results.xlsx")
    for path in (out / "waveforms").glob("*.hdr"):
        found[path.name] = path.read_text(encoding="utf-8").split("\n\n")
    return found


def cells(workbook: Path) -> list[str]:
    """Texts of all sheets."""
    return [
        cell
        for sheet in load_workbook(workbook).worksheets
        for row in sheet.iter_rows(values_only=True)
        for cell in row
        if isinstance(cell, str)
    ]


def test_what_a_run_writes_has_the_field_s_terms(outputs: dict[str, list[str]]) -> None:
    assert len(outputs) > 4
    assert faults((name, text) for name, texts in outputs.items() for text in texts) == []


def test_pages_and_pictures_have_units_as_they_are_written(outputs: dict[str, list[str]]) -> None:
    ascii_units = [
        f"{name}: {text[:200]}"
        for name, texts in outputs.items()
        if name.endswith((".html", ".svg", ".xlsx"))
        for text in texts
        if re.search(r"\b(?:ohm|uF|deg)\b", text)
    ]
    assert ascii_units == []


def test_a_report_has_no_long_sentence(outputs: dict[str, list[str]]) -> None:
    texts = outputs["report.html"]
    assert len(texts) > 100
    assert too_long(("report.html", text) for text in texts if is_prose(text)) == []


def is_prose(text: str) -> bool:
    """Not an equation or a list of keys and values."""
    return text.count(" = ") < 2 and text.count(", ") < 12


# --- what is looked for -------------------------------------------------------


def test_what_is_not_written_is_found() -> None:
    assert not_written("The blind part of 1 circuits, -0 points, in every scenario") != []
    assert len(not_written("odds: a fresh batch; candidate(s)")) == 3
    for text in ("at present statorodds opens", "under plant/", "fell by -0.5 to 0.2", "update it"):
        assert not_written(text) == []


def test_a_sentence_ends_where_it_ends() -> None:
    assert sentences("Setting no. 68 has 0.05 A, e.g. here. Is it so? Yes.") == [
        "Setting no. 68 has 0.05 A, e.g. here",
        "Is it so",
        "Yes.",
    ]
    assert words("It misses 19.6 % (19.6 to 19.7 %) of them - all") == 9
    assert list(
        paragraphs("# Head\n\nOne\ntwo.\n\n    code\n\n- a\n  b\n- c\n\n| x | y |\n|---|---|")
    ) == [
        "Head",
        "One\ntwo.",
        "a\n  b",
        "c",
        "x",
        "y",
    ]
    assert page_paragraphs("<p>One <b>two</b><script>no</script></p><p>Three</p>") == [
        "One two",
        "Three",
    ]
