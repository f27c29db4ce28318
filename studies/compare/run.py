"""Two runs side by side: what differs in their inputs, choices and figures, and how far the
samples tell them apart."""

from __future__ import annotations

from pathlib import Path

from studies.compare.estimates import compared, tables_of
from studies.compare.figures import figures
from studies.compare.keys import differing_keys, policy_text
from studies.compare.read import read_sides, same_figures
from studies.compare.text import CHOICES, EFFECTS, KEYS, SETTINGS, Runs, first, sections
from studies.protocol import Drawn, Findings
from studies.report.blocks import Section


def compare(one: Path, other: Path) -> tuple[Findings, list[Section]]:
    """Tables, figures and text for a terminal, and sections of a page.

    Parameters
    ----------
    one, other : Path
        Folders that the command run has written: A and B.

    Raises
    ------
    StudyError
        Where one is no folder of results, was changed, or is of another kind.
    """
    sides = read_sides(one, other)
    same = same_figures(*sides, tables_of(sides[0].record["study_kind"]))
    found = compared(*sides, same=same)
    keys = differing_keys(*sides)
    runs = Runs(sides, keys, (policy_text(sides[0]), policy_text(sides[1])), found, same)
    frames = {KEYS: keys, CHOICES: found.choices, SETTINGS: found.settings, EFFECTS: found.effects}
    frames = {name: frame for name, frame in frames.items() if len(frame)}
    text = (*first(runs), *sections(runs))
    findings = Findings(frames, Drawn(figures(found)), text=text)
    return findings, [Section("Result", first(runs)), *sections(runs, page=True)]
