"""python -m tests.gallery [STUDY ...] [--quick]: runs shipped studies, all unless some are named,
puts their pictures into configs/pictures and prints the processor time of each.

`--quick` runs one study with few samples and leaves the pictures alone."""

from __future__ import annotations

import argparse
import resource
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
PICTURES = {  # of each study, the figure that configs/README.md shows
    "hydro_11kv": "unprotected_winding",
    "ranges_11kv": "radius",
    "unit_13_8kv": "tradeoff",
    "transformer_earthed_13_8kv": "excitation_neutral_conductor",
    "bus_machines_6_6kv": "protected_winding",
    "schemes_11kv": "caught_by_other",
    "biased_and_ref_13_8kv": "protected_winding",
    "turn_faults_10_5kv": "turn_faults",
    "gates_13_8kv": "bias_plane_hv_three_phase",
    "released_ref_13_8kv": "tradeoff",
    "all_events_11kv": "tradeoff",
    "earthing_options_11kv": "protection_against_energy",
    "earthing_options_13_8kv": "damage_against_nobody",
    "alternatives_11kv": "alternatives",
    "drivers_11kv": "what_if",
    "drivers_13_8kv": "what_if",
}
FEW = ("--samples", "256", "--workers", "1")


def renewed(name: str, target: Path, *more: str) -> float:
    """Run a study of configs/ and copy its picture into the folder `target`; processor time of all
    its processes. [s]"""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    with tempfile.TemporaryDirectory() as folder:
        results = Path(folder) / "results"
        study = ROOT / "configs" / f"{name}.toml"
        command = [sys.executable, "-m", "studies", "run", str(study), "--out", str(results), *more]
        subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
        shutil.copyfile(results / f"{PICTURES[name]}.svg", target / f"{name}.svg")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.gallery", description=__doc__)
    parser.add_argument("studies", nargs="*", choices=[[], *PICTURES], metavar="STUDY")
    parser.add_argument("--quick", action="store_true", help="one study, few samples, no picture")
    given = parser.parse_args()
    print("| study | picture | processor time, s |\n|---|---|---|", flush=True)
    with tempfile.TemporaryDirectory() as nowhere:
        target = Path(nowhere) if given.quick else ROOT / "configs" / "pictures"
        names = ["unit_13_8kv"] if given.quick else given.studies or list(PICTURES)
        for name in names:
            seconds = renewed(name, target, *(FEW if given.quick else ()))
            print(f"| {name} | {PICTURES[name]} | {seconds:.0f} |", flush=True)


if __name__ == "__main__":
    main()
