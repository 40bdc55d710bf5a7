"""A vessel as its historian sees it: a tripping dump, its level, its meters, its pressures, by plain arithmetic."""

from collections.abc import Callable, Mapping

import numpy as np
import numpy.typing as npt
import polars as pl
import pytest

from nightgauge.adopt import Readings

MINUTES = 5 * 1440
FIRST_S = 1_777_000_000.0

Floats = npt.NDArray[np.float64]


def vessel(seed: int) -> dict[str, Floats]:
    """Return a vessel's signals minute by minute: fills for tens of minutes, dumps for a few, never twice alike."""
    rng = np.random.default_rng(seed)
    level, is_open, water, oil = 44.0, False, 0.0, 0.0
    pressure, made = 45.0, []
    inflow = 0.2 + 0.1 * rng.random()
    for minute in range(MINUTES):
        if minute % 240 == 0:
            inflow = 0.12 + 0.25 * rng.random()
        is_open = (is_open or level >= 48.0) and level > 40.0
        flow = 1.4 if is_open else 0.0
        level += inflow - flow
        water += 3.0 * flow
        oil += 0.0 if is_open else 0.6 * inflow
        pressure += 0.3 * (45.0 - 2.5 * is_open - pressure) + 0.02 * rng.standard_normal()
        made.append((level, float(is_open), water, oil, pressure, pressure + 3.0 + 9.0 * inflow))
    columns = np.array(made).T
    names = ("interface_level", "water_dump_open", "water_total", "oil_total", "vessel_pressure", "inlet_pressure")
    day = np.sin(2.0 * np.pi * np.arange(MINUTES) / 1440.0)
    signals = dict(zip(names, columns, strict=True))
    signals["interface_level"] = np.round(signals["interface_level"] + 0.03 * rng.standard_normal(MINUTES), 2)
    return signals | {"temperature": np.round(95.0 + 4.0 * day + 0.05 * rng.standard_normal(MINUTES), 1)}


def readings_of(columns: Mapping[str, Floats], **kept: object) -> Readings:
    """Return readings with one tag for each column."""
    time_s = FIRST_S + 60.0 * np.arange(MINUTES)
    parts = [
        pl.DataFrame(
            {"tag_id": np.full(values.size, place, np.int32), "time_s": time_s[: values.size], "value": values}
        )
        for place, values in enumerate(columns.values())
    ]
    return Readings(tuple(columns), pl.concat(parts), **kept)  # type: ignore[arg-type]


LETTERS = {
    "interface_level": "LIT-{n}A", "water_dump_open": "ZSO-{n}W", "water_total": "FQI-{n}W", "oil_total": "FQI-{n}C",
    "vessel_pressure": "PIT-{n}", "inlet_pressure": "PIT-{n}H", "temperature": "TIT-{n}",
}  # fmt: skip


@pytest.fixture(scope="session")
def fleet() -> dict[str, tuple[str, str, Floats]]:
    """Three vessels: by tag its vessel, its signal and its values."""
    return {
        LETTERS[signal].format(n=number): (str(number), signal, values)
        for number in (101, 102, 103)
        for signal, values in vessel(number).items()
    }


@pytest.fixture(scope="session")
def make_readings() -> Callable[..., Readings]:
    """Return the builder of readings."""
    return readings_of
