"""`check --picture`: the connection diagram of every scheme, and beside it the excitation curves of
CTs with a class or measured points; also of a study that is refused, if scheme and CTs are sound.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from montecarlo.errors import StudyError
from montecarlo.study.description import Study
from montecarlo.study.read import read_study, study_bytes, what_is_sound
from montecarlo.study.scheme_checks import check_leads, check_scheme
from studies.connections.figure import drawings, figure_of
from studies.nominal.excitation import curves
from studies.nominal.excitation_figure import excitation_curve
from studies.report.look import PNG_DPI, look, stacked

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from montecarlo.secondary.ct import CurrentTransformer

MISFIT = "excitation_misfit_max_percent"
ANY_PERCENT = 100.0  # the most that the key takes
ENDINGS = (".svg", ".png")
BESIDE = "_excitation"  # behind the picture's name: the file of the curves


def draw_study(file: Path, picture: Path) -> list[Path]:
    """Draw the study in `file`: the pictures that were written, none where its scheme or its CTs
    cannot be read.

    Raises StudyError."""
    if picture.suffix not in ENDINGS:
        raise StudyError(f"--picture {picture}: must end in {' or '.join(ENDINGS)}")
    if (study := _sound_part(file)) is None:
        return []
    with look():
        figures = {picture: figure_of(drawings(study))}
        if cts := curves(study):
            figures[picture.with_stem(picture.stem + BESIDE)] = _excitation(cts)
        drawn = {path: _bytes(figure, path.suffix[1:]) for path, figure in figures.items()}
    for path in drawn:
        if path.exists():
            raise StudyError(
                f"--picture {path}: exists already; name another file, or remove it first"
            )
    for path, content in drawn.items():
        _write(path, content)
    return [*drawn]


def _excitation(cts: Mapping[str, CurrentTransformer]) -> Figure:
    figure, axes = stacked(len(cts), 80.0 * len(cts))
    for (end, ct), ax in zip(cts.items(), axes, strict=True):
        excitation_curve(ct, ax)
        ax.set_title(end)
    return figure


def _bytes(figure: Figure, kind: str) -> bytes:
    drawn = BytesIO()
    figure.savefig(drawn, format=kind, dpi=PNG_DPI)
    return drawn.getvalue()


def _write(path: Path, content: bytes) -> None:
    try:
        with path.open("xb") as out:
            out.write(content)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise StudyError(f"--picture {path}: cannot be written ({reason})") from None


# --- what can be read of a study that is refused -------------------------------


def _sound_part(file: Path) -> Study | None:
    """The study; of one that is refused what can be read of it, without a limit of the curves'
    misfit; None where no scheme can be drawn."""
    try:
        return read_study(file)
    except StudyError:
        pass
    try:
        table = tomllib.loads(study_bytes(file).decode("utf-8-sig"))
    except (StudyError, ValueError, RecursionError):
        return None
    study, sound = what_is_sound({**table, "ct": _accepting(table.get("ct"))}, file.parent)
    if not {"scheme", "ct"} <= sound or any(check_scheme(study)) or any(check_leads(study)):
        return None
    return study


def _accepting(ct: Any) -> Any:
    """The table of the CTs, each with points taking any misfit."""
    if not isinstance(ct, Mapping):
        return ct
    inner = {
        key: _accepting(value) if isinstance(value, Mapping) else value for key, value in ct.items()
    }
    return inner | {MISFIT: ANY_PERCENT} if "excitation_points" in ct else inner
