"""How the relay comes to its numbers, as the study file has it: filters, samples, window."""

from __future__ import annotations

from typing import Annotated, Literal

from montecarlo.quantities import Distribution, Plain, Quantity, Section, word

MOST_SAMPLES = 56  # a cycle: twice the steps of the solution
UNIFORM_PHASE = Distribution(
    "uniform", {"low": 0.0, "high": 1.0}, source="no clock of a relay knows when a fault begins"
)


class LowPass(Section):
    """The filter before the relay's samples are taken."""

    order: Annotated[Literal[2], word("of the Butterworth low-pass")] = 2
    cutoff_hz: Annotated[
        Distribution,
        Quantity(
            "Hz", "where it passes 1 / root two of a sinusoid", 0.0, above=True, usual=(10.0, 1e4)
        ),
    ]


class Chain(Section):
    """From the elements' currents to the samples of them, and to what is measured."""

    filter: Annotated[LowPass | None, word("low-pass before the samples; none unless given")] = None
    samples_per_cycle: Annotated[
        int, Plain("-", "samples a cycle of the rated frequency", 8, MOST_SAMPLES)
    ] = 20
    window: Annotated[
        Literal["full", "half"], word("cycle of which the fundamental is measured: full or half")
    ] = "full"
    offset_filter_s: (
        Annotated[
            float,
            Plain(
                "s",
                "time constant of the digital filter that takes a decaying DC component away; none"
                " unless given",
                0.0,
                10.0,
                above=True,
            ),
        ]
        | None
    ) = None
    sampling_phase: Annotated[
        Distribution,
        Quantity(
            "-",
            "where between two of the relay's samples an event begins: 0 just after one, 1 just"
            " before the next",
            0.0,
            high=1.0,
            varies="event",
        ),
    ] = UNIFORM_PHASE
