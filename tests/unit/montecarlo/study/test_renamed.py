"""Words of earlier versions: each is refused in one line with the word of now, and none is left."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from montecarlo.errors import StudyError
from montecarlo.study.description import Study
from montecarlo.study.reference import input_reference
from montecarlo.study.renamed import COLUMNS, COMMANDS, FILES, KEYS, VALUES, old_words
from studies.cli.options import COMMANDS as KNOWN
from studies.cli.options import parse
from tests.made.studies import faults_of

ROOT = Path(__file__).resolve().parents[4]
# The first holds the words, the second names of random streams
EXEMPT = ("study/renamed.py", "sampling/streams.py")


def table_with(path: str) -> dict[str, Any]:
    """A table of a study with one key."""
    table: Any = 1
    for part in reversed(path.split(".")):
        table = {part: table}
    return dict(table)


@pytest.mark.parametrize(("old", "new"), KEYS.items())
def test_an_old_key_is_refused_with_the_new_one(old: str, new: str) -> None:
    assert faults_of({old: 1}) == (f"{old}: is now called {new}",)


@pytest.mark.parametrize(("old", "new"), KEYS.items())
def test_the_new_key_is_known(old: str, new: str) -> None:
    section: Any = Study
    *path, _ = old.split(".")
    for part in path:
        section = section.model_fields[part].annotation
    assert new in section.model_fields


@pytest.mark.parametrize("key", ["slope1", "slope2", "slope_break_a"])
@pytest.mark.parametrize("setting", ["present", "existing"])
def test_the_existing_setting_has_the_same_keys(key: str, setting: str) -> None:
    found = [*old_words(table_with(f"candidates.{setting}.{key}"))]
    assert found[-1] == f"candidates.{setting}.{key}: is now called {KEYS[f'candidates.{key}']}"


@pytest.mark.parametrize(("key", "old"), VALUES)
def test_an_old_value_is_refused_wherever_it_stands(key: str, old: str) -> None:
    place = {"kind": "study.kind", "varies": "external_events[0].clearing_time_s.varies"}[key]
    table = {
        "study": {"kind": old},
        "external_events": [{"clearing_time_s": {"dist": "normal", "varies": old}}],
    }
    assert [*old_words(table)] == [f'{place}: "{old}": is now called "{VALUES[key, old]}"']


def test_a_changed_key_is_judged_with_the_study_that_it_makes() -> None:
    (line,) = faults_of(
        {
            "policy.assumption_sets": [
                {"name": "a", "changes": {"states.open_pilot_per_year": 0.1}},
            ]
        }
    )
    assert line == (
        "policy.assumption_sets[0]: states.open_pilot_per_year: is now called"
        " open_ct_circuit_per_year"
    )


@pytest.mark.parametrize("old", COMMANDS)
def test_an_old_command_is_refused_with_the_new_one(old: str) -> None:
    assert COMMANDS[old] in KNOWN
    with pytest.raises(StudyError) as caught:
        parse([old])
    (line,) = caught.value.faults
    assert line == f"{old}: is now called {COMMANDS[old]}; see statorodds --help"


@pytest.mark.parametrize(
    "old", [*(key.rpartition(".")[2] for key in KEYS), *COLUMNS, *FILES, *COMMANDS, "plant"]
)
def test_the_product_has_no_old_word_left(old: str) -> None:
    quoted = re.compile(rf'"{re.escape(old)}"')
    found = [
        str(path)
        for folder in ("montecarlo", "studies")
        for path in (ROOT / folder).rglob("*.py")
        if not str(path).endswith(EXEMPT) and quoted.search(path.read_text(encoding="utf-8"))
    ]
    assert not found


@pytest.mark.parametrize(
    "old", [*KEYS, *COLUMNS, *FILES, *COMMANDS, *(f'{key} = "{old}"' for key, old in VALUES)]
)
def test_the_list_of_keys_has_every_old_word(old: str) -> None:
    assert f"| `{old}` |" in input_reference()
