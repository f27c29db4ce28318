"""Windings that do not exist: each fault in one line, with key, value, limit and cure."""

from __future__ import annotations

from pathlib import Path

import pytest

from montecarlo.errors import StudyError
from montecarlo.study.read import read_study

TEXT = (Path(__file__).parents[4] / "configs" / "turn_faults_10_5kv.toml").read_text("utf-8")


def faults(tmp_path: Path, old: str, new: str) -> list[str]:
    """What is said of the study with one text in place of another."""
    assert old in TEXT
    path = tmp_path / "bad.toml"
    path.write_text(TEXT.replace(old, new), "utf-8")
    with pytest.raises(StudyError) as caught:
        read_study(path)
    return str(caught.value).splitlines()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("slots = 288", "slots = 289", "winding.slots: 289, must be a multiple of 6 pole_pairs"),
        ("pitch = 5", "pitch = 7", "winding.pitch: 7 slots, must be at most the pole pitch"),
        ("branches = 2", "branches = 5", "winding.branches: 5, must divide 2 pole_pairs"),
        (
            "branches = 2",
            "branches = 3",
            "winding.branches: 3, must be even; split_phase, core_balance and",
        ),
        ("nominal = 0.12", "nominal = 0.25", "winding.leakage_reactance_pu: can be 0.2875 pu"),
        ("[internal_faults.turns]", "[internal_faults.turn]", "internal_faults.turn: unknown; did"),
        ("[ct.core_balance]", "[ct.core_balanced]", "ct.core_balanced: unknown; did you mean"),
        ("[winding]", "[windings]", "windings: unknown; did you mean winding?"),
    ],
)
def test_a_fault_is_one_line_that_begins_with_its_key(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    found = faults(tmp_path, old, new)
    assert any(line.startswith(said) for line in found), found


def test_a_winding_without_places_between_its_turns_has_no_scheme_for_them(tmp_path: Path) -> None:
    """One slot a pole and phase, bars, two thirds of the pole pitch."""
    old = TEXT[TEXT.index("slots = 288") : TEXT.index('layout = "alternate"')]
    new = "slots = 144\npole_pairs = 24\npitch = 2\nbranches = 2\nturns_per_coil = 1\n"
    (line,) = faults(tmp_path, old, new)
    assert line.startswith("winding: no two conductors of a phase touch, but split_phase, core")


def test_the_coils_need_the_table_of_their_faults(tmp_path: Path) -> None:
    section = TEXT[TEXT.index("[internal_faults.turns]") :]
    section = section[: section.index("[[external_events]]")]
    (line,) = faults(tmp_path, section, "")
    assert line.startswith("internal_faults.turns: missing; [winding] needs the table")
