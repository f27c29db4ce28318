"""A stratum: its parts, and its text as a key."""

from __future__ import annotations

import json
import pickle

import pytest

from montecarlo.sampling.stratum import EARTH, Side, Stratum
from montecarlo.study.strata import event_of, strata
from tests.made.studies import study_with


@pytest.mark.parametrize("stratum", strata(study_with()))
def test_parts_make_the_name_again_and_travel(stratum: Stratum) -> None:
    assert Stratum.of(stratum.side, stratum.kind) == stratum
    again = pickle.loads(pickle.dumps(stratum))
    assert (again, again.side, again.kind) == (stratum, stratum.side, stratum.kind)


def test_it_is_its_own_text() -> None:
    assert {EARTH: 1}["internal.earth"] == 1
    assert json.dumps({EARTH: 1}) == '{"internal.earth": 1}'


def test_an_event_is_found_by_its_stratum() -> None:
    study = study_with()
    for event in study.external_events:
        assert event_of(study, Stratum.of(Side.EXTERNAL, event.name)) is event


def test_a_side_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="installation"):
        Stratum("installation")
