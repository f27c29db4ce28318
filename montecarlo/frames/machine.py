"""The processor that a run was made with."""

from __future__ import annotations

import platform


def processor() -> str:
    """The processor's name: floating-point results may differ between kinds in the last digits.

    Returns
    -------
    str
    """
    try:
        with open("/proc/cpuinfo", encoding="utf-8") as lines:
            names = [
                line.partition(":")[2].strip() for line in lines if line.startswith("model name")
            ]
    except OSError:
        names = []
    return names[0] if names else platform.processor() or platform.machine()
