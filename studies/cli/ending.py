"""How a run is told to end."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from typing import NoReturn


class Ended(KeyboardInterrupt):
    """By a signal other than Ctrl-C."""

    def __init__(self, told: object, code: int) -> None:
        super().__init__(told)
        self.code = code


@contextmanager
def tidy_when_ended() -> Iterator[None]:
    """SIGTERM, and SIGHUP when a terminal closes, end the run like Ctrl-C: its processes too, and
    what is half written. What is ignored (nohup) stays so."""
    ended: list[int] = []

    def end(number: int, frame: object) -> NoReturn:
        ended.append(number)
        raise KeyboardInterrupt

    numbers = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {
        number: signal.signal(number, end)
        for number in numbers
        if signal.getsignal(number) != signal.SIG_IGN
    }
    try:
        yield
    except KeyboardInterrupt as stopped:
        if not ended:
            raise
        raise Ended(stopped, 128 + ended[0]) from None
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
