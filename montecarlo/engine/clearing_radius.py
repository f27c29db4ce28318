"""How far each uncertain input may be off before the best of several options is no longer the best:
the centre of one input at a time lower or higher, all settings as chosen.

The options are followed on fewer faults of the same random numbers. What an option has there is
taken in proportion to what it has as stated, so that at no distance all is as the whole run has
it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from montecarlo.engine.clearing import Asked, Clearing, sample_clearings
from montecarlo.engine.clearing_inputs import WAYS, moved, room, types_with
from montecarlo.engine.clearing_paths import stated_case
from montecarlo.engine.progress import Progress
from montecarlo.engine.sizes import designs, with_sizes
from montecarlo.engine.stages import Stage
from montecarlo.engine.workers import Workers
from montecarlo.quantities import half_width
from montecarlo.sampling.inputs import Input
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.description import Study
from montecarlo.study.shifts import Way, uncertain_inputs

RADIUS_STAGE = "radius of the best option"
MOST_FAULTS = 256  # of each type, in each run
HALVINGS = 5  # of the distance within which another option becomes the best

Value = Callable[[str, Clearing], float]  # of an option: the less the better


@dataclass(frozen=True)
class Turn:
    """One way of one input, and where another option becomes the best.

    Attributes
    ----------
    key, unit : str
    options : tuple of str
        That have the input, alike in all of them.
    way : Way
    centre, half_width : float
        In the unit.
    looked_at : float
        Distance of the end, in the unit.
    stands_to : float or None
        Distance up to which the best option stays the best; None: up to the end.
    other : str or None
        The best one beyond.
    lead : float (-)
        At the end: the least value of any other option over that of the best one.
    """

    key: str
    unit: str
    options: tuple[str, ...]
    way: Way
    centre: float
    half_width: float
    looked_at: float
    stands_to: float | None
    other: str | None
    lead: float


@dataclass(frozen=True, eq=False)
class BestOption:
    """The best of several options, and what would make another one the best.

    Attributes
    ----------
    best : str
    among : tuple of str
    turns : tuple of Turn
        Of every input and way that can be moved.
    reach : float (-)
        In half-widths.
    faults : int
        Of each type at most, on which that was found.
    """

    best: str
    among: tuple[str, ...]
    turns: tuple[Turn, ...]
    reach: float
    faults: int


def radius_size(options: Mapping[str, Study], types: Sequence[Stratum]) -> Iterator[Stage]:
    """What `radius_of_best` is for progress: its longest step.

    Parameters
    ----------
    options : mapping of Study
    types : sequence of Stratum
        Of faults.

    Yields
    ------
    Stage
    """
    if len(options) > 1:
        inputs = max(len(_inputs(study, types)) for study in options.values())
        faults = sum(size for study in options.values() for size in _sizes(_fewer(study)))
        yield Stage(RADIUS_STAGE, 2 * inputs * faults)


def radius_of_best(
    stated: Mapping[str, Clearing],
    types: Sequence[Stratum],
    value: Value,
    reach: float,
    workers: Workers,
    tell: Progress,
) -> BestOption | None:
    """Where another option becomes the best.

    The ends are looked at. Where another option is the best there, the place is sought by halves.

    Parameters
    ----------
    stated : mapping of Clearing
        The whole run of each option, by name.
    types : sequence of Stratum
        Of the faults that the value rests on.
    value : callable
    reach : float (-)
        In half-widths of each input.
    workers : Workers
    tell : Progress

    Returns
    -------
    BestOption or None
        None of fewer than two options.
    """
    if len(stated) < 2:
        return None
    return _Search(stated, types, value, workers, tell).radius(reach)


@dataclass(eq=False)
class _Side:
    """One way of an input, as it is sought. Distances in its unit."""

    items: Mapping[str, Input]  # of each option that has it
    way: Way
    end: float
    good: float = 0.0  # the best option stays the best
    bad: float = 0.0
    other: str | None = None
    lead: float = 1.0

    def take(self, distance: float, other: str | None) -> None:
        """Which other option is the best at a distance, if any."""
        if other is None:
            self.good = distance
        else:
            self.bad, self.other = distance, other

    @property
    def turn(self) -> Turn:
        item = next(iter(self.items.values()))
        return Turn(
            item.key,
            item.quantity.unit,
            tuple(self.items),
            self.way,
            item.distribution.centre(),
            half_width(item.distribution),
            self.end,
            None if self.other is None else self.good,
            self.other,
            self.lead,
        )


class _Search:
    """All sides at once, step by step, so that all workers have work."""

    def __init__(
        self,
        stated: Mapping[str, Clearing],
        types: Sequence[Stratum],
        value: Value,
        workers: Workers,
        tell: Progress,
    ) -> None:
        self.whole, self.types, self.value = stated, types, value
        self.workers, self.tell = workers, tell
        self.studies = {name: _fewer(one.study) for name, one in stated.items()}
        asked = [self._asked(name, study, types) for name, study in self.studies.items()]
        self.few = dict(zip(stated, self._sampled(asked), strict=True))
        self.stated = {name: value(name, one) for name, one in stated.items()}
        self.on_few = {name: value(name, one) for name, one in self.few.items()}
        self.best = min(self.stated, key=self.stated.__getitem__)

    def radius(self, reach: float) -> BestOption:
        """Of every input."""
        sides = [*self._sides(reach)]
        for side, values in self._values(sides, [side.end for side in sides]):
            least = min(own for name, own in values.items() if name != self.best)
            side.lead = _lead(least, values[self.best])
            side.take(side.end, self._other(values))
        turned = [side for side in sides if side.other]
        for _ in range(HALVINGS):
            middles = [(side.good + side.bad) / 2 for side in turned]
            found = zip(middles, self._values(turned, middles), strict=True)
            for middle, (side, values) in found:
                side.take(middle, self._other(values))
        faults = max(max(_sizes(study)) for study in self.studies.values())
        turns = tuple(side.turn for side in sides)
        return BestOption(self.best, tuple(self.whole), turns, reach, faults)

    def _other(self, values: Mapping[str, float]) -> str | None:
        least = min(values, key=values.__getitem__)
        return least if values[least] < values[self.best] else None

    def _sides(self, reach: float) -> Iterator[_Side]:
        """Every way of every input. One that several options have alike moves in all of these."""
        groups: list[dict[str, Input]] = []
        for name, study in self.studies.items():
            for item in _inputs(study, self.types):
                group = next((one for one in groups if item in one.values()), None)
                if group is None:
                    groups.append(group := {})
                group[name] = item
        for group in groups:
            rooms = [room(self.studies[name], item, reach) for name, item in group.items()]
            for way in WAYS:
                if end := min(one.get(way, 0.0) for one in rooms):
                    yield _Side(group, way, end)

    def _asked(self, name: str, study: Study, types: Sequence[Stratum], what: str = "") -> Asked:
        run, label = self.whole[name], f"{name}{what and ', '}{what}"
        return Asked(study, run.setting, run.round_, tuple(types), (stated_case(study),), label)

    def _sampled(self, asked: Sequence[Asked]) -> Iterator[Clearing]:
        return sample_clearings(asked, self.workers, self.tell, RADIUS_STAGE)

    def _values(
        self, sides: Sequence[_Side], distances: Sequence[float]
    ) -> Iterator[tuple[_Side, dict[str, float]]]:
        """What all options have with one input at a distance; what has it is solved again."""
        asked = [
            self._asked(
                name,
                moved(study, item, side.way, by),
                types_with(study, item, self.types),
                f"{item.key} {side.way.value}",
            )
            for side, by in zip(sides, distances, strict=True)
            for name, item in side.items.items()
            for study in [self.studies[name]]
        ]
        solved = self._sampled(asked) if asked else iter(())
        for side in sides:
            again = {name: self._value(name, next(solved)) for name in side.items}
            yield side, self.stated | again

    def _value(self, name: str, found: Clearing) -> float:
        """With the types of faults that were not solved again as stated."""
        few = self.few[name]
        cleared = {**few.cleared, **found.cleared}
        burnt = few.burnt if found.burnt is None else found.burnt
        own = self.value(name, replace(found, cleared=cleared, burnt=burnt))
        stated, on_few = self.stated[name], self.on_few[name]
        return stated * own / on_few if on_few > 0 else stated + own


def _lead(least: float, best: float) -> float:
    if best > 0:
        return least / best
    return 1.0 if least == 0 else float("inf")


def _inputs(study: Study, types: Sequence[Stratum]) -> list[Input]:
    return [item for item in uncertain_inputs(study) if types_with(study, item, types)]


def _fewer(study: Study) -> Study:
    counted, earth = _sizes(study)
    fewest = max(MOST_FAULTS, study.study.installations)
    sizes = {"samples": min(counted, fewest), "earth_fault_samples": min(earth, fewest)}
    return with_sizes(study.alone, sizes)


def _sizes(study: Study) -> tuple[int, int]:
    counted, earth = designs(study)
    return counted.samples_drawn, earth.samples_drawn
