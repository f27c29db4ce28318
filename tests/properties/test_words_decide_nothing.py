"""What a run says could be any words: tables, choice and the make of the report stay as they are.

Every number in words, every name of a scheme or a setting and every text of a block becomes "x"."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from inspect import isfunction
from pathlib import Path
from typing import Any

import pytest
from pandas.testing import assert_frame_equal

from studies import KINDS
from studies.cli.report import report_page
from studies.nominal.desk import Desk
from studies.protocol import Findings, silent
from studies.report import blocks, numbers, words
from studies.report.blocks import Aside, Block, Items, Lead, Section, Table
from tests.made.studies import study_with

X = "x"
EXISTING = {"phase_pickup_a": 0.1, "earth_pickup_a": 0.1, "delay_s": 0.1}
SMALL: dict[str, Any] = {
    "study.samples": 128,
    "study.installations": 16,
    "study.earth_fault_samples": 32,
    "backup": {"neutral_voltage": {"pickup_percent": 10, "delay_s": 0.3}},
    "candidates.existing": EXISTING,
    "candidates.stabilising_resistance_ohm": [300],
}
STUDIES: dict[str, dict[str, Any]] = {
    "a choice": {"policy.p_false_max": 0.5},
    "no choice": {"policy.p_false_max": 1e-6},
    "schemes": {
        "study.kind": "scheme_comparison",
        "scheme.kind": ["per_phase", "two_phase_one_earth"],
        "candidates.existing": EXISTING | {"scheme": "two_phase_one_earth"},
        "policy.p_false_max": 0.5,
        "policy.p_false_max_each": 0.6,
    },
    "options": {
        "study.kind": "earthing_options",
        "policy.p_false_max": 0.5,
        "earthing_options": [
            {"name": "10 ohm", "resistance_ohm": 10},
            {"name": "40 ohm", "resistance_ohm": 40},
        ],
        "fault_energy": {
            "breaker_time_s": 0.08,
            "field_decay_time_constant_s": 1.0,
            "undetected_time_s": 10,
        },
        "damage": {"zones": [{"name": "insulation", "current_a": 10, "time_s": 1}]},
        "dependability": {
            "proof_test_years": 2,
            "parts": [
                {"name": "relay", "paths": ["phase_elements"], "dangerous_per_year": 0.01},
            ],
        },
    },
    "alternatives": {
        "study.kind": "alternatives",
        "policy.p_false_max": 0.5,
        "alternatives": [{"name": "less", "changes": {"ct.knee_voltage_v": 450}}],
    },
}
FAST = "no choice"  # the others take several runs, or independent samples
SAID: dict[str, Callable[..., Any]] = {
    name: getattr(module, name)
    for module, names in (
        (numbers, [name for name, value in vars(numbers).items() if isfunction(value)]),
        (words, ("input_name", "scheme_name", "setting_text", "slope_text")),
    )
    for name in names
    if callable(getattr(module, name))
}
OF_SEVERAL = {"gap": 2, "limits_of": 3}  # how many texts they give


def silence(monkeypatch: pytest.MonkeyPatch) -> None:
    """From now on nothing says anything but x."""
    for name, module in [*sys.modules.items()]:
        if name.startswith("studies."):
            for attribute, said in SAID.items():
                if getattr(module, attribute, None) is said:
                    monkeypatch.setattr(module, attribute, dumb(attribute))
    for kind in (
        blocks.Lead,
        blocks.Paragraph,
        blocks.Caution,
        blocks.Heading,
        blocks.Items,
        blocks.Table,
    ):
        monkeypatch.setattr(kind, "__init__", mute(kind.__init__))


def dumb(name: str) -> Callable[..., Any]:
    many = OF_SEVERAL.get(name)
    return lambda *_, **__: X if many is None else (X,) * many


def mute(made: Callable[..., None]) -> Callable[..., None]:
    def init(self: Block, *args: Any, **others: Any) -> None:
        made(self, *args, **others)
        for name in ("text", "texts", "header", "rows", "caption", "notes"):
            if hasattr(self, name):
                object.__setattr__(self, name, crossed(getattr(self, name)))

    return init


def crossed(value: Any) -> Any:
    """Every text in it but empty ones replaced."""
    return tuple(map(crossed, value)) if isinstance(value, tuple) else value and X


def shape(block: Block) -> tuple[Any, ...]:
    """All of a block but its words."""
    if isinstance(block, Section | Aside):
        return (type(block), *map(shape, block.blocks))
    if isinstance(block, Table):
        sizes = len(block.header), len(block.rows), len(block.notes)
        return (Table, *sizes, block.align, block.widths, block.group, bool(block.caption))
    return (type(block), len(block.texts) if isinstance(block, Items | Lead) else 1)


def run(changes: dict[str, Any]) -> tuple[Findings, list[Any]]:
    """Findings, and the make of text and report."""
    study = study_with(SMALL | changes)
    found = KINDS[study.study.kind]().run(study, workers=1, progress=silent)
    page = report_page(study, replace(found, figures={}), Path(), "")
    return found, [*map(shape, found.text), *map(shape, page.all_sections)]


@pytest.mark.parametrize(
    "name",
    [name if name == FAST else pytest.param(name, marks=pytest.mark.slow) for name in STUDIES],
)
def test_other_words_change_no_table_no_choice_and_no_block(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    told, make = run(STUDIES[name])
    silence(monkeypatch)
    dumb_told, dumb_make = run(STUDIES[name])
    assert dumb_make == make
    said = (block for block in blocks.flat(dumb_told.text) if isinstance(block, blocks.Paragraph))
    assert {block.text for block in said} == {X}
    assert list(dumb_told.frames) == list(told.frames)
    for table, frame in told.frames.items():
        assert_frame_equal(dumb_told.frames[table], frame, check_exact=True, obj=table)
    assert [*dumb_told.files] == [*told.files]
    if told.result is not None and dumb_told.result is not None:
        assert dumb_told.result.chosen == told.result.chosen
        assert (told.result.chosen is None) == (name == "no choice")


def test_the_desk_says_as_much_in_other_words(monkeypatch: pytest.MonkeyPatch) -> None:
    from studies.check.text import checked

    study = study_with(SMALL | STUDIES["schemes"])
    before = [*map(shape, checked(study).text)]
    cautions = len(checked(study).cautions)
    rules = Desk(study).neutral_ohm
    silence(monkeypatch)
    assert [*map(shape, checked(study).text)] == before
    assert len(checked(study).cautions) == cautions
    assert Desk(study).neutral_ohm == rules
