"""What a run was made with: versions of packages, the processor."""

from __future__ import annotations

import platform
from importlib.metadata import PackageNotFoundError, version


def version_of(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"


def processor() -> str:
    """The processor's name: floating-point results may differ between kinds in the last digits."""
    try:
        with open("/proc/cpuinfo", encoding="utf-8") as lines:
            names = [
                line.partition(":")[2].strip() for line in lines if line.startswith("model name")
            ]
    except OSError:
        names = []
    return names[0] if names else platform.processor() or platform.machine()
