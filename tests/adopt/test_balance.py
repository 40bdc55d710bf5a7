"""Units by mass balance: against the area of a circle, the units' definitions, and a folder that a person filled in.

By `conftest` a vessel's interface moves one inch for each 3 bbl: an upright cylinder of 3 bbl an inch.
"""

import math
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from nightgauge.adopt import Readings
from nightgauge.adopt.balance import balance_of, balanced_units
from nightgauge.physics.geometry import Shell
from nightgauge.pipeline.adopting import Adopted, adopt

Fleet = Mapping[str, tuple[str, str, Any]]
M3_PER_BBL, M_PER_IN = 0.158987294928, 0.0254
"""42 US gallons of 231 cubic inches; the international inch: by definition (NIST SP 811, from memory)."""
DIAMETER_M = math.sqrt(3.0 * M3_PER_BBL / M_PER_IN / (math.pi / 4.0))
UPRIGHT = Shell(DIAMETER_M, 3.0, "flat", "vertical")


def pair(fleet: Fleet, make_readings: Callable[..., Readings], level: float = 1.0, meter: float = 1.0) -> Readings:
    return make_readings({"L": fleet["LIT-101A"][2] * level, "M": fleet["FQI-101W"][2] * meter})


@pytest.mark.parametrize(
    ("level", "meter", "units"),
    [
        (1.0, 1.0, ("in", "bbl")),
        (1.0, M3_PER_BBL, ("in", "m3")),
        (25.4, 1.0, ("mm", "bbl")),
        (0.0254, M3_PER_BBL, ("m", "m3")),
        (1.0 / 12.0, 42.0, ("ft", "gal")),
    ],
)
def test_level_and_meter_balance_in_the_units_they_have(
    fleet: Fleet, make_readings: Callable[..., Readings], level: float, meter: float, units: tuple[str, str]
) -> None:
    found = balance_of(pair(fleet, make_readings, level, meter), 0, 1, UPRIGHT)
    assert found is not None
    assert (found.level_unit, found.meter_unit) == units
    assert found.ratio == pytest.approx(1.0, abs=0.15)  # inflow in the dump and five-minute blocks leave so much


def test_a_meter_that_balances_in_no_unit_gives_none(fleet: Fleet, make_readings: Callable[..., Readings]) -> None:
    # 2.5 times what bbl would be, as a wrong diameter or a wrong factor leaves it; no unit of volume is 0.4 bbl.
    assert balance_of(pair(fleet, make_readings, 1.0, 0.4), 0, 1, UPRIGHT) is None


def test_another_vessels_meter_does_not_balance(fleet: Fleet, make_readings: Callable[..., Readings]) -> None:
    strangers = make_readings({"L": fleet["LIT-101A"][2], "M": fleet["FQI-102W"][2]})
    assert balance_of(strangers, 0, 1, UPRIGHT) is None


def test_one_balanced_vessel_tells_the_units_of_the_others(
    fleet: Fleet, make_readings: Callable[..., Readings]
) -> None:
    readings = make_readings(
        {tag: fleet[tag][2] for tag in ("LIT-101A", "FQI-101W", "LIT-102A", "FQI-102C", "PIT-102")}
    )
    signals = {
        "V-101": {"interface_level": 0, "water_total": 1},
        "V-102": {"interface_level": 2, "oil_total": 3, "vessel_pressure": 4},
    }
    found = balanced_units(readings, signals, {"V-101": UPRIGHT})
    assert found.units == {0: "in", 1: "bbl", 2: "in", 3: "bbl"}
    assert "other vessels" in found.why[2]
    assert balanced_units(readings, signals, {}).units == {}


def test_dimensions_filled_in_give_units_when_it_is_run_again(tmp_path: Path, fleet: Fleet) -> None:
    exports, out = tmp_path / "exports", tmp_path / "field"
    exports.mkdir()
    first = 1_777_000_000
    pl.concat(
        pl.DataFrame({
            "tag": tag, "timestamp": range(first, first + 60 * len(values), 60),
            "value": values * M3_PER_BBL if signal.endswith("_total") else values,
        })
        for tag, (_, signal, values) in fleet.items()
    ).write_parquet(exports / "week.parquet")  # fmt: skip

    def drafted() -> Adopted:
        return adopt([exports], out, "UTC", datetime(2026, 6, 1, tzinfo=UTC))

    before = {row.tag: row.unit for row in drafted().draft.rows}
    assert before["FQI-101W"] == "bbl"  # in the company of psig and inches
    text = (out / "field.toml").read_text()
    for key, value in (
        ("orientation", '"vertical"'), ("inside_diameter", f'"{DIAMETER_M} m"'), ("length", '"3 m"'),
        ("heads", '"flat"'),
    ):  # fmt: skip
        blank = next(line for line in text.splitlines() if line.startswith(f"# {key} = "))
        text = text.replace(blank, f"{key} = {value}", 1)
    (out / "field.toml").write_text(text)
    again = drafted()
    after = {row.tag: row.unit for row in again.draft.rows}
    assert {after[tag] for tag in ("FQI-101W", "FQI-101C", "FQI-102W", "FQI-103W")} == {"m3"}
    assert after["LIT-103A"] == "in"
    assert "mass balance" in again.page.read_text()
