"""report.html: what stands in it for every kind of study, and what a choice among settings adds."""

from __future__ import annotations

import re
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, cast

import pandas as pd
import pytest

from montecarlo.engine.guard import Unresolved
from montecarlo.estimates.refusals import Refusal, Rule
from montecarlo.frames.unresolved import unresolved_frame
from montecarlo.sampling.stratum import EARTH
from studies.cli.report import report_page, write_report
from studies.nominal.desk import Desk
from studies.protocol import Drawn, Findings
from studies.report.blocks import Block, Caution, Items, Lead, Paragraph, Section, Table
from studies.report.catalogue import COMPARISONS, LEADING, MOST_LEADING, QUESTIONS, leading
from studies.report.frame_table import frame_table
from studies.report.look import blank, write_figure
from studies.sweep import not_selected
from studies.sweep.report import ChoiceReport, rests_on
from tests.made import results
from tests.made.studies import study_with
from tests.unit.studies.sweep.test_result_text import finished

if TYPE_CHECKING:
    from montecarlo import Result
    from montecarlo.study.description import Study

BACKUP = {"neutral_voltage": {"pickup_percent": 5, "delay_s": 1.0}}


def chosen(**other: Any) -> Result:
    """A finished run that chose no. 5, the setting in service no. 32."""
    frame = results.candidates()
    frame = results.refused(frame, frame["p_false"] > 0.01, Refusal(Rule.FALSE_TRIPS, 0.02, 0.01))
    return finished(frame, **({"chosen": 5, "runner_up": 6, "existing": 32} | other))


def with_study(result: Result, study: Study) -> Result:
    return cast("Result", SimpleNamespace(**{**vars(result), "study": study}))


def choice(result: Result) -> ChoiceReport:
    return ChoiceReport(result, Desk(result.study), results.peak_voltage(result.candidates))


def said(blocks: list[Block]) -> str:
    """All their texts."""
    texts: list[str] = []
    for block in blocks:
        if isinstance(block, Paragraph | Caution):
            texts.append(block.text)
        elif isinstance(block, Items):
            texts += block.texts
        elif isinstance(block, Table):
            texts += [
                block.caption,
                *block.header,
                *(cell for row in block.rows for cell in row),
                *block.notes,
            ]
    return " | ".join(texts)


def sheet(result: Result) -> list[Block]:
    return list(choice(result).settings()[0].blocks)


# --- every kind ---------------------------------------------------------------


def generic(**other: Any) -> Findings:
    frame = pd.DataFrame(
        {"option": ["10 ohm", "30 ohm"], "fault_energy_j": [1.0, 2.0], "p_missed": [0.1, 0.25]}
    )
    text = (
        Lead(("10 ohm misses least, 10 % (9 to 11 %).",)),
        Table(
            ("option", "missed %"),
            (("10 ohm", "10"), ("30 ohm", "25")),
            "<>",
            notes=("missed: of all",),
        ),
        Section("Notes", [Items(("a note",))]),
    )
    return Findings(
        **(
            {
                "frames": {"options": frame},
                "figures": Drawn({}),
                "text": text,
                "provenance": {"version": "1.2.3", "study_digest": "abc", "samples": {"earth": 7}},
            }
            | other
        )
    )


@pytest.mark.parametrize("kind", [*QUESTIONS, "another_kind"])
def test_any_findings_make_a_whole_report(kind: str, tmp_path: Path) -> None:
    study = study_with()
    study = study.model_copy(update={"study": study.study.model_copy(update={"kind": kind})})
    figure, ax = blank()
    ax.set_xlabel("energy, J")
    write_figure(figure, tmp_path, "energy", "Energy of each option")
    found = generic(figures=Drawn({"energy": lambda: figure}))
    page = report_page(study, found, tmp_path, "statorodds run x")
    heads = [section.heading for section in page.all_sections]
    assert heads == [
        "Result" if kind in COMPARISONS else "Recommendation",
        "Notes",
        "Figures",
        "Tables",
        "Back-up for the unprotected part",
        "Hand calculation",
        "Question",
        "Connections",
        "Inputs",
        "Assumptions and cautions",
        "Drivers",
        "Method",
        "Checks against published values",
        "Provenance",
    ]
    text = write_report(tmp_path, study, found, "statorodds run x").read_text()
    assert '<p class="answer">10\u00a0Ω misses least, 10\u00a0% (9 to 11\u00a0%).</p>' in text
    assert text.index('class="answer"') < text.index('class="signed"') < text.index("<nav")
    for wanted in (
        "energy in the fault [J]",
        "p missed [%]",
        ">25<",
        "energy, J</text>",
        "1.2.3",
        "earth 7",
        "a note",
        "options.csv",
        "rated line-to-line voltage",
    ):
        assert wanted in text, wanted


def test_drivers_are_shown_where_a_kind_finds_them_and_named_where_not() -> None:
    rows = [
        {
            "side": side,
            "type": "earth",
            "output": "critical pick-up",
            "input": f"{side}{k}",
            "total": 1 / (1 + k),
        }
        for side in ("internal", "external")
        for k in range(9)
    ]
    with_them = report_page(
        study_with(), Findings({"drivers": pd.DataFrame(rows)}, Drawn({})), Path(), ""
    )
    (shown,) = next(
        section.blocks for section in with_them.all_sections if section.heading == "Drivers"
    )
    assert isinstance(shown, Table)
    assert [row[3] for row in shown.rows] == [
        f"{side}{k}" for side in ("internal", "external") for k in range(5)
    ]
    without = report_page(study_with(), Findings({}, Drawn({})), Path(), "")
    (told,) = next(section.blocks for section in without.sections if section.heading == "Drivers")
    assert 'kind = "uncertainty_drivers"' in said([told])


def test_three_figures_stand_beside_the_recommendation_and_once_more_below(tmp_path: Path) -> None:
    names = ["tradeoff", "protected_winding", "exceedance", "unprotected_winding"]
    figure, ax = blank()
    ax.set_xlabel("the axis")
    for name in names:
        write_figure(figure, tmp_path, name, name)
    found = generic(figures=Drawn(dict.fromkeys(names, lambda: figure)))
    text = write_report(tmp_path, study_with(), found, "").read_text()
    first, second = text.split('class="signed"')
    assert [*re.findall(r'href="#figure-(\w+)"', first)] == leading(names) == names[:MOST_LEADING]
    assert first.count("the axis</text>") == MOST_LEADING
    assert second.count("the axis</text>") == 1
    for name in names:
        assert f'id="figure-{name}"' in second
        assert text.count(f'id="{name}-figure_1"') == 1
        assert second.count(f'href="#{name}-figure_1"') == (name in names[:MOST_LEADING])
    assert len({*LEADING}) == len(LEADING)


def test_a_median_of_nothing_is_a_zero_and_no_probability_that_none_showed() -> None:
    frame = pd.DataFrame(
        {
            "protected_median": [0.0],
            "protected_p05": [0.0],
            "protected_p95": [0.25],
            "p_missed": [0.0],
            "p_missed_low": [0.0],
            "p_missed_high": [0.02],
        }
    )
    assert frame_table(frame, "", "x.csv").rows == (("0 (0 to 25)", "none (< 2)"),)


def test_findings_without_anything_still_make_a_report(tmp_path: Path) -> None:
    assert (
        "Caution" in write_report(tmp_path, study_with(), Findings({}, Drawn({})), "").read_text()
    )


def test_samples_without_a_result_are_a_table_of_the_report_where_there_are_any(
    tmp_path: Path,
) -> None:
    none, some = (
        unresolved_frame([Unresolved("", 0, EARTH, "counted", 64, number, 0, number)])
        for number in (0, 3)
    )
    study = study_with()
    for frame, wanted in ((none, False), (some, True)):
        page = report_page(
            study, Findings({"unresolved": frame}, Drawn({})), tmp_path, "statorodds run x.toml"
        )
        tables = next(section for section in page.sections if section.heading == "Tables").blocks
        captions = [block.caption for block in tables if isinstance(block, Table)]
        assert ("Samples without a result, most first" in captions) == wanted
        assert "unresolved.csv" in said(tables)


def test_inputs_name_their_source_and_the_report_says_how_many_do() -> None:
    page = report_page(
        study_with({"document": {"number": "E-12", "checked_by": "B. Person"}}),
        generic(),
        Path(),
        "",
    )
    by_name = {section.heading: said(list(section.blocks)) for section in page.sections}
    assert "knee_voltage_v" in by_name["Inputs"]
    assert "assumed" in by_name["Inputs"]
    assert re.search(
        r"\d+ inputs are uncertain; \d+ of them name a source", by_name["Assumptions and cautions"]
    )
    assert page.filed["Document"] == "E-12"
    assert page.signed == {"Prepared": "", "Checked": "B. Person", "Approved": ""}


def test_a_hostile_study_file_is_shown_as_it_is(tmp_path: Path) -> None:
    attack = "</style><script>alert(1)</script>"
    study = study_with(
        {
            "study.title": attack,
            "document": {"number": attack, "prepared_by": attack},
            "ct.knee_voltage_v.source": attack,
            "policy": {"least_annual_cost": {"missed_fault": 5, "false_trip": 2, "unit": attack}},
        }
    )
    frame = results.candidates().assign(
        cost_per_year=1.0, cost_per_year_low=0.5, cost_per_year_high=2.0
    )
    result = with_study(finished(frame, chosen=5), study)
    frames = {"peak_voltage": results.peak_voltage(frame)}
    found = Findings(frames, Drawn({}), result=result, text=(Lead((attack,)),))
    text = write_report(tmp_path, study, found, attack).read_text()
    assert "<script>alert" not in text
    drawn = re.compile("<svg.*?</svg>", re.DOTALL)  # with a style of its own each
    assert drawn.sub("", text).count("</style>") == 1
    assert "alert" not in "".join(drawn.findall(text))
    # its own, and its data
    assert len(re.findall("<script", text)) == text.count("</script>") == 2


# --- a choice among settings --------------------------------------------------


def test_the_sheet_has_existing_and_proposed_in_four_bases() -> None:
    study = study_with({"relay.step_a": 0.005, "relay.range_a": [0.005, 2.0]})
    result = with_study(chosen(), study)
    currents = next(block for block in sheet(result) if isinstance(block, Table))
    rows = {(row[0], row[1]): row[2:] for row in currents.rows}
    assert set(rows) == {
        ("Phase pick-up", "existing"),
        ("Phase pick-up", "proposed"),
        ("Earth pick-up", "proposed"),
    }
    # 0.05 A on a 1 A relay behind 1500/1; machine 25 MVA, 11 kV: 1312.2 A
    assert rows["Earth pick-up", "proposed"] == (
        "0.05",
        "5",
        "75",
        f"{100 * 75 / 1312.16:.4g}",
        "0.005 to 2",
        "0.005",
    )
    assert "one element per phase | two phase elements and an earth element" in said(sheet(result))
    assert "on the relay's steps of 0.005 A" in said(sheet(result))
    assert "No candidate had to be moved" in said(sheet(result))
    assert "peak voltage across the relay circuit, internal fault | 1.24 kV | 1.24 kV" in said(
        sheet(result)
    )


def test_what_was_snapped_and_what_has_no_step_is_said() -> None:
    moved = study_with({"relay.step_a": 0.03})
    assert "moved to the relay's step of 0.03 A: 0.1 to 0.09" in said(
        sheet(with_study(chosen(), moved))
    )
    assert "names no step of the relay" in said(sheet(chosen()))


def test_without_a_choice_no_setting_is_proposed() -> None:
    result = chosen(chosen=None, runner_up=None)
    assert "No setting is proposed" in said(sheet(result))
    assert "proposed" not in said(sheet(result)[1:])
    explorer = choice(result).settings()[1].blocks[0]
    assert "nearest to the limit" in explorer.data["roles"]  # type: ignore[attr-defined]


def test_refused_candidates_are_counted_by_rule_and_the_best_of_each_shown() -> None:
    result = chosen()
    frame = result.candidates
    refused = frame[frame["refusals"].map(bool) & ~frame["chosen"]]
    first, others, shown = not_selected.refused(result)
    assert isinstance(first, Paragraph)
    assert first.text == f"The policy refuses {len(refused)} of {len(frame)} candidates."
    assert f"It allows {len(frame) - 1 - len(refused)} other candidates." in said([others])
    assert isinstance(shown, Table)
    assert shown.rows[0][0] == f"upper limit of p_false above 0.01 ({len(refused)})"
    best = refused.sort_values("p_missed", kind="stable")["candidate"].head(3)
    assert [row[1] for row in shown.rows] == [str(number) for number in best]


def test_the_unprotected_part_names_its_back_up_or_that_none_is_stated() -> None:
    assert "states no neutral back-up" in said(choice(chosen()).unprotected_part())
    frame = results.candidates().assign(
        p_backup_only=0.1,
        p_nobody=0.02,
        p_nobody_low=0.01,
        p_nobody_high=0.03,
        nobody_per_year=2e-4,
    )
    text = said(choice(finished(frame, chosen=5, backup=BACKUP)).unprotected_part())
    assert "With sound parts nobody clears 2 % (1 to 3 %)" in text
    assert "neutral voltage V / E = " in text


def test_the_hand_calculation_stands_beside_the_study() -> None:
    found, broken = choice(chosen()).beside_by_hand()
    assert isinstance(found, Table)
    assert isinstance(broken, Paragraph)
    rows = {row[0]: row[1:] for row in found.rows}
    # 0.05 A x 1500 x 21.2 ohm / (11 kV / sqrt 3) = 25.03 %
    assert rows["winding left unprotected, earth 0.05 A"][0].endswith("= 25 %")
    assert "median" in rows["winding left unprotected, earth 0.05 A"][1]
    asked = next(
        cells
        for name, cells in rows.items()
        if name.startswith("stabilising resistance") and "earth" in name
    )
    assert re.search(r"V_s / I_set - R_relay = .* V / 0\.05 A - 0\.1 ohm = \d", asked[0])


@pytest.mark.parametrize(
    ("policy", "wanted"),
    [
        (
            {"p_false_max": 0.01},
            (
                "The policy allows false trips on 1 % of the external events, shown with 95 %"
                " confidence."
            ),
        ),
        (
            {"false_per_year_max": 0.06, "level": 0.9},
            "The policy allows 0.06 false trips a year, shown with 90 %",
        ),
        (
            {"least_annual_cost": {"missed_fault": 2e6, "false_trip": 8e4, "unit": "EUR"}},
            "The policy counts 2,000,000 EUR a missed fault and 80,000 EUR a false trip.",
        ),
    ],
)
def test_the_limit_or_the_weights_are_stated(policy: dict[str, Any], wanted: str) -> None:
    assert wanted in rests_on(study_with({"policy": policy}))
