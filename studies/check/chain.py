"""What the relay's signal chain makes of time, for `check`."""

from __future__ import annotations

from montecarlo.study.circuits import chain_of
from montecarlo.study.description import Study
from montecarlo.study.nominal import Nominal
from studies.report.blocks import Block, paragraphs


def chain_delays(study: Study) -> list[Block]:
    """A sentence; nothing without a chain.

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of Block
    """
    chain = chain_of(study, Nominal(study).samples)
    if chain is None:
        return []
    cycle_ms = 1e3 / study.machine.frequency_hz
    filter_ms = float(chain.lag()[0]) * cycle_ms
    window_ms = chain.length / chain.per_cycle * cycle_ms
    delay_ms = 1e3 * min(study.candidates.delay_s)
    parts_ms = filter_ms, window_ms, delay_ms
    return paragraphs(
        f"Delay of the filter {filter_ms:.2g} ms, measuring window {window_ms:.3g} ms, shortest"
        f" delay of the elements {delay_ms:.3g} ms: {sum(parts_ms):.3g} ms in all until a current"
        " just above the pick-up trips."
    )
