"""How single cases are written as records for relay tests."""

from __future__ import annotations

from typing import Annotated

from montecarlo.quantities import Plain, Section


class Recording(Section):
    """The table [waveforms]; it changes no probability and no choice."""

    sampling_rate_hz: Annotated[
        float, Plain("Hz", "sampling rate of the COMTRADE records", 2000.0, 20_000.0)
    ] = 4800.0
    before_s: Annotated[
        float,
        Plain("s", "how long a record shows the load before the event begins", 0.2, 0.5),
    ] = 0.3
