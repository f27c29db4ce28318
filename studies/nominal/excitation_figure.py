"""Figure of a CT's measured excitation points and the curve fitted to them. Draw within
`look.look()`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.secondary.completion import fit_of
from studies.report.look import CHOSEN, FALSE, FALSE_TEXT, MISSED, backing

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from montecarlo.secondary.ct import CurrentTransformer


def excitation_fit(ct: CurrentTransformer, ax: Axes) -> Axes:
    """Measured points of a CT and the fitted curve: RMS voltage over exciting current, logarithmic,
    the knee marked.

    Parameters
    ----------
    ct : CurrentTransformer
    ax : Axes

    Returns
    -------
    Axes
    """
    from matplotlib.ticker import LogLocator, NullLocator

    fit = fit_of(vars(ct))
    if fit is None or ct.excitation_points is None:
        return ax
    voltage, current = ct.excitation_points.curve
    volts = np.geomspace(voltage[0], 1.02 * voltage[-1], 200)
    fitted = [fit.current_a(v, ct.remanence_model) for v in volts]
    words = "fitted curve"
    if ct.remanence_model == "shifted_curve":
        words = "shifted curve, knee fitted"
    ax.plot(fitted, volts, color=MISSED, label=words, zorder=2)
    points: dict[str, Any] = {"s": 22, "facecolors": "white", "edgecolors": CHOSEN, "zorder": 3}
    ax.scatter(current, voltage, label="measured", **points)
    knee = fit.knee_current_a, fit.knee_voltage_v
    ax.scatter(*knee, marker="D", s=34, color=FALSE, label="knee", zorder=4)
    ax.annotate(
        f"{fit.knee_voltage_v:.4g} V, {1000 * fit.knee_current_a:.3g} mA",
        knee,
        xytext=(8, -12),
        textcoords="offset points",
        color=FALSE_TEXT,
        bbox=backing(),
        zorder=5,
    )
    ax.set(
        xscale="log",
        yscale="log",
        xlabel="exciting current, A secondary RMS",
        ylabel="voltage, V RMS",
    )
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_locator(LogLocator(subs=(1, 2, 5)))
        axis.set_major_formatter(lambda value, _: f"{value:g}")
        axis.set_minor_locator(NullLocator())
    ax.legend(loc="lower right")
    return ax
