"""What every output says of safety: the same sentences from one place, in all that check, run and
measured give."""

from __future__ import annotations

import csv
import html
import re
from pathlib import Path
from typing import Any

import pytest

from studies.cli.main import main
from studies.report import safety
from tests.made.reading import page_paragraphs
from tests.made.starter import STARTER
from tests.made.studies import minimal_study_text
from tests.test_words import faults

ROOT = Path(__file__).parent.parent
BIASED = {
    "p_false_max = 0.01": "p_false_max = 0.9",
    "installations = 32": "installations = 64\nrare_samples = 0",
    'kind = "two_phase_one_earth"\nwatched_phases = ["L1", "L3"]': (
        'kind = "biased"\nbias_form = "greater_of"\nbias_current = "largest"'
    ),
}
GRID = (
    "[candidates]\nphase_pickup_a = [0.1]\ndelay_s = [0.1]\nfirst_slope = [0.2]\nsecond_slope ="
    " [0.5]\nturning_point_a = [1.5]\n"
)


@pytest.fixture(scope="module")
def texts(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """All outputs of a small study with a biased scheme of two slopes, by name; what is broken into
    lines joined."""
    folder = tmp_path_factory.mktemp("safety")
    study, out = folder / "s.toml", folder / "run"
    text = minimal_study_text()
    for old, new in BIASED.items():
        assert old in text
        text = text.replace(old, new)
    study.write_text(re.sub(r"\[candidates\]\n(?:[^\[\n].*\n|\n)*", GRID + "\n", text))
    said = {
        "check": said_by("check", study),
        "run": said_by("run", study, "--workers", "1", "--samples", "256", "--out", out),
    }
    measured = filled(out / "commissioning.csv", folder / "m.csv")
    said["measured"] = said_by("measured", out, measured, "--out", folder / "u.csv")
    said |= {
        name: html.unescape((out / name).read_text())
        for name in ("report.html", "commissioning.html")
    }
    said["header"] = next((out / "waveforms").glob("*.hdr")).read_text()
    said["workbook"] = workbook(out / "results.xlsx")
    said |= {
        path.name: path.read_text()
        for path in (
            ROOT / "README.md",
            ROOT / "montecarlo" / "METHOD.md",
            STARTER,
        )
    }
    return {name: " ".join(text.split()) for name, text in said.items()}


def said_by(*arguments: Any) -> str:
    import contextlib
    import io
    import os
    from unittest.mock import patch

    wide = patch.dict(os.environ, COLUMNS="110")  # so that tables keep their columns
    with wide, contextlib.redirect_stdout(io.StringIO()) as out:
        assert main([str(argument) for argument in arguments]) == 0
    return out.getvalue()


def filled(sheet: Path, path: Path) -> Path:
    """Every kind of row that the sheet has, measured as expected, by a poor instrument."""
    with sheet.open(newline="") as lines:
        rows = list(csv.DictReader(lines))
    wanted = {
        "through": "relay circuit L1",
        "at the relay": "pick-up phase L1",
        "slope point 2": "pick-up phase L2",
        "suddenly": "operating time phase L3",
    }
    with path.open("w", newline="") as lines:
        writer = csv.DictWriter(lines, rows[0].keys())
        writer.writeheader()
        for row in rows:
            mine = row["quantity"].startswith(wanted.get(row["test"], "nothing"))
            writer.writerow(
                row | ({"measured": row["expected"], "uncertainty": "0.01"} if mine else {})
            )
    return path


def workbook(path: Path) -> str:
    from openpyxl import load_workbook

    book = load_workbook(path, read_only=True)
    found = [
        str(cell)
        for sheet in book.worksheets
        for row in sheet.iter_rows(values_only=True)
        for cell in row
        if cell is not None
    ]
    book.close()
    return " | ".join(found)


# --- the words ----------------------------------------------------------------


def test_every_output_has_the_field_s_terms(texts: dict[str, str]) -> None:
    parts = [
        (name, part)
        for name, text in texts.items()
        for part in (page_paragraphs(text) if name.endswith(".html") else [text])
    ]
    assert faults(part for part in parts if part[0] != "METHOD.md") == []


# --- the sentences ------------------------------------------------------------


def test_every_output_says_that_settings_must_be_reviewed_and_approved(
    texts: dict[str, str],
) -> None:
    for name, text in texts.items():
        words = "settings must be reviewed" if name == "METHOD.md" else "Settings must be reviewed"
        sentence = safety.REVIEW.replace("Settings must be reviewed", words)
        assert sentence in text, name
        # and never otherwise
        assert text.count("licensed engineer") == text.count(sentence), name
        assert not re.search(r"ettings (are|is|need) review", text), name


def test_no_other_place_in_the_code_has_words_of_its_own() -> None:
    sources = [
        path
        for folder in ("montecarlo", "studies")
        for path in (ROOT / folder).rglob("*")
        if path.suffix in (".py", ".html", ".js")
    ]
    assert len(sources) > 100
    for word in (
        "licensed engineer",
        "lethal",
        "lock-out",
        "qualified persons",
        "isolate it from the test set",
    ):
        assert [path.name for path in sources if word in path.read_text()] == ["safety.py"], word


@pytest.mark.parametrize(
    ("name", "sentences"),
    [
        ("check", (safety.CAUTION, safety.PEAK)),
        ("run", (safety.CAUTION, safety.PEAK, safety.SECONDARY, safety.ISOLATE)),
        ("measured", (safety.CAUTION,)),
        ("workbook", (safety.CAUTION,)),
        ("report.html", (safety.CAUTION, safety.PROPOSED, safety.PEAK)),
        ("commissioning.html", (*safety.TESTS, safety.PROPOSED, safety.PEAK, safety.MODEL)),
        ("header", safety.INJECTION),
        (
            "README.md",
            (
                safety.PERSONS,
                safety.ISOLATE,
                safety.PROVE,
                safety.SECONDARY,
                safety.PRIMARY,
                safety.OPEN_CT,
                safety.PEAK,
                safety.MODEL,
            ),
        ),
    ],
)
def test_each_output_has_what_belongs_there(
    name: str, sentences: tuple[str, ...], texts: dict[str, str]
) -> None:
    for sentence in sentences:
        assert sentence in texts[name].replace("\u00a0", " ")


def test_the_sheet_has_every_step_of_a_test() -> None:
    """Each by a word that only it has: what a crew must not find missing."""
    every = " ".join(safety.TESTS)
    for words in (
        "short the CT side and isolate it from the test set",
        "at rest, isolated, locked out and earthed",
        "permit",
        "links rated",
        "by hand from zero",
        "other protection in service",
        "intertrip",
        "breaker failure",
        "lock-out",
        "prove that each",
        "Short the CTs before",
        "hot",
        "as-left",
        "change record",
        "must be reviewed and approved",
    ):
        assert words in every


# --- what a setting is --------------------------------------------------------


@pytest.mark.parametrize("name", ["commissioning.html", "header", "report.html"])
def test_slopes_bias_form_and_delay_stand_beside_the_setting(
    name: str, texts: dict[str, str]
) -> None:
    text = re.sub(r"<[^>]+>", " ", texts[name])
    for label, value in (
        ("slope", "0.2"),
        ("second slope", "0.5"),
        ("delay", "0.1 s"),
        ("turning point, bias current", "1.5 A secondary"),
        ("bias form", "greater of: trips above pick-up and above bias"),
        ("bias current", "largest of the ends' currents"),
    ):
        assert re.search(rf"{label}\s+{re.escape(value)}", text), label


@pytest.mark.parametrize("name", ["commissioning.html", "header", "measured"])
def test_a_scheme_without_a_stabilising_resistance_has_no_ohms(
    name: str, texts: dict[str, str]
) -> None:
    assert "ohm" not in texts[name]


def test_the_setting_sheet_has_room_for_what_was_left(texts: dict[str, str]) -> None:
    for name in ("report.html", "commissioning.html"):
        assert "as left" in texts[name]
        assert "approved by, date" in texts[name]
    assert "change record" in texts["report.html"]


def test_the_peak_of_the_chosen_setting_stands_in_recommendation_and_sheets(
    texts: dict[str, str],
) -> None:
    found = {
        name: re.search(
            r"Peak voltage across the relay circuit with the chosen setting, on an internal fault: "
            r"at most ([0-9.]+ k?V)",
            texts[name].replace("\u00a0", " "),
        )
        for name in ("run", "report.html", "commissioning.html")
    }
    assert all(found.values())
    assert len({one.group(1) for one in found.values() if one}) == 1


def test_slopes_and_times_are_told_and_weight_no_installation(texts: dict[str, str]) -> None:
    weighed, told = texts["measured"].split("These values change no weight")[0].split(" off ")
    for quantity in (
        "pick-up phase L2, neutral_end.L2 raised A secondary",
        "operating time phase L3 s",
    ):
        assert quantity not in weighed
        assert re.search(rf"{quantity} 0\.\d+ (?:±|\+-) 0.01 0\.\d+ to 0\.\d+ inside", told)
