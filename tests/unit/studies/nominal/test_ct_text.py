"""Where a class or measured points give the excitation curve, `check` says what came of it and
`run` draws the fit."""

from __future__ import annotations

import numpy as np
import pytest

from studies.nominal.excitation import curves, excitation
from studies.nominal.excitation_figure import excitation_curve
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
    assert list(curves(study_with(changes))) == ["neutral end", "line end"]
    assert list(curves(study_with(FREE | {"ct.excitation_points": GOOD}))) == ["both ends"]
    assert curves(study_with({})) == {}
    assert list(curves(study_with(P20))) == ["both ends"]


@pytest.mark.parametrize(
    ("changes", "label"),
    [
        (P20, "class 5P20, met only just"),
        ({"ct.class": "PX"}, "class PX, knee as given"),
        (FREE | {"ct.class": "C400"}, "class C400, met only just"),
    ],
)
def test_a_class_has_a_curve_through_its_knee(changes: dict[str, object], label: str) -> None:
    (ct,) = curves(study_with(changes)).values()
    with look():
        ax = excitation_curve(ct, blank()[1])
    assert ax.lines[0].get_label() == label
    amperes, volts = (np.log(np.asarray(values)) for values in ax.lines[0].get_data())
    knee_v, knee_a = ct.knee_voltage_v.centre(), ct.knee_current_a.centre()
    # the knee's definition: 10 % more voltage, 50 % more current
    for factor, rise in ((1.0, 1.0), (1.1, 1.5)):
        drawn = np.exp(np.interp(np.log(factor * knee_v), volts, amperes))
        assert drawn == pytest.approx(rise * knee_a, rel=0.01)
    marked = {
        str(marks.get_label()): np.asarray(marks.get_offsets())[0] for marks in ax.collections
    }
    assert marked["knee"] == pytest.approx([knee_a, knee_v])
    assert ("accuracy-limit e.m.f." in marked) == ("met only just" in label)


def test_a_class_holds_up_to_its_limit() -> None:
    """Source: IEC 61869-2, composite error 5 % at the accuracy-limit e.m.f. of a 5P20."""
    (ct,) = curves(study_with(P20)).values()
    with look():
        ax = excitation_curve(ct, blank()[1])
    (limit,) = (m for m in ax.collections if m.get_label() == "accuracy-limit e.m.f.")
    amperes, volts = np.asarray(limit.get_offsets())[0]
    assert volts == pytest.approx(384.7, abs=0.1)
    assert amperes == pytest.approx(0.05 * 20 * 1.0, rel=1e-3)


def test_the_figure_has_the_points_and_a_curve_through_them() -> None:
    ct = curves(study_with(FREE | {"ct.excitation_points": GOOD}))["both ends"]
    with look():
        _, ax = blank()
        excitation_curve(ct, ax)
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
    assert "The shifted curve has the same knee, ankle and exponent. It differs by" in said(
        FREE | shifted | {"ct.excitation_points": GOOD}
    )
    drawn: list[tuple[str, np.ndarray]] = []
    for changes in ({}, shifted):
        (ct,) = curves(study_with(FREE | changes | {"ct.excitation_points": GOOD})).values()
        with look():
            line = excitation_curve(ct, blank()[1]).lines[0]
        drawn.append((str(line.get_label()), np.asarray(line.get_xdata())))
    assert [label for label, _ in drawn] == ["fitted curve", "shifted curve, knee fitted"]
    assert 0.6 < (drawn[1][1] / drawn[0][1]).min() < 0.85  # halfway to the knee it draws less
