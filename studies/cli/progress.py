"""How far a run is, on stderr: the stage, whole counts, and one estimate of the time left for the
whole run; silent when stderr is not a terminal."""

from __future__ import annotations

import shutil
import sys
import time
from collections.abc import Callable, Iterable
from contextlib import suppress

from montecarlo.engine.leading import Leading
from montecarlo.engine.stages import Stage
from studies.cli.leading import leading_line
from studies.report.letters import fitting
from studies.report.numbers import duration

OFTEN_S = 0.2  # between two drawings
LEAST_SHARE, LEAST_S = 0.02, 2.0  # of the work, and of time, before a guess is worth telling
LEAST_BAR = 8  # columns
WIDEST = 100


class Plan:
    """The stages of a run and how much of their work is done. What comes unplanned is added, what
    does not come is left out, so that the numbers hold from then on."""

    def __init__(self, stages: Iterable[Stage]) -> None:
        self._ahead = list(stages)
        self._known = {stage.what: stage.work for stage in self._ahead}
        self._before, self._now = 0.0, Stage("", 0.0)
        self.number = self.added = 0
        self.part = 0.0  # of the stage that runs

    def begin(self, what: str) -> None:
        """A stage begins; the one before it is done."""
        self._before += self._now.work
        names = [stage.what for stage in self._ahead]
        if what in names:
            place = names.index(what)
            self._now = self._ahead[place]
            del self._ahead[: place + 1]
        else:
            self._now = Stage(what, self._known.get(what, 0.0))
            self.added += 1
        self.number += 1
        self.part = 0.0

    @property
    def what(self) -> str:
        """The stage that runs."""
        return self._now.what

    @property
    def total(self) -> int:
        """How many stages, as far as is known."""
        return self.number + len(self._ahead)

    @property
    def share(self) -> float:
        """How much of the work is done. [-]"""
        done = self._before + self.part * self._now.work
        every = self._before + self._now.work + sum(stage.work for stage in self._ahead)
        return done / every if every > 0 else 0.0


def time_left(share: float, elapsed_s: float) -> str:
    """The estimate for all that is left."""
    if share < LEAST_SHARE or elapsed_s < LEAST_S:
        return "time left not known yet"
    left_s = elapsed_s * (1 - share) / share
    return f"about {duration(left_s)} left"


def line(plan: Plan, done: int, total: int, elapsed_s: float, width: int) -> str:
    """What is shown, at most so wide; the bar takes what room there is, or goes."""
    added = f" ({plan.added} added)" if plan.added else ""
    head = f"stage {plan.number} of {plan.total}{added}, {plan.what}"
    tail = f"{done:,} of {total:,}, {time_left(plan.share, elapsed_s)}"
    room = width - len(head) - len(tail) - 4  # of the bar, between two lines and two blanks
    if room >= LEAST_BAR:
        full = int(room * done / total) if total else 0
        return f"{head} |{'#' * full}{' ' * (room - full)}| {tail}"
    both = f"{head}: {tail}"
    return both if len(both) <= width else tail[:width]


class Bar:
    """progress(done, total, what) as one line that is drawn over itself."""

    def __init__(
        self, stages: Iterable[Stage] = (), clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._plan, self._clock = Plan(stages), clock
        self._began = self._drawn_at = clock()
        self._shown = 0  # columns
        self._leading = ""
        self.found: Leading | None = None  # the setting that leads
        self._silent = not sys.stderr.isatty()

    def __call__(self, done: int, total: int, what: str) -> None:
        """Where a run is; 0 of something: what begins, 0 of 0: what may take a while."""
        if not total and not done:
            self.note(what)
            return
        if not done:
            self._plan.begin(what)
        self._plan.part = done / total
        now = self._clock()
        if done and done < total and now - self._drawn_at < OFTEN_S:
            return
        self._drawn_at = now
        # One column less, or some terminals go to the next line
        width = min(shutil.get_terminal_size().columns - 1, WIDEST)
        self._draw(line(self._plan, done, total, now - self._began, width))

    def note(self, text: str) -> None:
        """A line of what is no stage."""
        self.close()
        self._write(f"{text} ...\n")

    def leading(self, found: Leading) -> None:
        """The setting that leads so far, in a line of its own; not the same line twice."""
        self.found = found
        width = shutil.get_terminal_size().columns - 1
        text = fitting(leading_line(found, width), getattr(sys.stderr, "encoding", None))
        if text == self._leading:
            return
        self.close()
        self._leading = text
        self._write(f"{text}\n")

    def close(self) -> None:
        """Take the line away."""
        if self._shown:
            self._write(f"\r{' ' * self._shown}\r")
        self._shown = 0

    def _draw(self, text: str) -> None:
        self._write(f"\r{text}{' ' * (self._shown - len(text))}")
        self._shown = len(text)

    def _write(self, text: str) -> None:
        if not self._silent:
            with suppress(OSError, ValueError):
                sys.stderr.write(text)
                sys.stderr.flush()
