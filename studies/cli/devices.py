"""Names that are no files but devices on Windows, whatever their ending."""

from __future__ import annotations

from pathlib import PurePath

from montecarlo.errors import StudyError

PORTS = tuple(f"{port}{number}" for port in ("COM", "LPT") for number in range(1, 10))
DEVICES = ("CON", "PRN", "AUX", "NUL", *PORTS)


def device_in(path: PurePath) -> str:
    """The part of a path that is a device.

    Parameters
    ----------
    path : PurePath

    Returns
    -------
    str
        Empty if there is none.
    """
    for part in path.parts:
        if part.partition(".")[0].rstrip(" ").upper() in DEVICES:
            return part
    return ""


def check_no_device(path: PurePath, cure: str) -> None:
    """On every system, so that what is written can be read on all.

    Parameters
    ----------
    path : PurePath
        Of what shall be written.
    cure : str
        Told with the fault.

    Raises
    ------
    StudyError
    """
    if device := device_in(path):
        raise StudyError(f"{path}: {device} is the name of a device on Windows; {cure}")
