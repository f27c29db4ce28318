"""What makes a gate meaningless: a line a fault."""

from __future__ import annotations

from collections.abc import Iterator

from montecarlo.quantities.wording import WORD, is_word, listed, shown
from montecarlo.relays.gates import NO_GATE, OF_EARTH, Gate, gate_faults
from montecarlo.relays.schemes import Axis
from montecarlo.study.check import Caution, Check
from montecarlo.study.circuits import one_side, scheme_of
from montecarlo.study.description import Study

STAGES: dict[str, Axis] = {"gate": "phase", "earth_gate": "earth"}  # whose gates, by key
ABOVE_LOAD = 1.2  # the least start_pu of a gate that load must not start, over the largest load


def check_gates(study: Study) -> Iterator[str]:
    """Every gate has a name of its own and the keys that it needs.

    Parameters
    ----------
    study : Study

    Yields
    ------
    str
        A line a fault.
    """
    names = [gate.name for gate in study.scheme.gates]
    for k, gate in enumerate(study.scheme.gates):
        if gate.name in (NO_GATE, *names[:k]) or not is_word(gate.name):
            yield (
                f"scheme.gates[{k}].name: {shown(gate.name)}, must be {WORD} that no other gate"
                f" has, and not {NO_GATE}"
            )
        yield from (f"scheme.gates.{gate.name}.{fault}" for fault in gate_faults(gate))


def _named(study: Study) -> Iterator[str]:
    """Candidates name gates that there are, for elements that can have them."""
    for key, stage in STAGES.items():
        yield from _known(study, key, stage)
    for gate in study.scheme.gates:
        schemes = [scheme_of(study, kind) for kind in study.scheme.kinds]
        lacking = [
            one.kind
            for one in schemes
            if any(one_side(one, k) and not one.elements[k].bias for k in one.of("phase"))
        ]
        if gate.slope is not None and gate.name in study.candidates.gates_in_use and lacking:
            yield (
                f"scheme.gates.{gate.name}.slope: {gate.slope:g}, but {lacking[0]} has a phase"
                " element without bias; take it out, so that the gate blocks"
            )


def _known(study: Study, key: str, stage: Axis) -> Iterator[str]:
    """The gates of the phase or of the earth elements."""
    given: tuple[str, ...] = getattr(study.candidates, key)
    existing: str | None = getattr(study.candidates.existing, key, None)
    fitting = [
        one.name for one in study.scheme.gates if (one.start == OF_EARTH) == (stage != "phase")
    ]
    names = [one.name for one in study.scheme.gates]
    wanted = [(f"candidates.{key}", name) for name in given]
    if existing is not None:
        wanted.append((f"candidates.existing.{key}", existing))
        if not given:
            yield (
                f"candidates.existing.{key}: {shown(existing)}, but no candidate has such a gate;"
                f' name them in candidates.{key}, "{NO_GATE}" among them'
            )
    for path, name in wanted:
        cure = f"take {listed((NO_GATE, *fitting), 'or')}"
        if name not in (NO_GATE, *names):
            yield f"{path}: {shown(name)} is no gate of scheme.gates; {cure}"
        elif name not in (NO_GATE, *fitting):
            kind = "an earth element" if stage == "phase" else "phase elements"
            yield f"{path}: {shown(name)} is a gate of {kind}; {cure}"
    if len(set(given)) < len(given):
        yield f"candidates.{key}: {shown(list(given))} names a gate twice; leave each once"
    schemes = [scheme_of(study, kind) for kind in study.scheme.kinds]
    if given and not any(one_side(one, k) for one in schemes for k in one.of(stage)):
        lacks = (
            "phase element of {} compares two sides of the winding"
            if stage == "phase"
            else "earth element of {} compares the neutral CT with others"
        )
        yield (
            f"candidates.{key}: {shown(list(given))}, but no"
            f" {lacks.format(listed(study.scheme.kinds))}; take it out"
        )


def _load(study: Study) -> Iterator[str]:
    """A gate that looks at currents themselves must not be started, or held, by load."""
    largest = study.load.current_pu.support()[1]
    for gate in study.scheme.gates:
        if gate.start_pu is None or not _looks_at_load(gate):
            continue
        least = gate.start_pu.support()[0]
        if not least >= ABOVE_LOAD * largest:
            yield (
                f"scheme.gates.{gate.name}.start_pu: {least:g} pu, must be at least {ABOVE_LOAD:g}"
                f" times the largest load.current_pu = {ABOVE_LOAD * largest:.3g} pu; else load"
                " starts or holds it"
            )


def _looks_at_load(gate: Gate) -> bool:
    itself = gate.start == "repeated" or (gate.start == "time_difference" and gate.on == "current")
    return itself or gate.hold == "current"


GATE_CHECKS = (
    Check(check_gates, ("scheme",)),
    Check(_named, ("scheme", "ct", "candidates")),
    Check(_load, ("scheme", "load")),
)


def unused_gates(study: Study) -> Iterator[Caution]:
    """Gates that no candidate names.

    Parameters
    ----------
    study : Study

    Yields
    ------
    Caution
    """
    for gate in study.scheme.gates:
        if gate.name not in study.candidates.gates_in_use:
            yield Caution(
                f"scheme.gates.{gate.name}",
                "No candidate has this gate. It changes no result.",
            )


def short_gates(study: Study) -> Iterator[Caution]:
    """Gates that end while what is measured still holds currents of the time before.

    Parameters
    ----------
    study : Study

    Yields
    ------
    Caution
    """
    window_s = 1 / study.machine.frequency_hz
    for gate in study.scheme.gates:
        if gate.start == OF_EARTH:  # its end is a release
            continue
        if gate.stays_s < window_s and gate.name in study.candidates.gates_in_use:
            yield Caution(
                f"scheme.gates.{gate.name}.stays_s",
                f"{gate.stays_s:g} s is less than one cycle, {window_s:.3g} s. When the gate ends,"
                " what the elements measure still holds currents of the time when it was on.",
            )
