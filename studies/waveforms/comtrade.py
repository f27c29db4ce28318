"""Waveforms as COMTRADE records, revision 1999 (IEEE C37.111-1999, IEC 60255-24:2001; fields from
memory).

A record is two files: the configuration, a text, and the data, as text (ASCII) or as 16-bit numbers
(BINARY). Analog channels stand before status channels, which are 0 or 1. A stored number n stands
for a·n; -32768 (BINARY) and 99999 (ASCII) mean a missing value, unused here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal

import numpy as np

from montecarlo.quantities import Array, Flags, Index

FULL_SCALE = 32767
NAME_MAX = 64  # letters of a name
FIRST = datetime(2000, 1, 1)  # of every record: nothing was measured on any day
WORD = 16  # status channels in a word of the data, BINARY
LARGEST = 2**32 - 1  # sample number and time stamp, BINARY


@dataclass(frozen=True)
class Channel:
    """One current in secondary amperes; `primary` to `secondary` is the rated ratio of the CT it
    comes from."""

    name: str
    phase: str  # at most two letters, or none
    primary_a: float
    secondary_a: float


@dataclass(frozen=True, eq=False)
class Record:
    """Channels sampled at equal steps: values (channels, samples) [A]; trigger: the sample at which
    the event begins; statuses: what is on, (samples,) by the channel's name."""

    station: str
    device: str
    frequency_hz: float
    rate_hz: float
    trigger: int
    channels: Sequence[Channel]
    values: Array
    statuses: Mapping[str, Flags] = field(default_factory=dict)

    def files(self, form: Literal["ASCII", "BINARY"]) -> tuple[bytes, bytes]:
        """Configuration and data."""
        scale = np.abs(self.values).max(axis=1) / FULL_SCALE
        scale = np.where(scale > 0, scale, 1 / FULL_SCALE)
        stored = np.rint(self.values / scale[:, None]).astype(np.int64).T
        stamps = np.rint(np.arange(len(stored)) * 1e6 / self.rate_hz).astype(
            np.int64
        )  # microseconds
        assert stamps[-1] <= LARGEST
        numbers = np.arange(1, len(stored) + 1)
        flags = np.zeros(
            (len(stored), len(self.statuses)),
            np.int64,
        )
        for at, one in enumerate(self.statuses.values()):
            flags[:, at] = one
        if form == "ASCII":
            rows = np.column_stack([numbers, stamps, stored, flags])
            data = "".join(",".join(map(str, row)) + "\r\n" for row in rows.tolist()).encode(
                "ascii"
            )
        else:
            words = _words(flags)
            row = np.dtype(
                [
                    ("number", "<u4"),
                    ("stamp", "<u4"),
                    ("values", "<i2", (stored.shape[1],)),
                    ("words", "<u2", (words.shape[1],)),
                ]
            )
            packed = np.zeros(len(stored), row)
            packed["number"], packed["stamp"], packed["values"] = numbers, stamps, stored
            packed["words"] = words
            data = packed.tobytes()
        return self._configuration(form, scale).encode("ascii"), data

    def _configuration(self, form: str, scale: Array) -> str:
        count, flags = len(self.channels), len(self.statuses)
        event = FIRST + timedelta(seconds=self.trigger / self.rate_hz)
        lines = [f"{_plain(self.station)},{_plain(self.device)},1999"]
        lines.append(f"{count + flags},{count}A,{flags}D")
        lines += [
            f"{k},{_plain(channel.name)},{_plain(channel.phase)[:2]},,A,"
            f"{a:.9e},0,0,{-FULL_SCALE},{FULL_SCALE},"
            f"{channel.primary_a:g},{channel.secondary_a:g},S"
            for k, (channel, a) in enumerate(zip(self.channels, scale.tolist(), strict=True), 1)
        ]
        lines += [f"{k},{_plain(name)},,,0" for k, name in enumerate(self.statuses, 1)]
        lines += [
            f"{self.frequency_hz:g}",
            "1",
            f"{self.rate_hz:.10g},{self.values.shape[1]}",
            *(f"{at:%d/%m/%Y,%H:%M:%S.%f}" for at in (FIRST, event)),
            form,
            "1",
        ]
        return "".join(f"{line}\r\n" for line in lines)


def _words(flags: Index) -> Index:
    """Status channels (samples, channels), sixteen in a word, the first in its lowest bit."""
    count = -(-flags.shape[1] // WORD)
    padded = np.zeros((len(flags), count * WORD), np.int64)
    padded[:, : flags.shape[1]] = flags
    bits = padded.reshape(len(flags), count, WORD)
    return np.asarray((bits << np.arange(WORD)).sum(axis=2))


def _plain(text: str) -> str:
    """A name that cannot break a line into other fields, nor be a formula where a spreadsheet opens
    the text: printable ASCII without commas, at most 64 letters."""
    letters = "".join(c if c.isascii() and c.isprintable() and c != "," else " " for c in text)
    return letters.lstrip(" =+-@").rstrip()[:NAME_MAX]
