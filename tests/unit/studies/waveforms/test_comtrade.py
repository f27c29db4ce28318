"""COMTRADE records, read back by a reader that is not ours."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import comtrade
import numpy as np
import pytest

from studies.waveforms.comtrade import FULL_SCALE, Channel, Record

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
