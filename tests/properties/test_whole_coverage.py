"""The script that measures coverage on the whole path, in small: that it runs, and that its figures
hang together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from montecarlo.engine.rare import final_samples
from montecarlo.estimates.weighted import Source
from tests.coverage import whole
from tests.coverage.real import job_of

SMALL = {"samples": 4096, "installations": 16, "clearing_s": 0.15}


@pytest.mark.slow
def test_a_repeat_hangs_together() -> None:
    job = job_of(whole.study_of(seed=7, **SMALL))
    one, two = whole.repeats(job, 2)
    assert one.samples.tolist() == two.samples.tolist()  # decided before either
    assert (one.samples >= final_samples(job.study)).all()
    assert one.samples.max() > final_samples(job.study)  # rarer than 4,096 samples show well
    shares = np.array([0.2, 0.8])  # of the two events, by their rates
    for each in (one, two):
        assert (
            (each.low <= each.p).all()
            & (each.p <= each.high).all()
            & (each.bound <= each.high).all()
        )
        assert each.p[-1] == pytest.approx(each.p[:-1] @ shares)
        assert set(each.sources) <= set(Source)
    assert one.p[-1] != two.p[-1]


def test_the_table_counts_what_held(capsys: pytest.CaptureFixture[str]) -> None:
    flat = whole.Repeat(
        np.full(3, 1e-3),
        np.full(3, 5e-4),
        np.full(3, 2e-3),
        np.full(3, 1.5e-3),
        np.array([4096, 8192]),
        (Source.WEIGHTED, Source.BOTH),
    )
    off = replace(flat, p=flat.p / 4, low=flat.low / 4, high=flat.high / 4, bound=flat.bound / 4)
    whole.print_table(
        ["external.a", "external.b", "both, by rate"], np.full(3, 1e-3), [flat, flat, flat, off]
    )
    last = [
        cell.strip()
        for cell in capsys.readouterr().out.strip().splitlines()[-1].strip("|").split("|")
    ]
    assert last[:6] == [
        "both, by rate",
        "1.00e-03",
        "0.812",
        "4096, 6144, 8192",
        "50.0, 50.0",
        "75.0",
    ]
    assert last[6:9] == ["0.0", "25.0", "75.0"]
