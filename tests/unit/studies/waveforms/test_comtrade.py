"""COMTRADE records, read back by a reader that is not ours."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import comtrade
import numpy as np
import pytest

from studies.waveforms.comtrade import FULL_SCALE, Channel, Record
from studies.waveforms.status import statuses, told
from tests.unit.studies.waveforms.test_in_time import SCHEME, SETTING, STUDY, invented

FORMS = ("ASCII", "BINARY")
RATE_HZ, FREQUENCY_HZ = 4800.0, 50.0
T = np.arange(1000) / RATE_HZ


def record(values: Any, station: str = "an invented machine", rate_hz: float = RATE_HZ) -> Record:
    values = np.asarray(values, float)
    channels = [Channel(f"CT {k}", "L1", 8000, 5) for k in range(len(values))]
    return Record(station, "case 1", FREQUENCY_HZ, rate_hz, 96, channels, values)


def read(made: Record, form: Any, folder: Path) -> comtrade.Comtrade:
    for ending, content in zip(("cfg", "dat"), made.files(form), strict=True):
        (folder / f"r.{ending}").write_bytes(content)
    reader = comtrade.Comtrade(use_double_precision=True)
    reader.load(str(folder / "r.cfg"), str(folder / "r.dat"))
    return reader


WAVES = np.stack(
    [
        70 * np.sin(2 * np.pi * 50 * T) + 30 * np.exp(-T / 0.1),
        1e-3 * np.cos(2 * np.pi * 50 * T),
        np.zeros(T.size),
        np.where(np.arange(T.size) == 500, -4e3, 1.0),
        np.full(T.size, 2.5),
    ]
)


@pytest.mark.parametrize("form", FORMS)
def test_values_come_back_to_one_step_of_the_scale(form: str, tmp_path: Path) -> None:
    back = read(record(WAVES), form, tmp_path)
    assert back.total_samples == T.size
    for wanted, found in zip(WAVES, back.analog, strict=True):
        step = max(np.abs(wanted).max(), 1.0 if not wanted.any() else 0.0) / FULL_SCALE
        assert np.abs(np.array(found) - wanted).max() <= 0.51 * step


@pytest.mark.parametrize("form", FORMS)
def test_times_trigger_rate_and_channels_come_back(form: str, tmp_path: Path) -> None:
    back = read(record(WAVES), form, tmp_path)
    assert (back.rev_year, back.ft) == ("1999", form)
    assert (back.station_name, back.rec_dev_id) == ("an invented machine", "case 1")
    assert np.abs(np.array(back.time) - T).max() < 1e-6
    assert back.trigger_time == pytest.approx(96 / RATE_HZ, abs=1e-6)
    assert (back.frequency, back.cfg.sample_rates) == (FREQUENCY_HZ, [[RATE_HZ, T.size]])
    channel = back.cfg.analog_channels[0]
    assert (
        channel.name,
        channel.ph,
        channel.uu,
        channel.primary,
        channel.secondary,
        channel.pors,
    ) == ("CT 0", "L1", "A", 8000, 5, "S")
    assert (channel.cmin, channel.cmax) == (-FULL_SCALE, FULL_SCALE)


@pytest.mark.parametrize("form", FORMS)
def test_no_value_is_a_missing_one(form: str) -> None:
    data = record([[-1.0, 1.0, -99999.0, 99999.0], [-32768.0, 0.0, 32768.0, 1.0]]).files(form)[1]  # type: ignore[arg-type]
    if form == "ASCII":
        stored = np.array(
            [[int(cell) for cell in line.split(",")[2:]] for line in data.decode().splitlines()]
        )
        assert data.endswith(b"\r\n")
    else:
        stored = np.frombuffer(data, "<i2").reshape(4, -1)[:, 4:]
        assert len(data) == 4 * (8 + 2 * 2)
    assert np.abs(stored).max() == FULL_SCALE


def test_a_name_cannot_add_fields_or_lines(tmp_path: Path) -> None:
    back = read(record(WAVES, "a, b\r\nc; Größe =1+1 " + 100 * "x"), "BINARY", tmp_path)
    assert back.station_name.startswith("a  b  c; Gr  e =1+1 xxx")
    assert len(back.station_name) == 64
    assert back.total_samples == T.size


def test_rates_that_are_no_whole_number(tmp_path: Path) -> None:
    rate = 16.7 * 288
    back = read(record(WAVES, rate_hz=rate), "ASCII", tmp_path)
    assert np.abs(np.array(back.time) - np.arange(T.size) / rate).max() < 1e-6


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("count", [1, 16, 17, 40])
def test_status_channels_come_back_beside_the_currents(
    form: str, count: int, tmp_path: Path
) -> None:
    random = np.random.default_rng(count)
    flags = {f"element {k}": random.uniform(size=T.size) < 0.5 for k in range(count)}
    back = read(replace(record(WAVES), statuses=flags), form, tmp_path)
    assert [channel.name for channel in back.cfg.status_channels] == [*flags]
    assert (back.cfg.analog_count, back.cfg.status_count) == (len(WAVES), count)
    for wanted, found in zip(flags.values(), back.status, strict=True):
        assert (np.array(found) == wanted).all()
    plain = read(record(WAVES), form, tmp_path)
    assert [*map(list, back.analog)] == [*map(list, plain.analog)]


def test_statuses_of_a_case() -> None:
    case = invented()
    on = np.tile((case.times_s > 0.01) & (case.times_s < 0.05), (3, 1))
    case = replace(case, gate_on=on, gated=(2,))
    times = np.arange(-48, 800) / RATE_HZ
    found = statuses(STUDY, SETTING, case, times)
    names = [f"operated {SCHEME.element_name(k)}" for k in range(3)]
    assert [*found] == ["fault or event", "contacts open", *names, "gate earth"]
    starts = {"fault or event": 0.0, "contacts open": 0.1, names[2]: 0.03 + SETTING.delay_s}
    for name, start_s in starts.items():
        assert (found[name] == (times >= start_s - 1e-9)).all()
    assert not found[names[0]].any()
    gate = times[found["gate earth"]]
    assert (gate[0], gate[-1]) == pytest.approx((0.01, 0.05), abs=2 / RATE_HZ)
    assert len(told(found)) == 4
    bare = replace(case, gated=(), cleared_s=np.nan)
    assert [*statuses(STUDY, SETTING, bare, times)] == ["fault or event", *names]
