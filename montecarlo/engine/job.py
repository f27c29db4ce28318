"""What every chunk of a run shares."""

from __future__ import annotations

import pickle
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property, lru_cache
from typing import Any

from montecarlo.relays.schemes import Scheme
from montecarlo.sampling.design import Design
from montecarlo.sampling.inputs import Input, list_inputs
from montecarlo.sampling.stratum import EARTH, Stratum
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from montecarlo.study.strata import OPEN_CT_CIRCUITS


@dataclass(frozen=True, eq=False)
class Job:
    """What every chunk of a run shares; small, since it travels with each of them.

    It is packed once, and a worker unpacks it once, whichever chunk it comes with: what is found
    from it (`inputs`, `schemes`) is found once a worker."""

    study: Study
    lattices: tuple[Lattice, ...]
    design: Design  # of the counted strata
    earth_design: Design  # of earth faults, solved along the whole winding, on nets
    shares: tuple[float, ...] = ()  # of the batch, below 1, that are tallied by themselves too
    paired: tuple[int, ...] = ()  # candidates, paired: what one misses, another not
    # weighted samples of a stratum, where not the study's own
    weighted: tuple[tuple[Stratum, int], ...] = ()

    def __reduce__(self) -> tuple[Any, ...]:
        return _job_of, (self._packed,)

    @cached_property
    def _packed(self) -> bytes:
        return pickle.dumps([getattr(self, field.name) for field in fields(self)])

    @cached_property
    def inputs(self) -> tuple[Input, ...]:
        """Every input of its study; every block of samples asks."""
        return list_inputs(self.study)

    @cached_property
    def schemes(self) -> Mapping[str, Scheme]:
        """What each scheme of its candidates is built of, by its kind; every solution asks."""
        kinds = dict.fromkeys(lattice.scheme for lattice in self.lattices)
        return {kind: scheme_of(self.study, kind) for kind in kinds}

    def design_of(self, stratum: Stratum) -> Design:
        """How many installations and events of a stratum there are.

        Parameters
        ----------
        stratum : Stratum

        Returns
        -------
        Design
        """
        if stratum == EARTH:
            return self.earth_design
        if stratum in OPEN_CT_CIRCUITS:  # counted, and as few as earth faults
            return replace(self.earth_design, net=False)
        return self.design


@lru_cache(maxsize=8)
def _job_of(packed: bytes) -> Job:
    return Job(*pickle.loads(packed))  # a chunk travels as a pickle with or without this
