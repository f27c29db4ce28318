"""Energisation of a transformer beside the zone: its inrush passes the machine on one side of zero
for a long time.

Two-slope cores (no magnetising current below the saturation flux, air-core reactance above it),
behind the source's reactance. Switching instant, residual and saturation flux and air-core
inductance decide the peak (Kovan, de Leon, Czarkowski, Zabar, Birenbaum, IEEE Trans. Power Delivery
26(3), 2011); the closed form with a flux offset that decays is the classic one (Specht 1951,
Holcomb 1961: from memory), for one core

    i = (L - L_s)/(X_air + X_s) where L > L_s,     L(t) = u sin(wt + a) + (L_r - u sin a)e^(-t/tau)

L in rated peak flux linkages behind the source's reactance, a the voltage's angle less 90 degrees;
its first peak is (2u + L_r - L_s)/(X_air + X_s) at most. Three cores whose windings stand between
the lines (delta towards the machine, so no zero sequence): their voltages lead those of the lines
by 30 degrees, L1 carries core 12 minus core 31. The lines' reactance couples them (derived): L_k =
core flux + X_s(2i_k - i_l - i_m)/3. Residual fluxes +r, -r, 0 (common practice: they sum to zero),
the first on a phase drawn alike.

Reach: X_s = X''d of the machine beside the network's reactance, which share the current,
throughout; the decay time is an input, the same for the three cores (in truth the fall is fastest
at first); no hysteresis, no voltage sag of the resistance, no sympathetic inrush of other
transformers. Load goes on."""

from __future__ import annotations

from typing import Annotated, Literal

import numpy as np
from pydantic import model_validator

from montecarlo.plant.events.base import Duration, Event, KindWord, Scene
from montecarlo.plant.events.waves import sinusoids
from montecarlo.quantities import Array, Distribution, Quantity, number

SETTLED_PU = 1e-9  # change of a core's current that ends the relaxation
MOST_SWEEPS = 500
ROWS = 64  # samples at a time, for the cache


def core_currents(flux: Array, saturation: Array, air_core: Array, source: Array) -> Array:
    """Currents of the three cores. [pu of a winding's]

    By relaxation, core after core: each is a dead zone of what the others leave it, and falls in.

    Parameters
    ----------
    flux : (n, 3, nt) array (pu)
        Behind the source.
    saturation, air_core, source : (n,) array (pu)

    Returns
    -------
    (n, 3, nt) array (pu)
    """
    saturated = saturation[:, None]
    own = (air_core + 2 * source / 3)[:, None]
    others = (source / 3)[:, None]
    out = np.zeros_like(flux)
    for _ in range(MOST_SWEEPS):
        moved = 0.0
        for k in range(3):
            drive = flux[:, k] + others * (out[:, k - 1] + out[:, k - 2])
            current = (drive - np.clip(drive, -saturated, saturated)) / own
            moved = max(moved, float(abs(current - out[:, k]).max(initial=0.0)))
            out[:, k] = current
        if moved <= SETTLED_PU:
            break
    return out


def inrush(  # noqa: PLR0913
    t: Array,
    *,
    angle_rad: Array,
    voltage_pu: Array,
    residual_pu: Array,
    saturation_pu: Array,
    air_core_pu: Array,
    source_pu: Array,
    decay_s: Array,
    omega: float,
) -> Array:
    """Line currents L1, L2, L3 of the transformer. [pu of the rated current's peak]

    Parameters
    ----------
    t : (nt,) array (s)
        0 or more.
    angle_rad : (n,) array (rad)
        Of L1's voltage as a cosine.
    voltage_pu, saturation_pu, air_core_pu, source_pu : (n,) array (pu)
    residual_pu : (n, 3) array (pu)
        Of the cores 12, 23, 31.
    decay_s : (n,) array (s)
        Of the flux offset.
    omega : float (rad/s)

    Returns
    -------
    (n, 3, nt) array (pu)
    """
    at = angle_rad[:, None] + np.pi / 6 - 2 * np.pi / 3 * np.arange(3)
    offset = residual_pu - voltage_pu[:, None] * np.sin(at)
    flux = (
        voltage_pu[:, None, None] * np.sin(omega * t + at[..., None])
        + offset[..., None] * np.exp(-t / decay_s[:, None])[:, None]
    )
    cores = core_currents(flux, saturation_pu, air_core_pu, source_pu)
    return np.asarray((cores - np.roll(cores, 1, axis=1)) / np.sqrt(3))


class TransformerEnergisation(Event):
    """A transformer with its delta towards the machine is switched on at the busbar."""

    kind: Annotated[Literal["transformer_energisation"], KindWord]
    air_core_reactance_pu: Annotated[
        Distribution,
        Quantity(
            "pu",
            "of the saturated transformer seen from the machine, on the machine's rating",
            0.0,
            above=True,
            usual=(0.02, 100.0),
        ),
    ]
    residual_flux_pu: Annotated[
        Distribution,
        Quantity(
            "pu",
            "r of the residual fluxes +r, -r, 0, over the rated peak flux",
            -1.0,
            high=1.0,
            varies="event",
        ),
    ]
    saturation_flux_pu: Annotated[
        Distribution,
        Quantity(
            "pu", "above which the core is saturated, over the rated peak flux", 1.0, high=2.0
        ),
    ] = number(1.2)
    decay_time_constant_s: Annotated[
        Distribution,
        Quantity(
            "s",
            "of the flux offset, and so of the inrush",
            0.0,
            above=True,
            usual=(0.01, 60.0),
            varies="event",
        ),
    ]
    external_reactance_pu: Annotated[
        Distribution,
        Quantity(
            "pu",
            "between the machine's terminals and the transformer, on the machine's rating",
            0.0,
            high=100.0,
        ),
    ] = number(0.0)
    duration_s: Duration = 1.0

    @model_validator(mode="after")
    def _rests_unsaturated(self) -> TransformerEnergisation:
        low, high = self.residual_flux_pu.support()
        largest = max(-low, high)
        saturation = self.saturation_flux_pu.support()[0]
        if not largest < saturation:
            raise ValueError(
                f"residual_flux_pu reaches {largest:g} pu, must stay below"
                f" saturation_flux_pu, which can be {saturation:g} pu"
            )
        return self

    def lasts_s(self, scene: Scene) -> float:
        return self.duration_s

    def currents(self, scene: Scene, t: Array) -> Array:
        """(n, 3, nt): load, and from t = 0 the machine's share of the inrush."""
        out = np.empty((len(scene.phase), 3, t.size))
        start = int(np.searchsorted(t, 0.0))
        own = scene.own
        share = scene.machine_share
        machine = share * scene.samples["machine.subtransient_reactance_pu"]
        source = machine + own["external_reactance_pu"]
        pattern = np.array([1.0, -1.0, 0.0])[np.mod(np.arange(3) - scene.phase[:, None], 3)]
        residual = own["residual_flux_pu"][:, None] * pattern
        peak = np.sqrt(2) * scene.machine.rated_current_a * share
        load = np.sqrt(2) * scene.load()[:, :3]
        for first in range(0, len(out), ROWS):
            rows = slice(first, first + ROWS)
            out[rows] = sinusoids(load[rows], scene.machine.omega * t)
            out[rows, :, start:] += peak[rows, None, None] * inrush(
                t[start:],
                angle_rad=scene.point_on_wave_rad[rows],
                voltage_pu=scene.voltage_pu[rows],
                residual_pu=residual[rows],
                saturation_pu=own["saturation_flux_pu"][rows],
                air_core_pu=own["air_core_reactance_pu"][rows],
                source_pu=source[rows],
                decay_s=own["decay_time_constant_s"][rows],
                omega=scene.machine.omega,
            )
        return out

    def direct_s(self, scene: Scene) -> Array:
        """Of the flux offset, which keeps the inrush on one side of zero. [s]"""
        return scene.own["decay_time_constant_s"]
