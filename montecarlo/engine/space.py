"""The standard-normal space in which rare false trips are sought: every uncertain input of an event
and of the installation, and the draws that no input states, one sample a row, so that each row is
an installation of its own.

The angle and the phase of the event are folded onto one case:

    a turn by one phase      angle + 1/3 turn, the CTs' columns moved on by one phase
    the other half-wave      angle + 1/2 turn, remanence the other way round

Columns of one input are alike and independent and a normal score is symmetric, so each of the six
maps leaves the law of the samples as it was, whether or not installation and scheme are symmetric
(derived). Where they are, the rare samples of six regions come together in one, and a density found
there serves them all. Symmetries that no draw decides (the two ends; the two phases of a fault
between phases) are `images` of a sample."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from montecarlo.estimates.rare import Image
from montecarlo.quantities import Array
from montecarlo.sampling.inputs import Input, list_inputs
from montecarlo.sampling.points import Points
from montecarlo.sampling.stratum import EVOLVING, INTER_TURN, Side, Stratum
from montecarlo.sampling.transform import BESIDE
from montecarlo.study.description import Study
from montecarlo.study.strata import event_of, schemes_of_branches

TURN, HALF_WAVE = "fold.turn", "fold.half_wave"
ANGLE, PHASE = "drawn.point_on_wave", "drawn.phase"
REMANENCE = "remanence_percent"
STANDING = (  # whatever the fault
    "winding.group_unbalance_percent",
    "winding.circulating",
    "winding.link_third_harmonic",
)
UNUSED = {  # tables that nothing of a side reads
    Side.INTERNAL: ("states.", "backup.", *BESIDE),
    Side.EXTERNAL: ("internal_faults.", "states.", "backup.", "network.x_over_r", *BESIDE),
    Side.STATE: (
        "internal_faults.",
        "backup.",
        *BESIDE,
        "network.x_over_r",
        "relay.chain.sampling_phase",
    ),
}


@dataclass(frozen=True, eq=False)
class Space:
    """Columns of one event's space, in their order. balanced: whether no phase is singled out."""

    widths: Mapping[str, int]  # columns of each input and draw
    first: Mapping[str, int]  # where each one's columns begin
    dims: int
    balanced: bool

    def points(self, u: Array) -> Points:
        """The uniforms behind samples of the space, unfolded.

        Parameters
        ----------
        u : (n, dims) array
            Standard normal scores.

        Returns
        -------
        Points
        """
        return Unfolded(self, np.asarray(ndtr(u)))

    @property
    def images(self) -> tuple[Image, ...]:
        """The ends exchanged; where a phase is singled out, also the other two, whose currents are
        opposite: remanence turns round. A load before the event and unlike ends make them inexact.
        """
        ends = self._image([3, 4, 5, 0, 1, 2], opposite=False)
        return (ends,) if self.balanced else (ends, self._image([0, 2, 1, 3, 5, 4], opposite=True))

    def _image(self, order: list[int], opposite: bool) -> Image:
        source, sign = np.arange(self.dims), np.ones(self.dims)
        for key, begin in self.first.items():
            width = self.widths[key]
            if width == 6:
                source[begin : begin + 6] = begin + np.array(order)
            elif width > 1:  # of elements: phases, then earth
                source[begin : begin + 3] = begin + np.array(order[:3]) % 3
            if opposite and key.endswith(REMANENCE):
                sign[begin : begin + width] = -1
        return Image(source, sign)


def space_of(study: Study, stratum: Stratum) -> Space:
    """The space of an external event.

    Parameters
    ----------
    study : Study
    stratum : Stratum

    Returns
    -------
    Space
    """
    used = inputs_of(study, stratum)
    widths = {item.key: item.columns for item in used} | dict.fromkeys((ANGLE, TURN, HALF_WAVE), 1)
    starts = np.cumsum([0, *widths.values()])
    return Space(
        widths,
        dict(zip(widths, map(int, starts), strict=False)),
        int(starts[-1]),
        event_of(study, stratum).balanced,
    )


def inputs_of(study: Study, stratum: Stratum) -> list[Input]:
    """The uncertain inputs that have a part in a stratum, and those tied to others.

    Parameters
    ----------
    study : Study
    stratum : Stratum

    Returns
    -------
    list of Input
    """
    inputs = list_inputs(study)
    used = [item for item in inputs if item.uncertain and concerns(study, item, stratum)]
    tied = {key for tie in study.ties for key in tie[:2]}
    return used + [item for item in inputs if item.key in tied and item not in used]


def concerns(study: Study, item: Input, stratum: Stratum) -> bool:
    """Whether an input has a part in what happens in a stratum.

    Parameters
    ----------
    study : Study
    item : Input
    stratum : Stratum

    Returns
    -------
    bool
    """
    if stratum.side is Side.EXTERNAL or stratum == EVOLVING:
        own = f"external_events.{event_of(study, stratum).name}."
    else:
        own = "none of them"
    other = item.key.startswith("external_events.") and not item.key.startswith(own)
    other |= item.key.startswith("internal_faults.evolving.") and stratum != EVOLVING
    if item.key.startswith(("winding.", "internal_faults.turns.")):
        standing = item.key.startswith(STANDING) and bool(schemes_of_branches(study))
        other |= not standing and stratum != INTER_TURN
    return not (
        other or item.key.startswith(UNUSED[stratum.side]) or item.key.endswith(".per_year")
    )


@dataclass(frozen=True, eq=False)
class Unfolded:
    """Uniforms as the samples take them, from the folded ones (n, dims)."""

    space: Space
    folded: Array

    @property
    def count(self) -> int:
        return len(self.folded)

    def _column(self, key: str) -> Array:
        return self.folded[:, self.space.first[key]]

    @cached_property
    def _turn(self) -> NDArray[np.int64]:
        return np.minimum((3 * self._column(TURN)).astype(np.int64), 2)

    def _upper(self, key: str) -> NDArray[np.bool_]:
        return self._column(key) >= 0.5

    def of(self, key: str, columns: int) -> Array:
        """An input or draw; 1/2 for an input that does not concern the event.

        Parameters
        ----------
        key : str
        columns : int

        Returns
        -------
        (n, columns) array
        """
        if key == ANGLE:
            return self._angle()[:, None]
        if key == PHASE:  # one that is singled out is the turn itself
            return (self._turn[:, None] + 0.5) / 3
        if key not in self.space.first:
            return np.full((self.count, columns), 0.5)
        begin = self.space.first[key]
        values = self.folded[:, begin : begin + columns]
        if columns > 1:
            values = np.take_along_axis(values, self._sources[columns], axis=1)
        if key.endswith(REMANENCE):
            values = np.where(self._upper(HALF_WAVE)[:, None], 1 - values, values)
        return np.asarray(values)

    @cached_property
    def _sources(self) -> dict[int, NDArray[np.int64]]:
        """From which folded column each phase takes its value, by the number of columns; an earth
        element has its own."""
        column = np.arange(6)
        phase = (column[None, :] - self._turn[:, None]) % 3 + column // 3 * 3
        return {6: phase, 4: np.where(column < 3, phase, column)[:, :4]}

    def _angle(self) -> Array:
        """Point on wave in turns: within a half turn about 0, a sixth about 1/4 where no phase is
        singled out."""
        width, middle = (1 / 6, 0.25) if self.space.balanced else (0.5, 0.0)
        within = middle + width * (self._column(ANGLE) - 0.5)
        return np.asarray(np.mod(within + self._turn / 3 + 0.5 * self._upper(HALF_WAVE), 1.0))
