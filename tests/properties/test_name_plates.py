"""The starter of any name-plate is a sound study of that machine, which runs."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from montecarlo.engine.sizes import check_sizes
from montecarlo.study.checks import cautions
from montecarlo.study.description import Study
from montecarlo.study.nominal import Nominal
from montecarlo.study.read import study_of
from studies.cli.main import main
from studies.starter.plate import MOST_RATED, Plate
from studies.starter.said import doubts
from studies.starter.scaling import Scaled
from studies.starter.text import rating, ratio, starter_text

PRIMARIES_A = (200, 300, 600, 800, 1200, 2000, 3000, 5000, 8000, 12000, 20000, 30000)
GIVEN = frozenset({"mva", "kv", "hz", "earthing-a", "ct"})
# Of values with two digits, and of what is worked out from two of them
ROUNDED, TWICE = 0.05, 0.1
# Cautions that a name-plate itself may cause: a CT or an earthing current far from what is usual
OF_THE_PLATE = {
    "ct.primary_a",
    "earthing.resistance_ohm",
    "machine.winding_exponent",
    "candidates",
    "scheme.phase_stabilising_ohm",
    "candidates.stabilising_resistance_ohm",
}
quick = settings(
    max_examples=25,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.filter_too_much],
)


def spread(low: float, high: float) -> st.SearchStrategy[float]:
    """Evenly in the logarithm, with three digits."""
    return st.floats(0, 1).map(lambda u: float(f"{low * (high / low) ** u:.3g}"))


plates = st.builds(
    Plate,
    mva=spread(5, 800),
    kv=spread(3.3, 27),
    hz=st.sampled_from((50.0, 60.0)),
    earthing_a=spread(5, 1000),
    primary_a=st.sampled_from(PRIMARIES_A).map(float),
    secondary_a=st.sampled_from((1.0, 5.0)),
    given=st.just(GIVEN),
).filter(lambda plate: plate.rated_a <= MOST_RATED * plate.primary_a)


def study_for(plate: Plate) -> Study:
    return study_of(starter_text(plate).encode(), Path("mine.toml"))


@quick
@given(plates)
def test_it_reads_and_is_of_that_machine(plate: Plate) -> None:
    study = study_for(plate)
    check_sizes(study)
    machine, nominal = study.machine, Nominal(study)
    assert machine.rated_current_a == pytest.approx(plate.rated_a)
    resistor_a = machine.phase_voltage_v / abs(nominal.own_neutral_ohm)
    assert resistor_a == pytest.approx(plate.earthing_a, rel=1e-3)
    seconds = nominal.at("machine.negative_sequence_reactance_pu") * machine.base_impedance_ohm
    seconds /= machine.omega * nominal.at("machine.winding_resistance_ohm")
    low, high = machine.armature_time_constant_s.support()
    assert low < seconds < high
    assert study.ct.at("line_end").turns_ratio == plate.primary_a / plate.secondary_a


@quick
@given(plates)
def test_its_settings_are_those_of_the_relay(plate: Plate) -> None:
    study = study_for(plate)
    assert not study.moves
    grids, rated_a = study.candidates, plate.secondary_a
    assert max(grids.earth_pickup_a) <= 0.2 * rated_a * (1 + 1e-9)
    assert min(grids.earth_pickup_a) >= 0.005 * rated_a * (1 - 1e-9)
    assert (len(grids.earth_pickup_a), len(grids.phase_pickup_a)) == (5, 2)
    nominal = Nominal(study)
    fault_a = plate.rated_a / plate.primary_a * rated_a / 0.22
    ohm = nominal.at("ct.winding_resistance_ohm") + nominal.at("ct.lead_resistance_ohm")
    assert nominal.at("scheme.phase_stabilising_ohm") == pytest.approx(
        fault_a * ohm / (0.15 * rated_a), rel=TWICE
    )
    if plate.rated_a <= 1.2 * plate.primary_a:  # V_k >= 2 V_s
        assert nominal.knee_of(("line_end",)) >= 2 * fault_a * ohm


@quick
@given(plates)
def test_cautions_of_check_come_from_the_name_plate_alone(plate: Plate) -> None:
    """Two stand in every study. What `new` says of capacitances is what `check` says."""
    found = [caution for caution in cautions(study_for(plate)) if not caution.standing]
    assert {caution.key for caution in found} <= OF_THE_PLATE
    scaled = Scaled(plate)
    near = abs(scaled.capacitive_a / plate.earthing_a - 1) < ROUNDED
    said = any("1/(3wC)" in caution.text for caution in found)
    assert near or said == (plate.earthing_a < scaled.capacitive_a)
    usual = 0.5 <= plate.rated_a / plate.primary_a <= 1.2 and plate.earthing_a > 25
    if usual and not [*doubts(scaled)]:
        assert {caution.key for caution in found} <= {"machine.winding_exponent", "candidates"}


FAR_APART = (
    Plate(mva=5, kv=27, hz=60, earthing_a=1000, primary_a=200, secondary_a=5, given=GIVEN),
    Plate(mva=800, kv=20, earthing_a=5, primary_a=30000, given=GIVEN),
)


@pytest.mark.slow
@pytest.mark.parametrize("plate", FAR_APART, ids=rating)
def test_two_commands_from_the_name_plate_to_a_result(
    plate: Plate, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    options = {
        "--mva": plate.mva,
        "--kv": plate.kv,
        "--hz": plate.hz,
        "--earthing-a": plate.earthing_a,
        "--ct": ratio(plate),
    }
    given_ = [f"{name}={value}" for name, value in options.items()]
    assert main(["new", "mine.toml", *given_]) == 0
    assert main(["run", "mine.toml", "--samples", "256", "--workers", "1"]) == 0
    assert (tmp_path / "mine-results" / "report.html").stat().st_size > 10_000
