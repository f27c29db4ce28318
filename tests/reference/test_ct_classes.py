"""Limits of CT classes, as a check on the core that is derived from a name-plate.

5P and 10P: IEC 60044-1 / 61869-2 as tabulated in Agrawal, Industrial Power Engineering and
Applications Handbook, p. 501 (ratio 1 and 3 %, displacement 60 min, composite 5 and 10 % at the
accuracy-limit current). TP, PX and PR classes: IEC 61869-2, from memory. C: IEEE C57.13, from
memory (10 % at 20 times rated current, 3 % at rated current)."""

import numpy as np
import pytest

from montecarlo.secondary import steady
from montecarlo.secondary.circuit import CtBank
from montecarlo.secondary.excitation import excitation_table
from montecarlo.secondary.nameplate import MINUTE, Core, design, read_class

OMEGA = 100 * np.pi
PLATES = [  # class, burden VA, rated secondary A, winding ohm, K_ssc, K_td
    ("5P20", 2.5, 1, 3.0, None, 1),
    ("5P20", 15, 1, 5.0, None, 1),
    ("5P10", 30, 5, 0.3, None, 1),
    ("10P10", 15, 1, 5.0, None, 1),
    ("10P5", 2.5, 1, 2.0, None, 1),
    ("5PR20", 15, 1, 5.0, None, 1),
    ("C400", None, 5, 0.5, None, 1),
    ("C20", None, 5, 0.1, None, 1),
    ("C800", None, 5, 1.0, None, 1),
    ("TPX", 5, 1, 5.0, 20, 5),
    ("TPY", 5, 1, 5.0, 20, 12),
    ("TPY", 5, 1, 5.0, 20, 3),
]
LIMITS = {
    "5P": (5, 1, 60),
    "5PR": (5, 1, 60),
    "10P": (10, 3, None),
    "C": (10, 3, None),
    "TPX": (10, 0.5, 30),
    "TPY": (10, 1, 60),
}  # per cent at the limit and at rated current, minutes


def derived(name, burden, rated, winding, factor, transient, ankle=None):
    plate = read_class(name)
    rules = plate.rules
    core = Core(rules.bound_percent, np.mean(rules.ankle) if ankle is None else ankle, 15)
    return (
        plate,
        core,
        design(
            plate,
            core,
            rated,
            winding,
            plate.burden_ohm(burden, rated),
            plate.factor or factor,
            transient,
        ),
    )


def error_of(core, found, ohm, primary_a):
    """Current error vector of one CT on its total resistance, by the phasor solution with the
    describing function."""
    bank = CtBank(
        np.ones((1, 1)),
        np.full((1, 1), ohm),
        np.full((1, 1), np.sqrt(2) * found.knee_voltage_v / OMEGA),
        np.full((1, 1), found.knee_current_a),
        excitation_table(core.bound_percent, core.exponent).at(np.full((1, 1), core.ankle)),
        np.array([core.exponent]),
        np.zeros((1, 1)),
    )
    current = steady.solve(
        np.ones((1, 1)), np.zeros((1, 1)), bank, np.full((1, 1), complex(primary_a)), OMEGA
    ).legs
    return complex(current[0, 0]) / primary_a - 1


@pytest.mark.parametrize("plate", PLATES)
def test_the_composite_error_at_the_accuracy_limit_is_that_of_the_class(plate):
    """Exciting current at E_al over the accuracy-limit current (the standard's indirect test; peak
    for TP classes)."""
    designation, core, found = derived(*plate)
    limit = LIMITS[designation.family][0] / 100
    factor, m = designation.factor or plate[4], found.limiting_v / found.knee_voltage_v
    reach = core.peak(m) / np.sqrt(2) if designation.transient else core.rms(m)
    assert found.knee_current_a * reach / (factor * plate[2]) == pytest.approx(limit, rel=1e-9)


@pytest.mark.parametrize("plate", PLATES)
def test_the_phasor_solution_keeps_the_class_at_the_limit_and_at_rated_current(plate):
    designation, core, found = derived(*plate)
    composite, ratio, minutes = LIMITS[designation.family]
    factor, rated = designation.factor or plate[4], plate[2]
    ohm = found.limiting_v / (factor * plate[5] * rated)  # |R_ct + Z_b|, taken as a resistance
    assert abs(error_of(core, found, ohm, factor * rated)) <= composite / 100
    error = error_of(core, found, ohm, rated)
    worst = (
        abs(abs(1 + error) - 1) + designation.rules.turns_percent / 100
    )  # the turns' own part on top
    assert worst <= ratio / 100 * (1 + 2e-3)  # the solver's describing function lies on a grid
    if minutes is not None:
        assert abs(np.angle(1 + error)) <= minutes * MINUTE * (1 + 1e-6)


@pytest.mark.parametrize("plate", PLATES)
def test_a_class_is_met_only_just(plate):
    """A knee 1 % lower at the same knee current breaks the class."""
    designation, core, found = derived(*plate)
    factor, m = designation.factor or plate[4], found.limiting_v / (0.99 * found.knee_voltage_v)
    reach = core.peak(m) / np.sqrt(2) if designation.transient else core.rms(m)
    assert found.knee_current_a * reach / (factor * plate[2]) > LIMITS[designation.family][0] / 100


def test_limiting_voltage_is_the_formula_of_the_standard():
    # E_al = ALF I_sr (R_ct + Z_b), IEC 61869-2 and the handbook: 20 x 1 A x (3 + 2.5) ohm,
    # burden of power factor 1.
    assert derived("5P20", 2.5, 1, 3.0, None, 1)[2].limiting_v == pytest.approx(110.0)
    # 15 VA at 0.8: 20 x |5 + 12 + 9j|; C400: 100 A x |0.5 + 4 (0.5 + 0.866j)|; K_td raises it:
    # 20 x 12 x 10.
    assert derived("5P20", 15, 1, 5.0, None, 1)[2].limiting_v == pytest.approx(20 * np.hypot(17, 9))
    assert derived("C400", None, 5, 0.5, None, 1)[2].limiting_v == pytest.approx(
        100 * np.hypot(2.5, 2 * np.sqrt(3))
    )
    assert derived("TPY", 5, 1, 5.0, 20, 12)[2].limiting_v == pytest.approx(2400.0)


def test_the_knee_of_a_closed_core_lies_at_two_thirds_to_nine_tenths_of_the_limiting_voltage():
    # Common practice, no source: a 5P core's knee is taken at 0.7 to 0.8 of E_al.
    for plate in PLATES[:5]:
        _, _, found = derived(*plate)
        assert 0.65 <= found.knee_voltage_v / found.limiting_v <= 0.9


def test_a_linear_core_has_the_displacement_of_its_class_and_keeps_its_ac_error():
    # TPZ: 180 +- 18 min and 1 % at rated current, AC error at most 10 % at the limit (IEC
    # 61869-2, memory).
    designation, core, found = derived("TPZ", 5, 1, 5.0, 20, 12)
    rated = error_of(core, found, 10.0, 1.0)
    assert abs(np.angle(1 + rated)) / MINUTE == pytest.approx(180, abs=18)
    assert abs(abs(1 + rated) - 1) + designation.rules.turns_percent / 100 <= 0.01
    assert abs(error_of(core, found, 10.0, 20.0)) <= 0.10
    assert designation.rules.bound_percent <= 2


@pytest.mark.parametrize("name", ["5PR20", "PXR", "TPY"])
def test_gapped_classes_rest_at_a_tenth_of_the_flux(name):
    # IEC 61869-2: remanence factor at most 10 %
    assert read_class(name).rules.bound_percent == 10


def test_fundamental_of_the_loop_is_that_of_the_loop_drawn_point_by_point():
    core = Core(80.0, 0.3, 15)
    a, b, *stops = core.coefficients
    angle = (np.arange(20000) + 0.5) * np.pi / 20000  # falling half cycle
    for m in (0.02, 0.2, 1.0, 1.2):
        flux = m * np.cos(angle)
        current = a * flux + b * flux**15
        for c, width in zip(stops, (0.03, 0.40), strict=True):
            top = min(1.0, m / width)
            current = current + c * np.maximum(-top, top - (m - flux) / width)
        behind, loss = 2 * np.mean(current * np.cos(angle)), -2 * np.mean(current * np.sin(angle))
        assert core.fundamental(m) == pytest.approx(complex(loss, -behind) / np.sqrt(2), abs=1e-6)


def test_names_that_are_no_class():
    for name in ("5P", "5P0", "15P20", "TPS", "C0", "p5", "5p20", ""):
        assert read_class(name) is None


def test_the_direct_test_in_time_keeps_the_composite_error_too():
    """The standard's direct test: sinusoidal primary current at the accuracy limit on the rated
    burden (taken as a resistance), stepped by Euler until settled; RMS of the instantaneous error
    over the primary current."""
    plates = [plate for plate in PLATES if not plate[0].startswith("TP")]
    cores = [derived(*plate) for plate in plates]
    limit_a = np.array(
        [core[0].factor * plate[2] for plate, core in zip(plates, cores, strict=True)]
    )
    found = [core[2] for core in cores]
    knee_flux = np.array([np.sqrt(2) * one.knee_voltage_v / OMEGA for one in found])
    ohm = np.array([one.limiting_v for one in found]) / limit_a
    shape = np.array([core.coefficients for _, core, _ in cores]).T * [
        one.knee_current_a for one in found
    ]
    (a, b), bounds, yields = shape[:2], shape[2:], np.array([[0.03], [0.40]])
    steps, cycles = 8000, 4
    m, stops, square = np.zeros(len(plates)), np.zeros((2, len(plates))), np.zeros(len(plates))
    for k in range(cycles * steps):
        exciting = a * m + b * m**15 + stops.sum(axis=0)
        move = (
            ohm
            * (np.sqrt(2) * limit_a * np.cos(2 * np.pi * k / steps) - exciting)
            / knee_flux
            / (50 * steps)
        )
        m, stops = m + move, np.clip(stops + bounds / yields * move, -bounds, bounds)
        square += exciting**2 / steps * (k >= (cycles - 1) * steps)
    allowed = np.array([LIMITS[designation.family][0] / 100 for designation, _, _ in cores])
    assert (np.sqrt(square) / limit_a <= allowed).all()
    assert (
        np.sqrt(square) / limit_a >= 0.8 * allowed
    ).all()  # only just: distorted flux needs a little less
