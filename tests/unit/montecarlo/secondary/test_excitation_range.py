"""The door refuses CT data that no excitation curve can have."""

from tests.made.studies import faults_of, study_with


def test_an_ankle_outside_the_range_of_its_bound_is_refused_with_the_range() -> None:
    (fault,) = faults_of({"ct.ankle_ratio": {"dist": "uniform", "low": 0.05, "high": 0.3}})
    assert fault.startswith("ct.ankle_ratio: 0.05 ... 0.3, must stay within 0.142 ... 0.584")
    assert "narrow it" in fault


def test_the_fault_names_the_end_that_has_the_override() -> None:
    (fault,) = faults_of(
        {"ct.line_end": {"remanence_bound_percent": 10.0, "remanence_percent": 0.0}}
    )
    assert fault.startswith("ct.ankle_ratio: 0.2")
    (fault,) = faults_of({"ct.line_end": {"ankle_ratio": 0.9}})
    assert fault.startswith("ct.line_end.ankle_ratio: 0.9")


def test_positions_must_be_free_and_per_event() -> None:
    uniform = {"dist": "uniform", "low": 0.0, "high": 1.0}
    assert study_with({"internal_faults.position": uniform}).internal_faults.position.support() == (
        0,
        1,
    )
    assert faults_of({"internal_faults.position": {**uniform, "varies": "installation"}}) == (
        "internal_faults.position: varies = 'installation', must vary per event; leave varies out",
    )
