"""The earthing of the neutral: what makes it meaningless."""

from __future__ import annotations

from collections.abc import Iterator

from montecarlo.plant.earthing import WAYS_TO_EARTH, branch_ohm
from montecarlo.quantities.wording import listed
from montecarlo.study.check import Check
from montecarlo.study.description import Study
from montecarlo.study.nominal import Nominal


def _earthing(study: Study) -> Iterator[str]:
    """One way to give the neutral's resistor, whole; heating needs the alloy."""
    earthing = study.earthing
    given = [way for way in WAYS_TO_EARTH if any(getattr(earthing, key) is not None for key in way)]
    ways = (
        "give exactly one of resistance_ohm, current_limit_a, and transformer_ratio with"
        " secondary_resistance_ohm"
    )
    if len(given) != 1:
        yield f"earthing: {listed(way[0] for way in given) or 'no resistor'} given; {ways}"
        return
    yield from (
        f"earthing.{key}: missing; an earthing transformer needs {listed(WAYS_TO_EARTH[2])}"
        for key in given[0]
        if getattr(earthing, key) is None
    )
    for key in ("transformer_resistance_ohm", "transformer_reactance_ohm"):
        if given[0] != WAYS_TO_EARTH[2] and getattr(earthing, key) is not None:
            yield (
                f"earthing.{key}: there is no earthing transformer; take it out or give"
                f" {listed(WAYS_TO_EARTH[2])}"
            )
    hybrid = ("high_resistance_ohm", "switch_time_s")
    if len(absent := [key for key in hybrid if getattr(earthing, key) is None]) == 1:
        yield (
            f"earthing.{absent[0]}: missing; hybrid earthing needs {listed(hybrid)}; give both or"
            " none"
        )
    coefficient = earthing.temperature_coefficient_per_k
    if earthing.temperature_rise_k.support()[1] > 0 and coefficient.support() == (0, 0):
        yield (
            "earthing.temperature_coefficient_per_k: 0, and temperature_rise_k then changes"
            " nothing; give that of the alloy, as 0.001 for a stainless steel or 0.00012 for an"
            " aluminium-chromium steel"
        )


def _high_resistance(study: Study) -> Iterator[str]:
    """What stays of hybrid earthing is larger than what is opened."""
    if study.earthing.high_resistance_ohm is None or any(_earthing(study)):
        return
    nominal = Nominal(study)
    high = nominal.at("earthing.high_resistance_ohm")
    own = branch_ohm(study.earthing, nominal.samples, study.machine.phase_voltage_v)
    opened = abs(complex(own[0]))
    if not high > opened:
        yield (
            f"earthing.high_resistance_ohm: {high:g} ohm, must be above the {opened:.4g} ohm of the"
            " branch that is opened after the trip; give what stays"
        )


EARTHING_CHECKS = (
    Check(_earthing, ("earthing",)),
    Check(_high_resistance, ("machine", "earthing")),
)
