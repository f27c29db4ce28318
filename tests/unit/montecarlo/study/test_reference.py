"""The page of all keys is what the fields say."""

from pathlib import Path

from montecarlo.study.reference import input_reference


def test_the_page_in_configs_is_up_to_date() -> None:
    page = Path(__file__).parents[4] / "configs" / "REFERENCE.md"
    assert page.read_text(encoding="utf-8") == input_reference()


def test_every_row_has_a_meaning() -> None:
    rows = [line for line in input_reference().splitlines() if line.startswith("| `")]
    assert len(rows) > 80
    assert all(row.rstrip("| ").rsplit("|", 1)[1].strip() for row in rows)
