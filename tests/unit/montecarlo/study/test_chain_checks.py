"""Keys of the relay's signal chain that cannot be measured by, and what `check` says of one."""

from __future__ import annotations

from typing import Any

import pytest

from studies.check.text import checked
from tests.made.said import words
from tests.made.studies import faults_of, study_with

GATE = {"name": "held", "start": "direct_current", "start_above": 0.2}
MEASURES = {"relay.measure": "fundamental"}


@pytest.mark.parametrize(
    ("chain", "changes", "told"),
    [
        (
            {},
            {"relay.measure": "rms"},
            'relay.measure: "rms", must be "fundamental" with [relay.chain], which measures that'
            " alone; change it or take the chain out",
        ),
        (
            {"samples_per_cycle": 64},
            {},
            "relay.chain.samples_per_cycle: 64, must be at least 8 and at most 56; give such a"
            " value: samples a cycle of the rated frequency",
        ),
        (
            {"samples_per_cycle": 4},
            {},
            "relay.chain.samples_per_cycle: 4, must be at least 8 and at most 56; give such a"
            " value: samples a cycle of the rated frequency",
        ),
        (
            {"samples_per_cycle": 15, "window": "half"},
            {},
            "relay.chain.samples_per_cycle: 15, must be even for a window of half a cycle; take 16,"
            ' or window = "full"',
        ),
        (
            {"filter": {"cutoff_hz": 600}},
            {},
            "relay.chain.filter.cutoff_hz: 600 Hz, must be at most half of the samples a second ="
            " 500 Hz; lower it or raise samples_per_cycle",
        ),
        (
            {"filter": {"cutoff_hz": 50}},
            {},
            "relay.chain.filter.cutoff_hz: 50 Hz, must be above machine.frequency_hz = 50 Hz; raise"
            " it, else it holds back what is measured",
        ),
        (
            {
                "filter": {
                    "cutoff_hz": {"nominal": 450, "tolerance_percent": 20, "shape": "uniform"}
                }
            },
            {},
            "relay.chain.filter.cutoff_hz: 540 Hz, must be at most half of the samples a second ="
            " 500 Hz; lower it or raise samples_per_cycle",
        ),
        (
            {"offset_filter_s": 0},
            {},
            "relay.chain.offset_filter_s: 0 s, must be above 0 and at most 10 s; give such a"
            " value: time constant of the digital filter that takes a decaying DC component away;"
            " none unless given",
        ),
        (
            {"offset_filter_s": 0.05},
            {"scheme.gates": [GATE]},
            'relay.chain.offset_filter_s: 0.05 s, but the gate "held" looks for a DC component,'
            " which this filter takes away; take one of the two out",
        ),
        (
            {"filter": {"order": 4, "cutoff_hz": 400}},
            {},
            "relay.chain.filter.order: 4; expected 2: of the Butterworth low-pass",
        ),
    ],
)
def test_chains_that_cannot_be(chain: dict[str, Any], changes: dict[str, Any], told: str) -> None:
    assert told in faults_of(MEASURES | {"relay.chain": chain} | changes)


def test_check_tells_the_delays_of_the_chain() -> None:
    chain = {"filter": {"cutoff_hz": 400}, "window": "half"}
    changes = MEASURES | {"relay.chain": chain, "candidates.delay_s": [0.1, 0.2]}
    said = words(checked(study_with(changes)).text)
    assert (
        "Delay of the filter 0.57 ms, measuring window 10 ms, shortest delay of the elements 100"
        " ms: 111 ms in all" in said
    )
    assert "SIGNAL CHAIN" not in words(checked(study_with({})).text).upper()
