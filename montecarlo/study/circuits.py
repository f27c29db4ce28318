"""From a study to the secondary circuits that its candidates stand on: the scheme, its leads, its
resistances."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from montecarlo.quantities import Array
from montecarlo.relays.gates import NO_GATE
from montecarlo.relays.nonlinear import rms_current
from montecarlo.relays.places import GROUPS, NEUTRAL
from montecarlo.relays.schemes import Axis, Scheme, build, leg_resistances
from montecarlo.secondary.chain import Chain
from montecarlo.secondary.circuit import CtBank, build_bank
from montecarlo.secondary.gates import BLOCK, Gate, Levels
from montecarlo.secondary.measurement import Measurement
from montecarlo.secondary.restraint import GREATER_OF, NO_BIAS, SUM, Bias, Form
from montecarlo.study.description import Study

LEAST_PU = 0.1  # of the rated current: an end with less has no DC component worth a name
ROUND_OFF = 1e-9  # of a step


@dataclass(frozen=True)
class Circuit:
    """What changes currents: the scheme, the stabilising resistance, and pick-ups where a burden
    or a non-linear resistor depends on them."""

    scheme: str
    stabilising_resistance_ohm: float
    phase_pickup_a: float | None = None  # None: its legs do not depend on it
    earth_pickup_a: float | None = None

    def __str__(self) -> str:
        text = f"{self.scheme} with {self.stabilising_resistance_ohm:g} ohm"
        pickups = (self.phase_pickup_a, self.earth_pickup_a)
        at = [f"{pickup:g} A" for pickup in pickups if pickup is not None]
        return f"{text} at {' and '.join(at)}" if at else text


def scheme_of(study: Study, kind: str) -> Scheme:
    """A scheme of the study: legs, return cores of four-wire leads, ratio matching.

    Parameters
    ----------
    study : Study
    kind : str
        One of `scheme.kinds`.

    Returns
    -------
    Scheme
    """
    cts = {group: study.ct.at(group) for group in study.ct.groups}
    factors = {group: data.ratio_matching for group, data in cts.items()}
    matched = build(study.scheme, kind).matched(factors)
    candidates = getattr(study, "candidates", None)  # a study with faults may have none yet
    if candidates is not None and candidates.has_high_set:
        matched = matched.with_high_set()
    if study.scheme.leads == "six_wire":
        return matched
    return matched.with_return_cores(
        [group for group, data in cts.items() if data.return_core_ohm.support() != (0.0, 0.0)]
    )


def bank_of(study: Study, samples: Mapping[str, Array]) -> CtBank:
    """All CTs of the study's places on its leads.

    Parameters
    ----------
    study : Study
    samples : mapping of str to ndarray
        Of its inputs, by key.

    Returns
    -------
    CtBank
    """
    return build_bank(
        study.ct, samples, study.machine.omega, loops=study.scheme.leads == "six_wire"
    )


def depends_on(study: Study, scheme: Scheme, axis: Axis) -> bool:
    """Whether legs depend on the pick-up of some elements: a burden in VA at setting, or a
    non-linear resistor.

    Parameters
    ----------
    study : Study
    scheme : Scheme
    axis : "phase" or "earth"

    Returns
    -------
    bool
    """
    if getattr(study.relay, f"{axis}_burden_va") is not None:
        return True
    resisted = study.scheme.nonlinear_resistor is not None
    return resisted and axis in scheme.high_impedance.values()


def leg_ohm(
    study: Study, circuit: Circuit, samples: Mapping[str, Array], scheme: Scheme | None = None
) -> Array:
    """Resistance of every leg, at the pick-up where a non-linear resistor stands across it. [ohm]

    Parameters
    ----------
    study : Study
    circuit : Circuit
    samples : mapping of str to ndarray, (n, ...)
        Of the study's inputs, by key.
    scheme : Scheme, optional
        As `scheme_of` gives it for the circuit, if it is there already.

    Returns
    -------
    ndarray, (n, legs)
    """
    scheme = scheme or scheme_of(study, circuit.scheme)
    share = element_share(study, circuit, samples, scheme)
    return branch_ohm(study, circuit, samples, scheme) * share


def element_share(
    study: Study, circuit: Circuit, samples: Mapping[str, Array], scheme: Scheme
) -> Array:
    """What of each leg's current its element gets, I_set / (I_set + I_v), at the pick-up. [-]

    A describing function (derived): the branch of resistance R has the RMS voltage R I_set at the
    pick-up, the non-linear resistor across it takes I_v, and both look like R times this share.

    Parameters
    ----------
    study : Study
    circuit : Circuit
        With the pick-ups on which its legs depend.
    samples : mapping of str to ndarray, (n, ...)
        Of the study's inputs, by key.
    scheme : Scheme
        As `scheme_of` gives it for the circuit.

    Returns
    -------
    ndarray, (n, legs), or (1, legs) of ones without such a resistor
    """
    if study.scheme.nonlinear_resistor is None:
        return np.ones((1, len(scheme.legs)))
    ohm = branch_ohm(study, circuit, samples, scheme)
    share = np.ones(ohm.shape)
    c, beta = (samples[f"scheme.nonlinear_resistor.{key}"] for key in ("c", "beta"))
    for leg, axis in scheme.high_impedance.items():
        pickup_a = getattr(circuit, f"{axis}_pickup_a")
        share[:, leg] = pickup_a / (pickup_a + rms_current(ohm[:, leg] * pickup_a, c, beta))
    return share


def branch_ohm(
    study: Study, circuit: Circuit, samples: Mapping[str, Array], scheme: Scheme
) -> Array:
    """Resistance of every leg without a non-linear resistor. [ohm]

    Parameters
    ----------
    study : Study
    circuit : Circuit
    samples : mapping of str to ndarray, (n, ...)
        Of the study's inputs, by key.
    scheme : Scheme
        As `scheme_of` gives it for the circuit.

    Returns
    -------
    ndarray, (n, legs)
    """

    def burden(axis: str, pickup_a: float | None) -> Array:
        at_setting = samples.get(f"relay.{axis}_burden_va")
        if at_setting is None or pickup_a is None:
            return samples[f"relay.{axis}_burden_ohm"]
        return at_setting / pickup_a**2

    phase = burden("phase", circuit.phase_pickup_a)
    resistor = samples["scheme.phase_stabilising_ohm"]
    ohm = {
        "phase_burden": phase,
        "phase_resistor": resistor,
        "earth_burden": burden("earth", circuit.earth_pickup_a),
        "balancing": samples.get("scheme.balancing_resistance_ohm", phase + resistor),
        "stabilising": np.full(phase.shape, circuit.stabilising_resistance_ohm),
    }
    for group in GROUPS:
        own = samples.get(f"ct.{group}.return_core_ohm", samples["ct.return_core_ohm"])
        ohm[f"return.{group}"] = own[..., 3 if group == "line_end" else 0]
    ohm |= {
        key.removeprefix("scheme."): value
        for key, value in samples.items()
        if key.startswith("scheme.custom.")
    }
    return leg_resistances(scheme, ohm)


def measurement(
    study: Study,
    scheme: Scheme,
    forms: tuple[Form, ...] = (NO_BIAS,),
    delays_s: tuple[float, ...] = (0.0,),
    gates: tuple[Gate, ...] = (),
    chain: Chain | None = None,
) -> Measurement:
    """What the relay's elements make of a scheme's currents.

    Parameters
    ----------
    study : Study
    scheme : Scheme
    forms : tuple of Form
        Each judged for itself.
    delays_s : tuple of float
        (s).
    gates : tuple of Gate, optional
        Of the study, on the samples that are solved in time.
    chain : Chain, optional
        Of the relay, on the samples.

    Returns
    -------
    Measurement
    """
    relay = study.relay
    return Measurement(
        legs=scheme.watch,
        bias=tuple(element.bias for element in scheme.elements),
        matching=scheme.matching,
        senses=tuple(
            tuple(np.sign(scheme.table[element.leg, list(element.bias)]).tolist())
            for element in scheme.elements
        ),
        bias_current=tuple(
            study.scheme.bias_current_of(element.axis) for element in scheme.elements
        ),
        forms=forms,
        quantity=relay.measure,
        delays_s=delays_s,
        drop_off=relay.drop_off_ratio,
        over_travel_s=relay.over_travel_s,
        gates=gates,
        sides=tuple(one_side(scheme, number) for number in range(len(scheme.elements))),
        phases=len(scheme.of("phase")),
        chain=chain,
    )


def chain_of(study: Study, samples: Mapping[str, Array]) -> Chain | None:
    """The relay's chain on some samples.

    Parameters
    ----------
    study : Study
    samples : mapping of str to ndarray, (n,)
        Of its inputs, by key.

    Returns
    -------
    Chain or None
    """
    chain, frequency_hz = study.relay.chain, study.machine.frequency_hz
    if chain is None:
        return None
    rate, offset_s = chain.samples_per_cycle, chain.offset_filter_s
    return Chain(
        rate,
        rate if chain.window == "full" else rate // 2,
        None if offset_s is None else offset_s * frequency_hz * rate,
        None if chain.filter is None else samples["relay.chain.filter.cutoff_hz"] / frequency_hz,
        samples["relay.chain.sampling_phase"],
    )


def one_side(scheme: Scheme, number: int) -> tuple[float, ...]:
    """What multiplies each CT's current in what passes one side of an element's leg: of an earth
    element the side of the neutral CT.

    Parameters
    ----------
    scheme : Scheme
    number : int
        Of the element.

    Returns
    -------
    tuple of float
        Empty where its leg does not compare two sides, and for high-set elements.
    """
    element = scheme.elements[number]
    row = scheme.table[element.leg]
    if element.axis == "high_set" or not row.max() > 0 > row.min():
        return ()
    if element.axis == "phase":
        return tuple(np.maximum(row, 0.0).tolist())
    neutral = row * (np.array(scheme.places) == NEUTRAL)
    return tuple(np.abs(neutral).tolist()) if neutral.any() else ()


def gates_of(study: Study, samples: Mapping[str, Array], step_s: float) -> tuple[Gate, ...]:
    """The gates of a study on some samples.

    Parameters
    ----------
    study : Study
    samples : mapping of str to ndarray, (n,)
        Of its inputs, by key.
    step_s : float
        Between the values that they look at (s).

    Returns
    -------
    tuple of Gate
    """
    rated_a = study.machine.rated_current_a / study.ct.stating.leg_ratio
    some = np.zeros(len(next(iter(samples.values()))))

    def steps(seconds: Array | float) -> Array:
        return np.asarray(some + np.ceil(np.asarray(seconds) / step_s - ROUND_OFF))

    found = []
    for one in study.scheme.gates:
        own = f"scheme.gates.{one.name}."
        start_pu = samples.get(f"{own}start_pu", some + np.inf)
        angle = one.start == "angle"
        above = np.cos(np.radians(one.within_degrees or 0.0)) if angle else one.start_above or 0.0
        levels = Levels(
            start_a=np.sqrt(2) * rated_a * start_pu,
            ratio=samples[f"{own}ratio"],
            floor_a=some + np.sqrt(2) * rated_a * one.floor_pu,
            wait_steps=steps(samples.get(f"{own}wait_s", 0.0)),
            above=some + above,
            least_a=some + LEAST_PU * rated_a,
            hold_above=some + (one.hold_above or 0.0),
            stays_steps=np.maximum(steps(one.stays_s), 1.0),
            longest_steps=some + np.inf if one.longest_s is None else steps(one.longest_s),
        )
        slope = BLOCK if one.slope is None else one.slope
        found.append(Gate(one.start, one.hold, one.on == "change", slope, one.together, levels))
    return tuple(found)


def bias_form(
    study: Study, bias: Bias | None, stage: Axis = "phase", gate: str | None = None
) -> Form:
    """The form in which a candidate's elements judge, with the gate that holds them back.

    Parameters
    ----------
    study : Study
    bias : Bias or None
        Of these elements.
    stage : "phase", "earth" or "high_set", optional
        Which elements.
    gate : str, optional
        Theirs, if they have one.

    Returns
    -------
    Form
    """
    names = [NO_GATE, *(one.name for one in study.scheme.gates)]
    number = 0 if gate is None else names.index(gate)
    if bias is None:
        return (*NO_BIAS[:4], number)
    which = SUM if study.scheme.bias_form_of(stage) == "sum" else GREATER_OF
    return bias.form(which, number)
