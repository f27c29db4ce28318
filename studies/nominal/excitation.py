"""The CTs' excitation curves in words, where a class or measured points give them."""

from __future__ import annotations

import math
from collections.abc import Iterator

from montecarlo.quantities.wording import listed
from montecarlo.relays.places import ENDS
from montecarlo.secondary.completion import design_of, fit_of
from montecarlo.secondary.ct import CurrentTransformer
from montecarlo.secondary.measured import ExcitationFit
from montecarlo.secondary.nameplate import MINUTE
from montecarlo.study.description import Study
from studies.report.blocks import Block, Paragraph, Table


def curves(study: Study) -> dict[str, CurrentTransformer]:
    """CTs with a class or measured points by the name of their place; one entry where both ends,
    or all, have the same curve. Ideal CTs have none.

    Parameters
    ----------
    study : Study

    Returns
    -------
    dict of str to CurrentTransformer
    """
    alike: dict[tuple[object, ...], list[str]] = {}
    for group in study.ct.groups:
        ct = study.ct.at(group)
        plate = vars(ct)["class"]
        if (plate is None and ct.excitation_points is None) or not ct.knee_current_a.centre():
            continue
        drawn = [getattr(ct, key).centre() for key in ("knee_voltage_v", "knee_current_a")]
        look = ct.ankle_ratio.centre(), ct.remanence_bound_percent, ct.saturation_exponent
        alike.setdefault((plate, ct.excitation_points, *drawn, *look), []).append(group)
    return {_words(groups): study.ct.at(groups[0]) for groups in alike.values()}


def excitation(study: Study) -> Iterator[Block]:
    """A paragraph for each place whose CTs are unlike.

    Parameters
    ----------
    study : Study

    Yields
    ------
    Block
    """
    for where, text, ct in _unlike(study):
        yield Paragraph(f"Excitation of the CTs, {where}: {text}")
        yield from _point_by_point(ct)


def _unlike(study: Study) -> Iterator[tuple[str, str, CurrentTransformer]]:
    """CTs with a class or measured points: where they are, what their curve is, one of them."""
    alike: dict[str, list[str]] = {}
    for group in study.ct.groups:
        if text := _of(study.ct.at(group)):
            alike.setdefault(text, []).append(group)
    for text, groups in alike.items():
        yield _words(groups), text, study.ct.at(groups[0])


def _point_by_point(ct: CurrentTransformer) -> Iterator[Block]:
    if (fit := fit_of(vars(ct))) is not None and ct.excitation_points is not None:
        rows = tuple(
            (f"{volts:g}", f"{given:.4g}", f"{fitted:.4g}", f"{100 * (fitted / given - 1):+.1f}")
            for volts, given, fitted in fit.against(ct.excitation_points)
        )
        yield Table(("V", "measured A", "fitted A", "misfit %"), rows, ">>>>")


def _words(groups: list[str]) -> str:
    """Places of CTs in words."""
    names = [group.replace("_", " ") for group in groups]
    return listed(["both ends", *names[2:]] if tuple(groups[:2]) == ENDS else names)


def _of(ct: CurrentTransformer) -> str:
    if (fit := fit_of(vars(ct))) is not None and ct.excitation_points is not None:
        count = len(ct.excitation_points.curve[0])
        text = (
            f"{count} measured points fitted: V_k = {fit.knee_voltage_v:.4g} V, I_k ="
            f" {1000 * fit.knee_current_a:.3g} mA, ankle ratio {fit.ankle_ratio:.3g}, exponent"
            f" {fit.exponent}. The fitted currents differ by {100 * fit.rms:.2g} % RMS and"
            f" {100 * fit.worst:.2g} % at most. Points from half the knee voltage up count three"
            " times."
        )
        return text + (_shifted_misfit(ct, fit) if ct.remanence_model == "shifted_curve" else "")
    if (found := design_of(vars(ct))) is None:
        return ""
    plate, met = found
    shifted = (
        " This is the characteristic with hysteresis. The shifted curve has the same knee."
        if ct.remanence_model == "shifted_curve"
        else ""
    )
    share = "peak" if plate.rules.peak else "RMS"
    limit = (
        f"there it draws {100 * met.limit_share:.3g} % ({share}) of the accuracy-limit current,"
        " and "
        if not plate.rules.exact
        else ""
    )
    return (
        f"class {vars(ct)['class']}: E_al = {met.limiting_v:.4g} V with R_ct ="
        f" {ct.winding_resistance_ohm.centre():g} ohm; the core that only just meets the class has"
        f" V_k = {met.knee_voltage_v:.4g} V and I_k = {1000 * met.knee_current_a:.3g} mA;"
        f" {limit}at rated current and burden it takes {100 * met.ratio_error:.2g} % ratio error"
        f" and {met.displacement_rad / MINUTE:.3g} min.{shifted}"
    )


def _shifted_misfit(ct: CurrentTransformer, fit: ExcitationFit) -> str:
    """How far the shifted curve with the fitted knee, ankle and exponent lies from the measured
    points."""
    assert ct.excitation_points is not None
    off = [
        fit.current_a(v, "shifted_curve") / a - 1
        for v, a in zip(*ct.excitation_points.curve, strict=True)
    ]
    rms = math.sqrt(sum(error**2 for error in off) / len(off))
    return (
        " This is the characteristic with hysteresis. The shifted curve has the same knee, ankle"
        f" and exponent. It differs by {100 * rms:.2g} % RMS and {100 * max(map(abs, off)):.2g} %"
        " at most, all points counted once."
    )
