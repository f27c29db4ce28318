"""The file of a name-plate: one template, what is given and what is assumed."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest

from studies.starter.plate import Plate, read_plate
from studies.starter.text import starter_text

GIVEN = {"mva": "25", "kv": "11", "hz": "60", "earthing-a": "150", "ct": "2000/5"}
# Keys that hold no number of the plant: what the user asks, and what follows from the name-plate
OWN = {"study", "policy", "correlations", "shares"}
PLAIN = {
    "rated_power_va",
    "line_voltage_v",
    "frequency_hz",
    "primary_a",
    "secondary_a",
    "rated_current_a",
    "step_a",
    "range_a",
    "allowed_time_s",
}


def numbers(table: Any, key: str = "") -> Iterator[tuple[str, Any]]:
    """Every number or distribution, its key last in the path."""
    if isinstance(table, list) and isinstance(table[0], dict):
        for index, item in enumerate(table):
            yield from numbers(item, f"{key}[{index}]")
    elif isinstance(table, dict) and not {"dist", "value", "nominal"} & set(table):
        for name, value in table.items():
            if name not in OWN:
                yield from numbers(value, f"{key}.{name}")
    elif not isinstance(table, (str, bool)):
        yield key, table


def test_every_number_but_the_name_plate_says_that_it_is_assumed() -> None:
    table = tomllib.loads(starter_text(read_plate(GIVEN)))
    del table["candidates"], table["scheme"]["kind"], table["scheme"]["watched_phases"]
    found = dict(numbers(table))
    assert len(found) > 45
    plain = {key.rpartition(".")[2] for key, value in found.items() if not isinstance(value, dict)}
    assert plain == PLAIN
    sources = {key: value["source"] for key, value in found.items() if isinstance(value, dict)}
    assert sources.pop(".earthing.resistance_ohm") == "150 A at 6.35 kV; +-10 % assumed"
    assert [key for key, source in sources.items() if not source.startswith("assumed")] == []


def test_the_name_plate_is_in_the_file() -> None:
    table = tomllib.loads(starter_text(read_plate(GIVEN)))
    machine, ct, relay = table["machine"], table["ct"], table["relay"]
    assert (machine["rated_power_va"], machine["line_voltage_v"]) == (25e6, 11e3)
    assert (machine["frequency_hz"], ct["primary_a"], ct["secondary_a"]) == (60, 2000, 5)
    assert table["earthing"]["resistance_ohm"]["nominal"] == pytest.approx(42.34)
    assert (relay["rated_current_a"], relay["range_a"]) == (5, [0.025, 5])
    assert table["candidates"]["phase_pickup_a"] == [0.5, 1]
    assert "25 MVA" in table["study"]["title"]
    tiny = tomllib.loads(starter_text(Plate(mva=123.456789, kv=13.8, given=frozenset({"mva"}))))
    assert tiny["machine"]["rated_power_va"] == pytest.approx(123.456789e6, rel=1e-12)


def test_what_was_not_given_is_marked() -> None:
    some = starter_text(read_plate({"mva": "25", "kv": "11"}))
    assert re.search(r"^rated_power_va = 25e6 +# given$", some, re.MULTILINE)
    assert re.search(r"^frequency_hz = 50 +# assumed$", some, re.MULTILINE)
    assert re.search(r"^primary_a = 1500 +# assumed: next standard", some, re.MULTILINE)
    assert 'source = "assumed: 200 A at 6.35 kV, +-10 %"' in some
    assert "\n# Also assumed: 50 Hz; 200 A through the earthing resistor; CTs 1500/1 A.\n" in some
    assert "Also assumed" not in starter_text(read_plate(GIVEN))
    assert "nvented" not in some.partition("#   statorodds")[0]
    assert "# given" not in starter_text(Plate())


def test_both_come_from_one_template() -> None:
    """With the starter's own name-plate the same lines, but for the title and who says it."""
    own = {"mva": "8", "kv": "6.6", "hz": "50", "earthing-a": "200", "ct": "750/1"}
    one, other = (
        text.splitlines() for text in (starter_text(Plate()), starter_text(read_plate(own)))
    )
    differ = {line.partition("=")[0].strip() for line in set(one) ^ set(other) if "=" in line}
    assert differ == {
        "title",
        "rated_power_va",
        "line_voltage_v",
        "frequency_hz",
        "primary_a",
        "resistance_ohm",
        "existing",
        "# existing",
    }
    # the existing setting of a machine is no guess
    tables = [tomllib.loads("\n".join(lines)) for lines in (one, other)]
    for table in tables:
        del table["study"]["title"], table["earthing"]["resistance_ohm"]["source"]
        table["candidates"].pop("existing", None)
    assert tables[0] == tables[1]


def test_comments_beside_short_values_stand_below_each_other() -> None:
    columns = {
        line.index("  # ")
        for line in starter_text(Plate()).splitlines()
        if "  # " in line and len(line.partition("  # ")[0]) <= 30
    }
    assert columns == {30}
