"""What the relay's chain cannot measure: a line a fault."""

from __future__ import annotations

from collections.abc import Iterator

from montecarlo.quantities.wording import shown
from montecarlo.relays.chain import MOST_SAMPLES
from montecarlo.study.check import Check
from montecarlo.study.description import Study


def _measured(study: Study) -> Iterator[str]:
    """The fundamental alone, of as many samples as the window can hold."""
    relay, chain = study.relay, study.relay.chain
    if chain is None:
        return
    if relay.measure != "fundamental":
        yield (
            f'relay.measure: {shown(relay.measure)}, must be "fundamental" with [relay.chain],'
            " which measures that alone; change it or take the chain out"
        )
    count = chain.samples_per_cycle
    if chain.window == "half" and count % 2:
        even = count + 1 if count < MOST_SAMPLES else count - 1
        yield (
            f"relay.chain.samples_per_cycle: {count}, must be even for a window of half a cycle;"
            f' take {even}, or window = "full"'
        )


def _cutoff(study: Study) -> Iterator[str]:
    """Between the fundamental and half of the sampling frequency."""
    chain, frequency_hz = study.relay.chain, study.machine.frequency_hz
    if chain is None or chain.filter is None:
        return
    low, high = chain.filter.cutoff_hz.support()
    most = chain.samples_per_cycle * frequency_hz / 2
    if not low > frequency_hz:
        yield (
            f"relay.chain.filter.cutoff_hz: {low:g} Hz, must be above machine.frequency_hz ="
            f" {frequency_hz:g} Hz; raise it, else it holds back what is measured"
        )
    if not high <= most:
        yield (
            f"relay.chain.filter.cutoff_hz: {high:g} Hz, must be at most half of the samples a"
            f" second = {most:g} Hz; lower it or raise samples_per_cycle"
        )


def _gates(study: Study) -> Iterator[str]:
    """Gates look at the same samples."""
    chain = study.relay.chain
    if chain is None or (offset_s := chain.offset_filter_s) is None:
        return
    for gate in study.scheme.gates:
        if "direct_current" in (gate.start, gate.hold):
            yield (
                f"relay.chain.offset_filter_s: {offset_s:g} s, but the gate {shown(gate.name)}"
                " looks for a DC component, which this filter takes away; take one of the two out"
            )


CHAIN_CHECKS = (
    Check(_measured, ("relay",)),
    Check(_cutoff, ("machine", "relay")),
    Check(_gates, ("scheme", "relay")),
)
