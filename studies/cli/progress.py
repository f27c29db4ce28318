"""Samples done, their rate and the time left, on stderr; silent when stderr is not a terminal."""

from __future__ import annotations

import shutil
import sys
from typing import Any


class Bar:
    """progress(done, total, what) as a bar; a new total or a count that falls back begins a new
    one."""

    def __init__(self) -> None:
        self._bar: Any = None

    def __call__(self, done: int, total: int, what: str) -> None:
        """Where a run is; 0 of something: what has begun."""
        if done == 0:
            self.note(what)
            return
        if self._bar is None or total != self._bar.total or done < self._bar.n:
            self.close()
            self._bar = _bar(total)
        self._bar.set_description_str(what, refresh=False)
        self._bar.update(done - self._bar.n)

    def note(self, text: str) -> None:
        """A line of what takes time besides sampling."""
        self.close()
        if sys.stderr.isatty():
            print(f"{text} ...", file=sys.stderr)

    def close(self) -> None:
        """Take the bar away."""
        if self._bar is not None:
            self._bar.close()
        self._bar = None


def _bar(total: int) -> Any:
    from tqdm import tqdm

    tqdm.monitor_interval = 0  # a thread, which may not be had
    columns = shutil.get_terminal_size().columns  # 80 where the terminal does not say
    shape = (
        "{desc}: {percentage:3.0f}% |{bar}| {n_fmt} of {total_fmt}, {rate_fmt}, {remaining} left"
    )
    return tqdm(
        total=total,
        file=sys.stderr,
        disable=None,
        ncols=min(columns, 100),
        leave=False,
        smoothing=0.1,
        unit=" samples",
        unit_scale=True,
        bar_format=shape,
    )
