"""The text of a starter study: the template, filled in for a name-plate."""

from __future__ import annotations

from importlib.resources import files
from string import Template

from studies.starter import scaling
from studies.starter.plate import Plate
from studies.starter.scaling import Scaled, rounded

COMMENTS = 32  # their column


def starter_text(plate: Plate) -> str:
    """The study file."""
    template = (files("studies.starter") / "template.toml").read_text(encoding="utf-8")
    numbers = {name: f"{value:g}" for name, value in _numbers(Scaled(plate)).items()}
    text = Template(template).substitute(numbers | _words(plate))
    return "".join(map(_aligned, text.splitlines(keepends=True)))


def _aligned(line: str) -> str:
    """Comments beside short values stand below each other."""
    value, mark, comment = line.partition("  # ")
    return f"{value.rstrip():<{COMMENTS - 2}}{mark}{comment}" if mark else line


def rating(plate: Plate) -> str:
    """Power, voltage and frequency in words."""
    return f"{plate.mva:g} MVA, {plate.kv:g} kV, {plate.hz:g} Hz"


def not_given(plate: Plate) -> list[str]:
    """What of the name-plate was not given, in words."""
    shown = {
        "mva": f"{plate.mva:g} MVA",
        "kv": f"{plate.kv:g} kV",
        "hz": f"{plate.hz:g} Hz",
        "earthing-a": f"{plate.earthing_a:g} A through the earthing resistor",
        "ct": f"CTs {ratio(plate)} A",
    }
    return [text for name, text in shown.items() if name not in plate.given]


def ratio(plate: Plate) -> str:
    """Of the CTs."""
    return f"{plate.ct_a:g}/{plate.secondary_a:g}"


def _words(plate: Plate) -> dict[str, str]:
    scaled = Scaled(plate)
    earthing = f"{plate.earthing_a:g} A at {plate.phase_v / 1e3:.3g} kV"
    return {
        "about": _about(plate),
        "title": _title(plate),
        "power_va": f"{plate.mva:.12g}e6",
        "voltage_v": f"{plate.kv:.12g}e3",
        "stator_low_f": _micro(scaled.stator_f / 2),
        "stator_high_f": _micro(scaled.stator_f * 2),
        "external_f": _micro(scaled.stator_f / 2),
        "mva_from": _origin(plate, "mva"),
        "kv_from": _origin(plate, "kv"),
        "hz_from": _origin(plate, "hz"),
        "ct_from": _origin(plate, "ct", "assumed: next standard value of IEC 61869-2"),
        "earthing": (
            f"{earthing}; +-10 % assumed"
            if "earthing-a" in plate.given
            else f"assumed: {earthing}, +-10 %"
        ),
        "existing": "# " if plate.given else "",
        "lead": scaling.LEADS[plate.secondary_a][1],
    }


def _about(plate: Plate) -> str:
    if not plate.given:
        return (
            f"# A starter study: an invented machine of {rating(plate)}. No plant stands behind"
            " these numbers; replace them all."
        )
    lines = [
        f"# A starter study of a machine of {rating(plate)}. Only the name-plate was given. All"
        " other numbers are assumed.",
        '# Sources and comments say so ("assumed"). Replace them by those of your machine.',
    ]
    if others := not_given(plate):
        lines.append(f"# Also assumed: {'; '.join(others)}.")
    return "\n".join(lines)


def _title(plate: Plate) -> str:
    if not plate.given:
        return f"Starter: an invented {plate.kv:g} kV machine"
    return f"Starter: {plate.mva:g} MVA, {plate.kv:g} kV machine, most data assumed"


def _micro(value: float) -> str:
    return f"{rounded(value * 1e6):g}e-6"


def _origin(plate: Plate, name: str, otherwise: str = "assumed") -> str:
    return "given" if name in plate.given else otherwise


def _numbers(scaled: Scaled) -> dict[str, float]:
    return {
        **_machine(scaled),
        **_cts(scaled),
        **_settings(scaled),
        "earth_arc_ohm": rounded(scaling.EARTH_ARC_V / scaled.plate.earthing_a),
        "phase_arc_ohm": rounded(
            scaling.PHASE_ARC_V * scaling.SUBTRANSIENT_PU / scaled.plate.rated_a
        ),
        "nearest_pu": scaling.NEAREST_PU,
        "busbar_pu": rounded(scaling.BUSBAR_PU * scaled.growth),
        "line_pu": rounded(scaling.LINE_PU * scaled.growth),
    }


def _machine(scaled: Scaled) -> dict[str, float]:
    plate = scaled.plate
    return {
        "frequency_hz": plate.hz,
        "subtransient_pu": scaling.SUBTRANSIENT_PU,
        "negative_pu": scaling.NEGATIVE_PU,
        "zero_pu": scaling.ZERO_PU,
        "armature_low_s": rounded(scaled.armature_s * scaling.ARMATURE_SPREAD[0]),
        "armature_s": rounded(scaled.armature_s),
        "armature_high_s": rounded(scaled.armature_s * scaling.ARMATURE_SPREAD[1]),
        "winding_ohm": rounded(scaling.ARMATURE_PU * scaled.growth * plate.base_ohm),
        "earthing_ohm": rounded(scaled.earthing_ohm, 4),
    }


def _cts(scaled: Scaled) -> dict[str, float]:
    plate = scaled.plate
    return {
        "primary_a": plate.ct_a,
        "secondary_a": plate.secondary_a,
        "knee_v": rounded(scaled.knee_v),
        "knee_low_a": rounded(scaled.knee_a * 2 / 3),
        "knee_high_a": rounded(scaled.knee_a * 4 / 3),
        "ct_ohm": rounded(scaled.ct_ohm),
        "ct_sd_ohm": rounded(scaled.ct_ohm / 20),
        "ct_low_ohm": rounded(scaled.ct_ohm * 0.85),
        "ct_high_ohm": rounded(scaled.ct_ohm * 1.15),
        "lead_ohm": scaling.LEADS[plate.secondary_a][0],
    }


def _settings(scaled: Scaled) -> dict[str, float]:
    rated_a = scaled.plate.secondary_a
    low, high = scaling.PHASE_PICKUPS
    return {
        "phase_ohm": scaled.phase_ohm,
        "balancing_ohm": scaled.phase_ohm + scaled.burden_ohm,
        "step_a": scaled.step_a,
        "burden_ohm": scaled.burden_ohm,
        "phase_low_a": low * rated_a,
        "phase_high_a": high * rated_a,
        "earth_low_a": scaled.earth_step_a,
        "earth_high_a": scaled.earth_step_a * scaling.EARTH_POINTS,
        "earth_ohm": scaled.earth_ohm,
    }
