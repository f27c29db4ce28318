"""What a non-linear resistor across relay circuits cannot be: a line a fault."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from montecarlo.quantities.wording import listed
from montecarlo.relays.nonlinear import rms_current
from montecarlo.relays.schemes import AXES, Axis
from montecarlo.study.candidates import existing_setting, grids_of, lattices_of
from montecarlo.study.check import Check
from montecarlo.study.circuits import Circuit, scheme_of
from montecarlo.study.description import Study
from montecarlo.study.nominal import Nominal
from montecarlo.study.scheme_checks import SCHEME_CHECKS

KEY = "scheme.nonlinear_resistor"


def _stands(study: Study) -> Iterator[str]:
    """Across legs with a stabilising resistance, each with one kind of pick-up and no bias."""
    if study.scheme.nonlinear_resistor is None:
        return
    schemes = [scheme_of(study, kind) for kind in study.scheme.kinds]
    if not any(scheme.high_impedance for scheme in schemes):
        yield (
            f"{KEY}: given, but {listed(study.scheme.kinds)}: no element without bias with a"
            " stabilising resistance; take it out or name a scheme that has one"
        )
    for scheme in schemes:
        for number, leg in enumerate(scheme.legs):
            mine = [one for one in scheme.elements if one.leg == number]
            if "stabilising" not in leg.parts or not mine:
                continue
            kinds = dict.fromkeys(one.axis for one in mine)
            if any(one.bias for one in mine):
                yield (
                    f"{KEY}: given, but an element of {scheme.kind} in the relay circuit {leg.name}"
                    " has bias; take it out, or the stabilising resistance there"
                )
            elif "high_set" in kinds:
                yield (
                    f"candidates.high_set_pickup_a: given, but {KEY} stands across the same relay"
                    f" circuit {leg.name} of {scheme.kind} and takes another share there; take one"
                    " of the two out"
                )
            elif len(kinds) > 1:
                yield (
                    f"{KEY}: given, but the relay circuit {leg.name} of {scheme.kind} has two"
                    " elements with pick-ups of their own; give each a relay circuit"
                )


def _takes(study: Study) -> Iterator[str]:
    """No more than the element at its pick-up. I_v / I_set rises with the stabilising resistance,
    and is largest at an end of the pick-ups, also with a burden in VA (derived: it is convex)."""
    resistor, nominal = study.scheme.nonlinear_resistor, Nominal(study)
    if resistor is None or any(any(check.faults(study)) for check in SCHEME_CHECKS):
        return  # settings that are not whole are told there
    c, beta = resistor.c.centre(), resistor.beta.centre()
    for circuit in _extreme(study):
        legs, ohm = scheme_of(study, circuit.scheme).high_impedance, nominal.branch_ohms(circuit)
        for leg, axis in legs.items():
            pickup_a = getattr(circuit, f"{axis}_pickup_a")
            volts = ohm[leg] * pickup_a
            taken_a = float(rms_current(volts, c, beta))
            if not taken_a <= pickup_a:
                shape = float(rms_current(np.sqrt(0.5), 1.0, beta))
                least = 1.01 * np.sqrt(2) * volts * (shape / pickup_a) ** beta
                yield (
                    f"{KEY}.c: {c:g} V, at which the resistor takes more than the element: at"
                    f" {axis}_pickup_a = {pickup_a:g} A with {circuit.stabilising_resistance_ohm:g}"
                    f" ohm in {circuit.scheme}, V_s = {volts:.4g} V, I_v = {taken_a:.3g} A, must be"
                    f" at most {pickup_a:g} A; take c of at least {least:.4g} V"
                )
                return


def _extreme(study: Study) -> Iterator[Circuit]:
    for grids in grids_of(study):
        scheme = scheme_of(study, grids.scheme)
        if not scheme.high_impedance:
            continue
        ohm = max(grids.values.get("stabilising_resistance_ohm", (0.0,)))
        values = {axis: grids.values[f"{axis}_pickup_a"] for axis in AXES if scheme.of(axis)}
        for end in (min, max):
            yield _circuit(grids.scheme, ohm, {axis: end(each) for axis, each in values.items()})
    if (existing := existing_setting(study)) is not None:
        yield from (lattice.circuit for lattice in lattices_of(study, existing))


def _circuit(kind: str, ohm: float, pickups_a: dict[Axis, float]) -> Circuit:
    return Circuit(kind, ohm, pickups_a.get("phase"), pickups_a.get("earth"))


NONLINEAR_CHECKS = (
    Check(_stands, ("scheme", "ct", "candidates")),
    Check(_takes, tuple(Study.model_fields)),
)
