"""The words of a connection diagram."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from montecarlo.plant.earthing import Earthing
from montecarlo.quantities import Distribution
from montecarlo.quantities.wording import listed
from montecarlo.relays.places import BRANCH_GROUPS, CORE_BALANCE, NEUTRAL_CONDUCTOR, STAR_LINK
from montecarlo.relays.schemes import Axis, Scheme
from montecarlo.secondary.ct import CurrentTransformer
from montecarlo.study.axes import Setting
from montecarlo.study.description import Study
from montecarlo.study.wiring import Blind, Spill

TITLE = "Connections: {}"
CROSSED = "A CT is turned round where its leads cross, or where S2 stands at a relay circuit."
CONVENTION = (
    "P1 of every CT faces away from the winding. S1 stands at the relay circuit, S2 at the return,"
    " unless the leads are drawn crossed."
)
VALUES = "Resistances are the medians of their distributions; lead resistance is one way."
IN_SERIES = "A CT with leads to two relay circuits drives one after the other."
RESTRAINT = "A filled box on a lead restrains the element of its letter."
AROUND_BOTH = (
    "The first group's lead goes back through the core-balance CT, the second's straight on. The CT"
    " carries what one group has more than the other."
)
LINK = (
    "The star link carries what the first group has at its star point: half of what the two groups"
    " differ by, and half of the neutral's current. The earthing stands at the other star point."
)
PLACES_IN_WORDS = {
    NEUTRAL_CONDUCTOR: "neutral CT",
    "second_neutral_end": "neutral end, 2nd core",
    "second_line_end": "line end, 2nd core",
    BRANCH_GROUPS[0]: "1st group, line end",
    BRANCH_GROUPS[1]: "2nd group, line end",
    CORE_BALANCE: "core-balance CTs",
    STAR_LINK: "star link CT",
}


def ohms(value: Distribution) -> str:
    """The median with its unit."""
    return f"{value.centre():.4g} Ω"


def ct_words(ct: CurrentTransformer, group: str) -> tuple[str, ...]:
    """Of the CTs of one place: where, ratio, class or knee, leads, interposing CT."""
    where = PLACES_IN_WORDS.get(group, group.replace("_", " "))
    plate = vars(ct).get("class")
    return (
        where,
        f"{ct.primary_a:g}/{ct.secondary_a:g} A",
        f"class {plate}" if plate else f"knee {ct.knee_voltage_v.centre():.4g} V",
        *([f"lead {ohms(ct.lead_resistance_ohm)}"] if ct.lead_resistance_ohm.centre() else []),
        *([f"matching {ct.ratio_matching:g}"] if ct.ratio_matching != 1 else []),
    )


def earthing_words(earthing: Earthing) -> tuple[str, ...]:
    """What stands between neutral and earth."""
    if (ratio := earthing.transformer_ratio) is not None:
        secondary = earthing.secondary_resistance_ohm
        words = (f"transformer {ratio:g} : 1",)
        return words if secondary is None else (*words, f"secondary {ohms(secondary)}")
    if earthing.current_limit_a is not None:
        return "resistor for", f"{earthing.current_limit_a.centre():.4g} A"
    if earthing.resistance_ohm is not None:
        return "resistor", ohms(earthing.resistance_ohm)
    return ()


# --- legs ---------------------------------------------------------------------


def part_words(study: Study, part: str, setting: Setting | None) -> tuple[str, str] | None:
    """Name and value of a resistor; None for a burden, and where there is no resistance."""
    if part.endswith("_burden"):
        return None
    if part == "stabilising":
        value = _stabilising(study, setting)
        return ("stabilising", value) if value else None
    if part == "phase_resistor":
        return _unless_none("resistor", study.scheme.phase_stabilising_ohm)
    if part == "balancing":
        given = study.scheme.balancing_resistance_ohm
        if given is None:
            return "balancing", "as a phase circuit"
        return _unless_none("balancing", given)
    _, scheme, _, leg, _ = part.split(".")
    own = study.scheme.own(scheme)
    found = [one.resistance_ohm for one in own.legs if one.name == leg] if own is not None else []
    return _unless_none("resistor", found[0]) if found else None


def _unless_none(name: str, value: Distribution) -> tuple[str, str] | None:
    return (name, ohms(value)) if value.support() != (0.0, 0.0) else None


def _stabilising(study: Study, setting: Setting | None) -> str:
    """Of the setting, or the range of the candidates; "" where there is none."""
    if setting is not None:
        grid: Sequence[float] = (setting.stabilising_resistance_ohm,)
    elif (candidates := getattr(study, "candidates", None)) is not None:
        grid = candidates.stabilising_resistance_ohm
    else:
        return "not known"
    low, high = min(grid), max(grid)
    if high == 0:
        return ""
    return f"{low:g} Ω" if low == high else f"{low:g} to {high:g} Ω"


def burden_words(study: Study, axis: Axis) -> Iterator[str]:
    """Of an element; nothing where it has none, as a high-set element beside another."""
    relay = getattr(study, "relay", None)
    if relay is None or axis == "high_set":
        return
    at_setting: Distribution | None = getattr(relay, f"{axis}_burden_va")
    burden: Distribution = getattr(relay, f"{axis}_burden_ohm")
    if at_setting is not None:
        yield f"{at_setting.centre():.4g} VA at setting"
    elif burden.centre():
        yield f"burden {ohms(burden)}"


def resistor_words(study: Study, scheme: Scheme, leg: int) -> Iterator[str]:
    """Of a non-linear resistor across the leg of an element; nothing without one."""
    if study.scheme.nonlinear_resistor is not None and leg in scheme.high_impedance:
        yield "non-linear resistor across all"


def setting_words(axis: Axis, setting: Setting | None) -> Iterator[str]:
    """Pick-up of an element in a setting; nothing without one."""
    pickup = None if setting is None else setting.pickup_of(axis)
    if pickup is not None:
        yield f"pick-up {pickup:g} A"


# --- what stands below --------------------------------------------------------


def spill_words(found: Spill) -> str:
    """What the wiring check says of a leg, with what would cure it."""
    cure = found.cure or "no single change of its CTs cures it"
    return (
        f"Wiring check, relay circuit {found.leg}: a {found.current} current that only passes"
        f" the zone leaves {found.per_unit:.3g} pu. {cure[0].upper()}{cure[1:]}."
    )


def blind_words(found: Blind) -> str:
    """What the wiring check says of a leg, or of a scheme, that carries nothing."""
    if found.element is not None:
        return (
            f"Wiring check, relay circuit {found.leg}: it carries no current of any fault in the"
            " zone."
        )
    return f"Wiring check: no element carries anything of a fault {listed(found.faults, 'or')}."
