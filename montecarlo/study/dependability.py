"""Parts that may fail when a fault has to be cleared: rates, tests, and which paths need them.

A path is everything from CT to breaker of one kind of element. A part that several paths need takes
them all with it. Failure on demand: IEC 61508-6, annex B (`formulas/dependability.py`)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Literal

import numpy as np
from pydantic import BeforeValidator

from montecarlo.formulas.dependability import pfd_1oo1, pfd_1oo2
from montecarlo.quantities import Array, Distribution, Plain, Quantity, Section, number, word
from montecarlo.quantities.wording import WORD, is_word, listed, shown
from montecarlo.relays.backup import ELEMENTS

PHASE_ELEMENTS, EARTH_ELEMENT = OF_SCHEME = ("phase_elements", "earth_element")
PATHS = (*OF_SCHEME, *ELEMENTS)
BREAKER_FAILURE = "breaker_failure"  # protection, that clears a fault where the breaker fails
MOST_COMMON = 6  # parts that several paths need: each doubles the states
MOST_PARTS = 40

Path = Literal[
    "phase_elements",
    "earth_element",
    "neutral_current",
    "neutral_voltage",
    "bus_current",
    "bus_voltage",
]


class Part(Section):
    """Something that must work so that paths clear a fault."""

    name: Annotated[str, word("name of the part; letters, digits and _")]
    paths: Annotated[
        tuple[Path, ...],
        BeforeValidator(lambda value: tuple(value) if isinstance(value, list) else value),
        word("the paths that need it"),
    ]
    dangerous_per_year: Annotated[
        Distribution,
        Quantity(
            "1/year",
            "failures after which it does not work on demand; a rate per hour times 8760",
            0.0,
            high=100.0,
        ),
    ]
    detected_share: Annotated[
        float, Plain("-", "part of these failures that supervision reports at once", 0.0, 1.0)
    ] = 0.0
    spurious_per_year: Annotated[
        Distribution,
        Quantity(
            "1/year",
            "trips of the part itself, of all its channels together, without any event",
            0.0,
            high=100.0,
        ),
    ] = number(0.0)
    breaker_failure: Annotated[
        bool,
        word(
            "whether breaker failure protection clears the fault if this part alone has failed: of"
            " the breaker and its coil, not of relays"
        ),
    ] = False
    channels: Annotated[Literal[1, 2], word("2: there are two alike, of which one is enough")] = 1
    common_share: Annotated[
        float,
        Plain(
            "-",
            "of two alike, part of the undetected failures that takes both; half of it of the"
            " detected ones",
            0.0,
            1.0,
        ),
    ] = 0.1
    proof_test_years: (
        Annotated[
            float,
            Plain(
                "year",
                "its own time between tests, in place of dependability.proof_test_years",
                0.0,
                50.0,
                above=True,
            ),
        ]
        | None
    ) = None


class Dependability(Section):
    """How often what clears a fault is tested, how long a repair takes, and what may fail."""

    proof_test_years: Annotated[
        float, Plain("year", "time between tests that find every failure", 0.0, 50.0, above=True)
    ]
    repair_h: Annotated[
        float, Plain("h", "time from a failure that is known until it is repaired", 0.0, 8760.0)
    ] = 24.0
    test_cost: Annotated[
        float,
        Plain(
            "-", "cost of one test of all parts, in the unit of policy.least_annual_cost", 0.0, 1e15
        ),
    ] = 0.0
    breaker_failure_time_s: (
        Annotated[
            Distribution,
            Quantity(
                "s",
                "breaker failure protection: from the trip of the fastest path that sees the fault"
                " until the next breaker is tripped; none unless given",
                0.0,
                high=60.0,
            ),
        ]
        | None
    ) = None
    parts: Annotated[tuple[Part, ...], word("what may fail, each a table [[dependability.parts]]")]

    def failure(
        self, part: Part, samples: Mapping[str, Array], rates: float = 1.0, tests: float = 1.0
    ) -> Array:
        """Average probability that a part fails on demand, at most 1. [-]

        Parameters
        ----------
        part : Part
        samples : mapping of str to (n,) array
            Has "dependability.parts.<name>.dangerous_per_year".
        rates, tests : float (-)
            Factors of all rates, and of all intervals between tests.

        Returns
        -------
        (n,) array (-)
        """
        rate = rates * samples[f"dependability.parts.{part.name}.dangerous_per_year"]
        detected = part.detected_share * rate
        given = rate - detected, detected, tests * self.interval_years(part), self.repair_h
        if part.channels == 1:
            return np.minimum(pfd_1oo1(*given), 1.0)
        common = part.common_share
        pair = pfd_1oo2(*given, common=common, common_detected=common / 2)
        return np.minimum(pair, 1.0)

    def interval_years(self, part: Part) -> float:
        """Between tests of a part. [year]

        Parameters
        ----------
        part : Part

        Returns
        -------
        float
        """
        return part.proof_test_years or self.proof_test_years


def dependability_faults(found: Dependability, paths: Sequence[str]) -> list[str]:
    """What is wrong with the parts.

    Parameters
    ----------
    found : Dependability
    paths : sequence of str
        Those of the study's schemes and back-up.

    Returns
    -------
    list of str
        A line a fault, with key, value, limit and cure.
    """
    place, lines = "dependability.parts", []
    if not found.parts:
        return [f"{place}: [] is empty; give at least one part, or take [dependability] out"]
    if len(found.parts) > MOST_PARTS:
        return [f"{place}: {len(found.parts)} parts, must be at most {MOST_PARTS}; join some"]
    for index, part in enumerate(found.parts):
        key = f"{place}[{index}]"
        if not is_word(part.name):
            lines.append(f"{key}.name: {shown(part.name)}, must be {WORD}")
        lines += [f"{key}.{line}" for line in _part_faults(part, paths)]
    lines += _breaker_failure_faults(found)
    common = [part.name for part in found.parts if len(set(part.paths)) > 1]
    if len(common) > MOST_COMMON:
        lines.append(
            f"{place}: {len(common)} parts are needed by several paths, must be at most"
            f" {MOST_COMMON}; add the rates of parts with the same paths into one"
        )
    return lines


def _breaker_failure_faults(found: Dependability) -> Iterator[str]:
    covered = any(part.breaker_failure for part in found.parts)
    if covered and found.breaker_failure_time_s is None:
        yield (
            "dependability.breaker_failure_time_s: missing, and a part has breaker_failure = true;"
            " give the time, or take breaker_failure out"
        )
    if found.breaker_failure_time_s is not None and not covered:
        yield (
            "dependability.breaker_failure_time_s: given, and no part has breaker_failure = true;"
            " say of which part breaker failure protection takes the place, or take the time out"
        )


def _part_faults(part: Part, paths: Sequence[str]) -> Iterator[str]:
    there = listed(map(shown, paths), "and")
    if not part.paths:
        yield (
            f"paths: [], no path has the part {shown(part.name)}; name at least one of {there}, or"
            " take the part out"
        )
    for path in dict.fromkeys(part.paths):
        if path not in paths:
            yield f"paths: {shown(path)}, the study has no such path; it has {there}"
    if part.dangerous_per_year.varies == "event":
        yield (
            'dangerous_per_year: varies by "event", but a part has one rate for all faults; take'
            ' varies out, or give "installation"'
        )
