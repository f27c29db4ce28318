"""`check --picture`: the measured excitation points and the curve fitted to them, also of a study
that is refused because the curve misses the points."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from io import BytesIO
from pathlib import Path
from typing import Any

from montecarlo.errors import StudyError
from montecarlo.study.description import Study
from montecarlo.study.read import parse_study, read_study, study_bytes
from studies.nominal.excitation import fits
from studies.nominal.excitation_figure import excitation_fit
from studies.report.look import PNG_DPI, look, side_by_side

MISFIT = "excitation_misfit_max_percent"
ANY_PERCENT = 100.0  # the most that the key takes
ENDINGS = (".svg", ".png")


def draw_excitation(file: Path, picture: Path) -> bool:
    """Draw the excitation curves of the study in `file`; whether there was a study to draw.

    A study with other faults is not drawn: reading it tells them. Raises StudyError."""
    if picture.suffix not in ENDINGS:
        raise StudyError(f"--picture {picture}: must end in {' or '.join(ENDINGS)}")
    if picture.exists():
        raise StudyError(
            f"--picture {picture}: exists already; name another file, or remove it first"
        )
    if (study := _read_with_any_misfit(file)) is None:
        return False
    if not (cts := fits(study)):
        raise StudyError(f"--picture: no CT of {file} has excitation_points; leave it out")
    drawn = BytesIO()
    with look():
        figure, axes = side_by_side(len(cts), 90)
        for (end, ct), ax in zip(cts.items(), axes, strict=True):
            excitation_fit(ct, ax)
            ax.set_title(end)
        figure.savefig(drawn, format=picture.suffix[1:], dpi=PNG_DPI)
    try:
        with picture.open("xb") as out:
            out.write(drawn.getvalue())
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise StudyError(f"--picture {picture}: cannot be written ({reason})") from None
    return True


def _read_with_any_misfit(file: Path) -> Study | None:
    """The study as it would be without a limit of the misfit; None where something else is
    wrong."""
    try:
        return read_study(file)
    except StudyError:
        pass
    try:
        table = tomllib.loads(study_bytes(file).decode("utf-8"))
        return parse_study({**table, "ct": _accepting(table.get("ct"))}, file.parent)
    except (StudyError, UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError):
        return None


def _accepting(ct: Any) -> Any:
    """The table of the CTs, each with points taking any misfit."""
    if not isinstance(ct, Mapping):
        return ct
    inner = {
        key: _accepting(value) if isinstance(value, Mapping) else value for key, value in ct.items()
    }
    return inner | {MISFIT: ANY_PERCENT} if "excitation_points" in ct else inner
