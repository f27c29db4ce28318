"""The samples of a chunk, or of several side by side: the value of every input, and what is drawn
though no input states it."""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy
from typing import Self

import numpy as np
from numpy.typing import NDArray

from montecarlo.engine.job import Job
from montecarlo.quantities import Array
from montecarlo.relays.places import NEUTRAL
from montecarlo.sampling.design import Chunk
from montecarlo.sampling.points import Points
from montecarlo.sampling.stratum import Stratum
from montecarlo.sampling.transform import draw, event_points, event_samples, installation_major
from montecarlo.study.strata import off_network_share

Indices = NDArray[np.int64]


class ChunkSamples:
    """The samples of a chunk, or of several of one event block side by side; n of them,
    installation-major.

    Parameters
    ----------
    job : Job
    chunk : Chunk, or tuple of them
    points : Points, optional
        Where the uniforms come from instead of the chunks' streams; each sample is then an
        installation of its own.

    Attributes
    ----------
    samples : mapping
        By the key of the input, in its unit: (n,), (n, 6) a CT, (n, 4) an element.
    """

    def __init__(
        self, job: Job, chunk: Chunk | tuple[Chunk, ...], points: Points | None = None
    ) -> None:
        self.chunks = (chunk,) if isinstance(chunk, Chunk) else chunk
        self.chunk = self.chunks[0]  # in whose stratum, round and event block all are
        self.job, self.study = job, job.study
        self._rows: Indices | slice = slice(None)
        self.design, self._own = job.design_of(self.chunk.stratum), points
        self._points, self.samples = self._drawn(points)
        if off_network_share(self.study, self.stratum) > 0:
            self.samples = self._with_breaker_open()
        self.omega = self.study.machine.omega

    def _drawn(self, points: Points | None) -> tuple[Points, Mapping[str, Array]]:
        inputs, ties, seed = self.job.inputs, self.study.ties, self.study.study.seed
        if points is not None:
            return points, draw(inputs, ties, points)
        own = event_points(inputs, seed=seed, design=self.design, chunks=self.chunks)
        return own, event_samples(
            inputs, ties, seed=seed, design=self.design, chunks=self.chunks, points=own
        )

    @property
    def stratum(self) -> Stratum:
        return self.chunk.stratum

    def _with_breaker_open(self) -> Mapping[str, Array]:
        """The samples with a share of them off the network: no load, no infeed, nothing outside the
        zone."""
        alone = {
            "load.current_pu": 0.0,
            "network.reactance_pu": np.inf,
            "network.external_capacitance_f": 0.0,
            "earthing.other_neutrals_ohm": np.inf,
            "backup.bus_voltage.error_percent": np.inf,  # it never operates
        }
        off = self.breaker_open
        return {
            key: np.where(off, alone[key], value) if key in alone else value
            for key, value in self.samples.items()
        }

    @property
    def breaker_open(self) -> NDArray[np.bool_]:
        """Whether each internal fault happens off the network, (n,)."""
        return self.uniform("operating_state") < self.study.states.breaker_open_share

    def __len__(self) -> int:
        return len(self.samples["load.current_pu"])

    @property
    def installations(self) -> int:
        if self._own is not None:
            return self._own.count
        return len(self.chunks) * self.design.installations_per_block

    @property
    def early_rows(self) -> dict[float, Indices]:
        """The samples that belong to each of the job's shares of the batch: the first events of
        every installation."""
        events = np.arange(len(self)).reshape(self.installations, -1)
        firsts = {share: self.design.first_events(self.chunk, share) for share in self.job.shares}
        return {share: events[:, :first].ravel() for share, first in firsts.items() if first}

    @property
    def even_positions(self) -> bool:
        """Whether positions are uniform along the whole winding, so that the line-end law is a
        weight 2x."""
        position = self.study.internal_faults.position
        return position.family == "uniform" and position.support() == (0.0, 1.0)

    @property
    def wants_neutral(self) -> bool:
        """Whether a scheme has a CT in the neutral conductor."""
        return any(NEUTRAL in scheme.places for scheme in self.job.schemes.values())

    @property
    def wants_groups(self) -> bool:
        """Whether a scheme has CTs at the groups of branches."""
        return any(scheme.of_branches for scheme in self.job.schemes.values())

    def uniform(self, key: str) -> Array:
        """A draw that no input states. [-]

        Parameters
        ----------
        key : str
            One of `sampling.transform.DRAWN`.

        Returns
        -------
        (n,) array
        """
        values = self._points.of(f"drawn.{key}", 1)[:, 0]
        if self._own is None:
            each = self.design.installations_per_block
            values = installation_major(values, each, len(self.chunks))
        return values[self._rows]

    def phase_number(self) -> Indices:
        """The faulted phase, or the one that a fault between two leaves out: 0, 1, 2 alike.

        Returns
        -------
        (n,) array of int
        """
        return np.minimum((3 * self.uniform("phase")).astype(np.int64), 2)

    def _only(self, rows: Indices) -> Self:
        """Some of the samples, in this order; they are no batch of installations and events."""
        few = copy(self)
        few.samples = {key: value[rows] for key, value in self.samples.items()}
        few._rows = rows if isinstance(self._rows, slice) else self._rows[rows]
        return few
