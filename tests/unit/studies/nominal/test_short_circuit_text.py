"""IEC 60909 currents in the text of `check`, and the model's own beside them."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest

from montecarlo.plant.decrement import Decrement, fault_current_rms
from studies.nominal.desk import Desk
from studies.nominal.short_circuit import DELAYS_S, model_currents, short_circuit
from studies.report.terminal import WIDTH, lines
from tests.made.said import check_text, words
from tests.made.studies import faults_of, study_with

# IEC TR 60909-4, generator G2 (see tests/reference/test_iec60909.py); at the terminals its U_n
# of 10 kV cancels.
EXAMPLE = {
    "machine.rated_power_va": 100e6,
    "machine.line_voltage_v": 10.5e3,
    "machine.voltage_factor": 1.075,
    "machine.subtransient_reactance_pu": 0.16,
    "machine.winding_resistance_ohm": 0.005,
    "machine.negative_sequence_reactance_pu": 0.16,
    "machine.rated_power_factor": 0.9,
}
NO_LOAD = {"load.current_pu": 0.0, "load.power_factor": 1.0}


def lines_with(changes: dict[str, Any]) -> list[str]:
    return lines(short_circuit(Desk(study_with(changes))))


def row(text: list[str], name: str) -> list[str]:
    """The cells of a row after its name."""
    return next(line for line in text if name in line).split(name)[1].split()


def test_the_printed_example() -> None:
    text = lines_with(EXAMPLE)
    assert row(text, "initial I''k (RMS)")[0] == "39.5"
    assert row(text, "peak i_p")[0] == "104.1"
    assert row(text, "after 0.1 s, I_b (RMS)")[0] == "27.35"
    assert row(text, "initial I''k2")[0] == f"{39.504 * np.sqrt(3) / 2:.4g}"
    said = words("\n".join(text))
    assert "kappa = 1.02 + 0.98 exp(-3R/X) = 1.863 with R_Gf = 0.05 X''d" in said
    assert "1 + p_G = 1.075" in said


def test_the_power_factor_of_the_rating_decides() -> None:
    # 25 MVA, 11 kV, x'' 0.2, R 0: I''k = I_r (1 + x'' sin phi)/x'' = 1.3122 kA x 5.6 at 0.8, x
    # 5 at 1. Worked by hand.
    assert row(lines_with({"machine.rated_power_factor": 0.8}), "initial I''k (RMS)")[0] == "7.348"
    assert row(lines_with({"machine.rated_power_factor": 1.0}), "initial I''k (RMS)")[0] == "6.561"
    assert row(lines_with({}), "initial I''k (RMS)") == row(
        lines_with({"machine.rated_power_factor": 0.85}), "initial I''k (RMS)"
    )


def test_without_load_the_model_gives_its_decrement() -> None:
    desk = Desk(study_with(NO_LOAD))
    machine = Decrement(
        **{name: desk.at(f"machine.{name}") for name in Decrement.__dataclass_fields__}
    )
    first, later, crest = model_currents(desk, 0.0)
    rated = desk.study.machine.rated_current_a
    assert first == pytest.approx(5 * rated, rel=1e-6)
    assert later == pytest.approx(
        rated * fault_current_rms("three_phase", DELAYS_S, 1.0, machine, 0.0), rel=1e-6
    )
    # half a cycle after the worst instant: the AC part then and the DC part left, within what
    # the AC loses on the way
    half = fault_current_rms("three_phase", 0.01, 1.0, machine, 0.0)
    most = np.sqrt(2) * rated * (half + 5 * np.exp(-0.01 / 0.15))
    assert crest == pytest.approx(most, rel=0.005)


def test_a_load_raises_the_model_as_its_emf_does() -> None:
    # |1 + j0.2 x 0.6 (0.9 - j sin phi)| / 0.2
    desk = Desk(study_with({}))
    emf = abs(1 + 0.2j * 0.6 * (0.9 - 1j * np.sqrt(1 - 0.9**2)))
    first, _, crest = model_currents(desk, 0.6)
    assert first == pytest.approx(emf / 0.2 * desk.study.machine.rated_current_a, rel=1e-6)
    assert crest > model_currents(desk, 0.0)[2]
    assert "model, no load load 0.6 pu" in words(short_circuit(desk))
    assert "model, load" not in "\n".join(lines_with(NO_LOAD))


def test_an_earth_fault_keeps_c_behind_the_neutral() -> None:
    # Without capacitance and with 400 ohm the resistor decides: c U_n/(sqrt(3) R) against
    # U/(sqrt(3) R).
    text = lines_with({"earthing.resistance_ohm": 400.0, "machine.stator_capacitance_f": 0.0})
    standard, model, *_ = map(float, row(text, "initial I''k1")[:2])
    assert standard / model == pytest.approx(1.1, rel=2e-3)
    assert model == pytest.approx(11 / np.sqrt(3) / 400, rel=2e-3)


def test_the_terms_of_a_low_voltage_machine() -> None:
    assert "R_Gf = 0.15 X''d" in " ".join(
        lines_with({"machine.line_voltage_v": 690.0, "machine.rated_power_va": 1e6})
    )


def test_no_iec_currents_off_50_and_60_hertz() -> None:
    text = words("\n".join(lines_with({"machine.frequency_hz": 16.7})))
    assert text == (
        "Short circuit at the terminals: not computed, since IEC 60909 is for 50 Hz and 60 Hz"
        " and the machine has 16.7 Hz."
    )


def test_it_stands_in_check_and_fits() -> None:
    text = check_text(study_with(EXAMPLE | {"network.reactance_pu": 0.4}))
    assert re.search(r"\n  Short circuit at the terminals, the machine alone", text)
    assert all(len(line) <= WIDTH for line in text.splitlines())


@pytest.mark.parametrize("value", [-0.1, 1.01, float("nan")])
def test_a_power_factor_that_cannot_be(value: float) -> None:
    (fault,) = faults_of({"machine.rated_power_factor": value})
    assert fault.startswith("machine.rated_power_factor: ")
