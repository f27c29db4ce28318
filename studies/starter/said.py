"""What the terminal says of a starter study that was written."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from studies.report.blocks import Block, Paragraph
from studies.report.terminal import shown
from studies.starter.plate import Plate
from studies.starter.scaling import Scaled, rounded
from studies.starter.text import not_given, rating, ratio


def written(path: Path, plate: Plate) -> str:
    """Of which machine it is, what is assumed, and what does not fit."""
    if not plate.given:
        return f"{path}: a starter study of an invented machine. Change it to yours, then:"
    scaled = Scaled(plate)
    said = (
        f"{path}: a starter study of a machine of {rating(plate)}. Rated current"
        f" {rounded(plate.rated_a, 4):g} A, CTs {ratio(plate)} A, earthing resistor"
        f" {scaled.earthing_ohm:.4g} ohm for {plate.earthing_a:g} A."
    )
    blocks: list[Block] = [Paragraph(said)]
    if others := not_given(plate):
        blocks.append(Paragraph(f"Not given, so assumed: {'; '.join(others)}."))
    blocks += [Paragraph(f"Caution: {text}") for text in doubts(scaled)]
    all_else = "All other numbers are assumed, as the file says. Replace them by yours, then:"
    return shown([*blocks, Paragraph(all_else)])


def doubts(scaled: Scaled) -> Iterator[str]:
    """What does not fit an earthing current on this machine, by the numbers assumed."""
    given = f"--earthing-a {scaled.plate.earthing_a:g}"
    if scaled.plate.earthing_a > scaled.solid_a:
        yield (
            f"{given}: an earth fault at the terminals gives {scaled.earth_fault_a:.3g} A. Without"
            f" a resistor the machine's reactances limit it to {scaled.solid_a:.3g} A."
        )
    if scaled.plate.earthing_a < scaled.capacitive_a:
        yield (
            f"{given}: this is below the capacitive current of an earth fault,"
            f" {scaled.capacitive_a:.2g} A by the assumed capacitances. Intermittent earth faults"
            " may then raise the voltage."
        )
