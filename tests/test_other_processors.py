"""The same study gives the same bytes on another processor, as far as one can be imitated: compiled
code, NumPy, linear algebra and the C library do without the newer instructions of this one."""

from __future__ import annotations

import os
import platform
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.made.studies import minimal_study_text

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        platform.machine().lower() not in ("x86_64", "amd64"), reason="imitates x86-64 processors"
    ),
]

ROOT = Path(__file__).parents[1]
ENDS = (".csv", ".svg", ".cfg", ".dat", ".hdr")
# What asks for a processor: what is set where the tests run must not
ASKING = (
    "NUMBA_CPU_NAME",
    "NUMBA_CPU_FEATURES",
    "OPENBLAS_CORETYPE",
    "NPY_DISABLE_CPU_FEATURES",
    "NPY_ENABLE_CPU_FEATURES",
    "GLIBC_TUNABLES",
)
OLDEST = ("SSE", "SSE2", "SSE3", "SSSE3", "SSE41", "POPCNT", "SSE42", "X86_V2")
CHANGES = {
    "samples = 512": "samples = 512\nearth_fault_samples = 32\nrare_samples = 4096",
    "radius = false\nracing = false\n": "",  # both
    "low = 0.05, high = 0.3 }": "low = 0.1, high = 0.3 }",
    "phase_pickup_a = [0.1, 0.2]": "phase_pickup_a = [0.4, 1.6]",
    "{ from = 0.02, to = 0.1, step = 0.02 }": "[0.03, 0.05, 0.1234567890123]",
    "delay_s = [0]": "delay_s = [0, 0.1]",
    "p_false_max = 0.01": "p_false_max = 0.02",
}


def found() -> list[str]:
    """Instructions of this processor that NumPy would use, beyond what it always needs."""
    shown = np.show_config(mode="dicts")
    assert isinstance(shown, dict)
    return [name for name in shown["SIMD Extensions"].get("found", ()) if name not in OLDEST]


def asked(name: str, blas: str, without: tuple[str, ...], libc: str) -> dict[str, str]:
    """What makes a process believe that it runs on another processor."""
    return {
        "NUMBA_CPU_NAME": name,
        "NUMBA_CPU_FEATURES": "",  # else this processor's own beside that name
        "OPENBLAS_CORETYPE": blas,
        "NPY_DISABLE_CPU_FEATURES": " ".join(one for one in found() if one.startswith(without)),
        "GLIBC_TUNABLES": f"glibc.cpu.hwcaps={libc}",
    }


def written(folder: Path, imitated: dict[str, str]) -> dict[str, bytes]:
    """Tables, figures, records and sampled installations of a small run with weighted samples, in a
    process that compiles all anew."""
    folder.mkdir()
    text = minimal_study_text()
    for old, new in CHANGES.items():
        assert text.count(old) == 1
        text = text.replace(old, new)
    (folder / "small.toml").write_text(text, encoding="utf-8")
    env = {key: value for key, value in os.environ.items() if key not in ASKING}
    own = {"PYTHONPATH": str(ROOT), "NUMBA_CACHE_DIR": str(folder / "compiled")}
    done = subprocess.run(
        [sys.executable, "-m", "studies", "run", "small.toml", "--workers", "1", "--out", "out"],
        cwd=folder,
        env={**env, **own, **imitated},
        capture_output=True,
        text=True,
        check=False,
        timeout=1800,
    )
    assert done.returncode == 0, done.stderr
    return {
        path.relative_to(folder / "out").as_posix(): path.read_bytes()
        for path in sorted((folder / "out").rglob("*"))
        if path.suffix in (*ENDS, ".npz")
    }


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Of this processor."""
    return written(tmp_path_factory.mktemp("processors") / "own", {})


@pytest.mark.parametrize(
    ("name", "blas", "without", "libc"),
    [
        pytest.param(
            "haswell",
            "Haswell",
            ("X86_V4", "AVX512"),
            "-AVX512F,-AVX512VL",
            id="without AVX-512",
            marks=pytest.mark.skipif(
                not {"X86_V3", "AVX2"} & {*found()}, reason="no AVX2 on this processor"
            ),
        ),
        pytest.param(
            "x86-64-v2",
            "Nehalem",
            ("",),
            "-AVX,-AVX2,-FMA,-AVX512F,-AVX512VL",
            id="without AVX and FMA",
        ),
    ],
)
def test_another_processor_writes_the_same_bytes(
    name: str,
    blas: str,
    without: tuple[str, ...],
    libc: str,
    own: dict[str, bytes],
    tmp_path: Path,
) -> None:
    """Fails by chance once in some thousand studies: about 10,000 numbers differ by 1e-15."""
    other = written(tmp_path / "other", asked(name, blas, without, libc))
    assert other.keys() == own.keys() >= {"candidates.csv", "rare.csv", "radius.csv"}
    same = [file for file in own if file.endswith(ENDS)]
    assert [file for file in same if own[file] != other[file]] == []
    assert b",0.1234567890123," in own["candidates.csv"]
    if found() and not without[0]:  # arrays keep their last bits: another processor was imitated
        assert own["installations.npz"] != other["installations.npz"]
