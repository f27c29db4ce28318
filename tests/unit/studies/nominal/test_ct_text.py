"""Where a class or measured points give the excitation curve, `check` says what came of it and
`run` draws the fit."""

from __future__ import annotations

import numpy as np
import pytest

from studies.nominal.excitation import excitation, fits
from studies.nominal.excitation_figure import excitation_fit
from studies.report.look import blank, look
from tests.made.said import check_text, words
from tests.made.studies import study_with
from tests.unit.montecarlo.secondary.test_nameplate import BARE, FREE, GOOD, P20, points


def said(changes: dict[str, object]) -> str:
    return words(excitation(study_with(changes)))


def test_nothing_is_said_of_a_knee_that_is_given() -> None:
    assert said({}) == ""


def test_a_class_is_told_with_its_numbers() -> None:
    text = said(P20)
    assert text.startswith(
        "Excitation of the CTs, both ends: class 5P20: E_al = 384.7 V with R_ct = 5 ohm"
    )
    assert "V_k = 267.6 V and I_k = 25.2 mA" in text
    assert "draws 5 % (RMS) of the accuracy-limit current" in text
    assert "0.5 % ratio error" in text
    assert "267.6 V" in check_text(study_with(P20))


def test_a_fit_is_told_with_its_error() -> None:
    rough = GOOD | {
        "current_a": [a * (1.05 if k % 2 else 1 / 1.05) for k, a in enumerate(GOOD["current_a"])]
    }
    text = said(FREE | {"ct.excitation_points": rough})
    worst = float(text.split("% RMS and ")[1].split()[0])
    assert 3 < worst < 8  # the points lie 5 % off, now above, now below
    assert "15 measured points fitted: V_k = " in text


def test_unlike_ends_are_told_apart() -> None:
    changes = BARE | {
        "ct.neutral_end": {"excitation_points": GOOD},
        "ct.line_end": {"excitation_points": points(250, 0.03, 0.2, 15)},
    }
    text = said(changes)
    assert "neutral end: 15" in text
    assert "line end: 15" in text
    assert list(fits(study_with(changes))) == ["neutral end", "line end"]
    assert list(fits(study_with(FREE | {"ct.excitation_points": GOOD}))) == ["both ends"]
    assert fits(study_with(P20)) == {}


def test_the_figure_has_the_points_and_a_curve_through_them() -> None:
    ct = fits(study_with(FREE | {"ct.excitation_points": GOOD}))["both ends"]
    with look():
        _, ax = blank()
        excitation_fit(ct, ax)
    assert (ax.get_xscale(), ax.get_yscale()) == ("log", "log")
    assert "A secondary RMS" in ax.get_xlabel()
    amperes, volts = ax.lines[0].get_data()
    on_curve = np.exp(
        np.interp(np.log(GOOD["voltage_v"]), np.log(np.asarray(volts)), np.log(np.asarray(amperes)))
    )
    assert on_curve == pytest.approx(GOOD["current_a"], rel=0.01)
    measured, knee = (np.asarray(marks.get_offsets()) for marks in ax.collections[:2])
    assert measured == pytest.approx(np.column_stack([GOOD["current_a"], GOOD["voltage_v"]]))
    assert knee[0] == pytest.approx([0.03, 300], rel=1e-3)


def test_a_shifted_curve_is_told_and_drawn_as_such() -> None:
    shifted = {"ct.remanence_model": "shifted_curve"}
    assert said(P20 | shifted).endswith(
        "This is the characteristic with hysteresis. The shifted curve has the same knee."
    )
    assert "V_k = 267.6 V and I_k = 25.2 mA" in said(P20 | shifted)
    assert "the shifted curve has the same knee, ankle and exponent, and is off by" in said(
        FREE | shifted | {"ct.excitation_points": GOOD}
    )
    drawn: list[tuple[str, np.ndarray]] = []
    for changes in ({}, shifted):
        (ct,) = fits(study_with(FREE | changes | {"ct.excitation_points": GOOD})).values()
        with look():
            line = excitation_fit(ct, blank()[1]).lines[0]
        drawn.append((str(line.get_label()), np.asarray(line.get_xdata())))
    assert [label for label, _ in drawn] == ["fitted curve", "shifted curve, knee fitted"]
    assert 0.6 < (drawn[1][1] / drawn[0][1]).min() < 0.85  # halfway to the knee it draws less
