"""The rows of VESSEL_HOURS of one day."""

from dataclasses import dataclass

import numpy as np

from nightgauge.derive.cuts import Cuts, metered
from nightgauge.derive.cycles import Found, from_switch
from nightgauge.derive.dump_hours import dump_columns, spans_open
from nightgauge.derive.facts import Facts
from nightgauge.derive.known import Track
from nightgauge.derive.load import Rates, water_inflow
from nightgauge.derive.plant import Plant
from nightgauge.derive.retention import Means, retention_columns
from nightgauge.derive.spans import Floats, Span
from nightgauge.derive.totals import DAY_S


@dataclass(frozen=True)
class Hours:
    """The columns of VESSEL_HOURS of one day, and the pieces of signals they were made from."""

    columns: dict[str, object]
    cuts: Cuts
    inflow: Rates
    """Of water, from a day before the day to the end of what is seen."""
    known: Facts
    """Of the dumps that are seen."""
    open_spans: Span
    """When the dump was open."""

    def number(self, name: str) -> Floats:
        """Return a column of numbers, NaN where it has none."""
        found = self.columns.get(name)
        return np.full(self.cuts.count, np.nan) if found is None else np.asarray(found, dtype=np.float64)


def hour_columns(plant: Plant, found: Found, known: Facts) -> Hours:
    """Return the hours of the plant's day, without the pressures held."""
    cuts = Cuts(plant)
    open_spans = spans_open(plant, found)
    inflow = water_inflow(plant, found, known, open_spans, plant.day.edges_around_us(plant.seen.end_us))
    load = inflow.mean_per_hour(plant.day.edges_us)
    outlets = _outlet_columns(plant, cuts)
    columns: dict[str, object] = {
        "vessel": [plant.vessel.id] * cuts.count,
        "hour_utc": plant.day.hours_us,
        "well_on_test": _most_of_the_time(plant.track("well_on_test"), cuts),
        "water_load_m3_per_day": load,
        **dump_columns(plant, found, known, cuts, open_spans),
        **outlets,
        **{f"coverage_{name}": known_s / cuts.length_s for name, known_s in cuts.most_known_s.items()},
        **retention_columns(plant, hourly_means(cuts), load, outlets["oil_load_m3_per_day"]),
    }
    return Hours(columns, cuts, inflow, known, open_spans)


def hourly_means(cuts: Cuts) -> Means:
    """Return the means that retention asks for, by hour."""
    return Means(*(cuts.mean(name) for name in _signals_of_means(cuts.plant)))


def daily_means(cuts: Cuts) -> Means:
    """Return the means that retention asks for, over the day."""
    return Means(*(np.array([cuts.day_mean(name)]) for name in _signals_of_means(cuts.plant)))


def _signals_of_means(plant: Plant) -> tuple[str, ...]:
    interface = plant.interface.signal if plant.interface is not None else "interface_level"
    return (interface, "oil_level", "temperature", "vessel_pressure", "gas_rate")


def _outlet_columns(plant: Plant, cuts: Cuts) -> dict[str, Floats]:
    oil_meter = plant.track("oil_total")
    if oil_meter is None or oil_meter.start_us.size == 0:
        oil_meter = plant.track("oil_rate")
    oil = metered(plant.oil, oil_meter, cuts)
    oil_known_s = cuts.known_s(oil_meter.signal) if oil_meter is not None else np.zeros(cuts.count)
    gas = cuts.mean("gas_rate") * cuts.known_s("gas_rate") / DAY_S
    scrubber = _scrubber_dumps(plant, cuts)
    with np.errstate(invalid="ignore", divide="ignore"):
        oil_load = np.where(oil_known_s > 0, oil / oil_known_s * DAY_S, np.nan)
        per_gas = np.where(gas > 0.0, scrubber / gas * 1000.0, np.nan)
    return {
        "oil_m3": oil,
        "gas_m3": gas,
        "oil_load_m3_per_day": oil_load,
        "water_in_oil_fraction": cuts.mean("oil_water_cut"),
        "oil_in_water_mg_l": cuts.mean("water_oil_content"),
        "scrubber_dumps": scrubber,
        "scrubber_dumps_per_1000m3_gas": per_gas,
        "pressure_sag_kpa": cuts.median("vessel_pressure") - cuts.lowest("vessel_pressure"),
    }


def _scrubber_dumps(plant: Plant, cuts: Cuts) -> Floats:
    switch = plant.track("scrubber_dump_open")
    if switch is None:
        return np.full(cuts.count, np.nan)
    edges = plant.day.edges_us
    opened = from_switch(switch).dumps.opened_us
    hour = np.searchsorted(edges, opened, side="right") - 1
    today = (opened >= edges[0]) & (opened < edges[-1])
    dumps = np.bincount(hour[today], minlength=cuts.count).astype(np.float64)
    return np.where(cuts.known_s("scrubber_dump_open") > 0.0, dumps, np.nan)


def _most_of_the_time(track: Track | None, cuts: Cuts) -> list[str | None]:
    if track is None or not track.labels:
        return [None] * cuts.count
    cut = cuts.by_signal[track.signal]
    time = np.zeros((cuts.count, len(track.labels)))
    np.add.at(time, (cut.bin, cut.start_value.astype(np.int64)), cut.length_s)
    return [track.labels[int(np.argmax(row))] if row.max() > 0 else None for row in time]
