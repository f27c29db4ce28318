"""Figure of a CT's excitation curve: fitted to measured points, or that of a class. Draw within
`look.look()`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.secondary.completion import design_of, fit_of
from montecarlo.secondary.excitation import loop_rms
from studies.report.look import CHOSEN, FALSE, FALSE_TEXT, MISSED, backing

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from montecarlo.secondary.ct import CurrentTransformer

APART = 1.05  # of two voltages whose marks can be told apart
LEAST, MOST = 0.05, 1.1  # ends of the curve of a class, of the knee and of the highest mark


def excitation_curve(ct: CurrentTransformer, ax: Axes) -> Axes:
    """RMS voltage over exciting current, logarithmic, the knee marked; measured points where there
    are some, else the voltage up to which the class holds.

    Parameters
    ----------
    ct : CurrentTransformer
        Of a class or with measured points.
    ax : Axes

    Returns
    -------
    Axes
    """
    from matplotlib.ticker import LogLocator, NullLocator

    if ct.excitation_points is not None:
        _fitted(ct, ax)
    else:
        _of_class(ct, ax)
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


def _fitted(ct: CurrentTransformer, ax: Axes) -> None:
    """The points and the curve through them."""
    fit = fit_of(vars(ct))
    assert fit is not None
    assert ct.excitation_points is not None
    voltage, current = ct.excitation_points.curve
    volts = np.geomspace(voltage[0], 1.02 * voltage[-1], 200)
    fitted = [fit.current_a(v, ct.remanence_model) for v in volts]
    words = "fitted curve"
    if ct.remanence_model == "shifted_curve":
        words = "shifted curve, knee fitted"
    ax.plot(fitted, volts, color=MISSED, label=words, zorder=2)
    points: dict[str, Any] = {"s": 22, "facecolors": "white", "edgecolors": CHOSEN, "zorder": 3}
    ax.scatter(current, voltage, label="measured", **points)
    _knee(ax, fit.knee_current_a, fit.knee_voltage_v)


def _of_class(ct: CurrentTransformer, ax: Axes) -> None:
    """The curve with every input at its median; where the class gives the knee, also the
    accuracy-limit e.m.f., up to which the class holds."""
    knee_v, knee_a = ct.knee_voltage_v.centre(), ct.knee_current_a.centre()
    shape = ct.curve(ct.ankle_ratio.centre())

    def current_a(volts: float) -> float:
        return knee_a * float(loop_rms(shape, volts / knee_v, ct.saturation_exponent))

    found = design_of(vars(ct))
    limiting_v = 0.0 if found is None else found[1].limiting_v
    volts = np.geomspace(LEAST * knee_v, MOST * max(knee_v, limiting_v), 200)
    words = f"class {vars(ct)['class']}, {'knee as given' if found is None else 'met only just'}"
    ax.plot([current_a(v) for v in volts], volts, color=MISSED, label=words, zorder=2)
    if limiting_v > APART * knee_v:
        mark: dict[str, Any] = {"marker": "s", "s": 30, "color": CHOSEN, "zorder": 4}
        at = current_a(limiting_v), limiting_v
        ax.scatter(*at, label="accuracy-limit e.m.f.", **mark)
        aside: dict[str, Any] = {"ha": "right", "va": "bottom", "color": CHOSEN}
        _beside(ax, f"{limiting_v:.4g} V", at, (-8, 2), aside)
    _knee(ax, knee_a, knee_v)


def _knee(ax: Axes, amperes: float, volts: float) -> None:
    ax.scatter(amperes, volts, marker="D", s=34, color=FALSE, label="knee", zorder=4)
    text = f"{volts:.4g} V, {1000 * amperes:.3g} mA"
    _beside(ax, text, (amperes, volts), (8, -12), {"color": FALSE_TEXT})


def _beside(
    ax: Axes, text: str, at: tuple[float, float], offset: tuple[float, float], style: dict[str, Any]
) -> None:
    place: dict[str, Any] = {"xytext": offset, "textcoords": "offset points", "zorder": 5}
    ax.annotate(text, at, bbox=backing(), **place, **style)
