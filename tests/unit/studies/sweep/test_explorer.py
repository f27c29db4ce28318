"""The explorer of a report, in a browser: what the sliders show is what the tables hold."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from montecarlo.estimates.refusals import Refusal, Rule
from montecarlo.study.axes import KEYS, OWN
from studies.report.blocks import Page, Section
from studies.report.numbers import percent
from studies.report.page import render
from studies.sweep.explorer import NUMBERS, Scale, explorer
from tests.made import results
from tests.made.browser import acted, framed, needs_browser, opened

if TYPE_CHECKING:
    import pandas as pd

SETTINGS = [key for key in KEYS if key not in OWN]
SHOWN = """
  const shown = () => ({ n: Number(explorer.dataset.candidate), said: explorer.querySelector("output").textContent,
    hidden: [...explorer.querySelectorAll("label")].filter(l => l.hidden).length,
    text: Object.fromEntries([...explorer.querySelectorAll("data")].map(d => [d.dataset.name, d.textContent])),
    is: Object.fromEntries([...explorer.querySelectorAll("data")].map(d => [d.dataset.name, Number(d.value)])) });
  const explorer = document.querySelector(".explorer");
  const slider = key => explorer.querySelector(`[data-axis="${key}"]`);
  const move = (key, to) => { slider(key).value = to; slider(key).dispatchEvent(new Event("input")); return shown(); };
  const choose = kind => { const select = explorer.querySelector("select"); select.value = kind;
    select.dispatchEvent(new Event("input")); return shown(); };
"""


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    found = results.chosen_and_existing(results.candidates(), 5, 17)
    found = found.assign(
        protected_p05=found["protected_median"] - 0.05,
        protected_p95=found["protected_median"] + 0.05,
        missed_per_year=0.01 * found["p_missed"],
        false_per_year=0.5 * found["p_false"],
    )
    return results.refused(found, found["p_false"] > 0.05, Refusal(Rule.FALSE_TRIPS, 0.06, 0.05))


def page(frame: pd.DataFrame, **other: Any) -> str:
    given: dict[str, Any] = {"limit": 0.05, "limit_text": "policy's limit, 5 %"}
    block = explorer(frame, 5, {"chosen": 5, "in service": 17}, **(given | other))
    return render(Page("A study", "", {}, {}, [Section("Explorer", [block])], ""))


def row(frame: pd.DataFrame, number: int) -> dict[str, Any]:
    return frame.set_index("candidate").loc[number].to_dict()  # type: ignore[no-any-return]


@needs_browser
def test_every_place_of_the_sliders_shows_a_row_of_the_table(
    frame: pd.DataFrame, tmp_path: Path
) -> None:
    seen = acted(
        page(frame),
        SHOWN
        + """
      const seen = [shown()];
      for (const kind of ["two_phase_one_earth", "per_phase"]) {
        seen.push(choose(kind));
        const axes = [...explorer.querySelectorAll("input[type=range]")].filter(i => !i.closest("label").hidden);
        const walk = k => { if (k === axes.length) { seen.push(shown()); return; }
          for (let at = Number(axes[k].max); at >= 0; at--) { move(axes[k].dataset.axis, at); walk(k + 1); } };
        walk(0);
      }
      return seen;""",
        tmp_path,
    )
    assert seen[0]["n"] == 5
    assert {one["n"] for one in seen} == set(frame["candidate"])
    for one in seen:
        wanted = row(frame, one["n"])
        held = {name: float(wanted[name]) for name in NUMBERS if name in wanted}
        if wanted["p_false"] == 0:
            del held["p_false_low"]  # none seen, fewer than the upper limit
        assert one["is"] == pytest.approx(held, rel=1e-7)  # as the table has them
        assert one["text"]["p_missed"] == percent(wanted["p_missed"], 3)
        assert one["text"]["p_false_high"] == percent(wanted["p_false_high"], 2)
        assert one["text"]["p_false"] == (
            percent(wanted["p_false"], 2) if wanted["p_false"] else "none seen"
        )
        assert f"No. {one['n']}, " in one["said"]
        assert ("not allowed: upper limit of p_false" in one["said"]) == bool(wanted["refusals"])
        assert one["hidden"] == (
            1 if wanted["scheme"] == "per_phase" else 0
        )  # it has no earth pick-up


@needs_browser
def test_a_slider_changes_its_own_axis_alone_on_a_full_grid(
    frame: pd.DataFrame, tmp_path: Path
) -> None:
    before, after = acted(
        page(frame),
        SHOWN
        + """
      const before = shown(); return [before, move("earth_pickup_a", 2)];""",
        tmp_path,
    )
    one, other = row(frame, before["n"]), row(frame, after["n"])
    assert other["earth_pickup_a"] == max(frame["earth_pickup_a"])
    assert [
        one[key] for key in SETTINGS if key != "earth_pickup_a" and not math.isnan(one[key])
    ] == [other[key] for key in SETTINGS if key != "earth_pickup_a" and not math.isnan(other[key])]


@needs_browser
def test_buttons_keys_and_a_setting_off_the_grid(frame: pd.DataFrame, tmp_path: Path) -> None:
    apart = frame.copy()
    apart.loc[16, ["phase_pickup_a", "stabilising_resistance_ohm"]] = [
        0.3,
        50.0,
    ]  # no. 17, in service
    seen = acted(
        page(apart),
        SHOWN
        + """
      const [chosen, service] = explorer.querySelectorAll("button"), seen = [];
      service.click(); seen.push(shown());
      seen.push(move("phase_pickup_a", 0));
      chosen.click(); seen.push(shown());
      const input = slider("delay_s"); input.focus(); input.stepUp(); input.dispatchEvent(new Event("input"));
      seen.push({ n: shown().n, focus: document.activeElement === input,
                  spoken: input.getAttribute("aria-valuetext") });
      return seen;""",
        tmp_path,
    )
    assert seen[0]["n"] == 17
    assert row(apart, seen[1]["n"])["phase_pickup_a"] == 0.1
    assert seen[2]["n"] == 5
    last = row(apart, seen[3]["n"])
    assert seen[3]["focus"]
    assert seen[3]["spoken"] == f"{last['delay_s']:g} s"


@needs_browser
def test_costs_and_what_nobody_catches_are_shown_where_there_are_any(
    frame: pd.DataFrame, tmp_path: Path
) -> None:
    more = frame.assign(
        cost_per_year=1234567.0,
        cost_per_year_low=1200000.4,
        cost_per_year_high=2e6,
        p_nobody=0.012,
        p_nobody_low=0.01,
        p_nobody_high=0.0149,
    )
    more.loc[
        3, ["cost_per_year", "cost_per_year_low", "cost_per_year_high", "p_missed", "p_false"]
    ] = np.nan
    costs, unresolved = acted(
        page(more, cost_unit="<EUR>"),
        SHOWN
        + """
      const entries = () => Object.fromEntries([...explorer.querySelectorAll("dt")].map(
        dt => [dt.textContent, dt.nextElementSibling.textContent]));
      const first = entries();
      explorer.querySelector("button").dataset.candidate = 4; explorer.querySelector("button").click();
      return [first, entries()];""",
        tmp_path,
    )
    assert costs["Cost a year"] == "1,230,000 (1,200,000 to 2,000,000) <EUR>"
    assert costs["Missed by the back-up too"] == "1.2 % (1 % to 1.49 %)"
    assert (
        unresolved["Cost a year"]
        == unresolved["False trips, of the external events"]
        == "unresolved"
    )


@needs_browser
def test_the_console_hears_nothing_and_the_policy_of_the_page_holds(
    frame: pd.DataFrame, tmp_path: Path
) -> None:
    path = tmp_path / "page.html"
    path.write_text(page(frame), encoding="utf-8")
    document, console = opened(path)
    assert console == []
    # the script of the page has run under its own policy
    assert 'data-candidate="5"' in document
    path.write_text(
        page(frame).replace("</body>", "<script>document.title = 'taken'</script></body>")
    )
    document, console = opened(path)
    assert "<title>A study</title>" in document
    assert len(console) == 1


def test_what_has_no_result_and_no_number_is_embedded_as_nothing(frame: pd.DataFrame) -> None:
    broken = frame.copy()
    broken.loc[3, ["p_false", "p_false_low", "p_false_high"]] = np.nan
    text = page(broken)
    assert "NaN" not in text
    assert text.count("<circle") == len(frame)  # one fewer, and the ring


def test_a_scale_has_room_for_none_and_for_one() -> None:
    scale = Scale(-3)
    assert scale.at(0) < scale.at(1e-9) == scale.at(1e-3) < scale.at(0.1) < scale.at(1.0)
    assert [text for _, text in scale.ticks] == ["0.1", "1", "10", "100"]


def test_without_a_limit_there_is_no_mark(frame: pd.DataFrame) -> None:
    assert "policy&#39;s limit" in page(frame)
    assert "policy&#39;s limit" not in page(frame, limit=None)


def test_without_scripts_the_chosen_setting_and_the_plot_stand_there(frame: pd.DataFrame) -> None:
    text = page(frame)
    assert "No. 5, two phase elements and an earth element: phase 0.1 A, earth 0.05 A" in text
    assert "<fieldset hidden>" in text
    assert "<noscript>" in text


@needs_browser
@pytest.mark.parametrize("width", [390, 1280])
def test_numbers_of_the_axes_do_not_meet(frame: pd.DataFrame, width: int, tmp_path: Path) -> None:
    script = """
const boxes = [...page.querySelectorAll('.views svg text')].filter(text => text.getBoundingClientRect().width)
  .map(text => ({ text: text.textContent, box: text.getBoundingClientRect() }));
const meet = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom - 1 && b.top < a.bottom - 1;
return boxes.flatMap((one, k) => boxes.slice(k + 1).filter(other => meet(one.box, other.box))
  .map(other => [one.text, other.text]));"""
    rare = frame.assign(p_false=frame["p_false"].where(frame["candidate"] > 1, 2e-9))
    assert framed(page(rare), width, script, tmp_path) == []


def test_units_have_their_signs(frame: pd.DataFrame) -> None:
    text = page(frame)
    assert "\\u03a9" in text or "Ω" in text
    assert not re.search(r"\bohm\b", text.replace("_ohm", ""))
