"""What a picture of one finding may look at, and the columns it takes from there."""

from dataclasses import dataclass
from dataclasses import field as default
from datetime import UTC, date, datetime, timedelta
from typing import Any

import polars as pl

from nightgauge.field.settings import Field, Vessel
from nightgauge.report.charts import PIXELS, Chart, Layer, Mark, milliseconds
from nightgauge.report.quantities import display_column, shown
from nightgauge.report.thin import known_runs, thinned
from nightgauge.report.words import day_text, moment, since
from nightgauge.vocabulary.frames import SIGNAL_HOURS, TIME, WELL_TESTS

DAY_MS = 86_400_000
BAND_DAYS_AT_LEAST = 5
"""Days before the onset below which no band of usual days is drawn. House choice: a 10-90 % band of fewer is noise."""


@dataclass(frozen=True)
class Picture:
    """Charts under one title; the key says what the shapes are."""

    title: str
    charts: tuple[Chart, ...]
    key: tuple[tuple[str, str], ...] = ()
    """Pairs of shape ("line water", "dot ink", "strip", "band", "area") and words."""


@dataclass(frozen=True)
class Scene:
    """One finding with the frames of its vessel."""

    finding: dict[str, Any]
    vessel: Vessel
    field: Field
    until: datetime
    days: pl.DataFrame
    hours: pl.DataFrame
    cycles: pl.DataFrame
    trace: pl.DataFrame | None
    tests: pl.DataFrame = default(default_factory=WELL_TESTS.empty)
    """Of all wells."""
    currents: pl.DataFrame = default(default_factory=SIGNAL_HOURS.empty)
    """Of all anodes."""

    @property
    def onset(self) -> datetime | None:
        """Return the estimated start of the fault."""
        onset: datetime | None = self.finding["onset"]
        return onset

    @property
    def onset_words(self) -> str:
        """Return the onset as the charts label it."""
        return "" if self.onset is None else f"since {since(self.onset, self.until, self.field.zone)}"

    @property
    def turns(self) -> dict[str, Any]:
        """Return onset and end as a chart takes them."""
        return {"onset": self.onset, "onset_words": self.onset_words, "ended": self.finding["cleared_at"]}

    def said(self, value: float, unit: str, about: str = "") -> str:
        """Return an inside value as people read it."""
        return str(shown(value, unit, self.field.display_units, about))

    def mark(self, value: float | None, unit: str, verb: str) -> tuple[Mark, ...]:
        """Return a setting as a mark across the chart: "opens 46.0 in"; none where it is not set."""
        if value is None:
            return ()
        number, _ = display_column(pl.Series([value]), unit, self.field.display_units)
        return (Mark(round(number.item(), 6), f"{verb} {self.said(value, unit)}"),)


def day_span(scene: Scene) -> tuple[datetime, datetime]:
    """Return the field midnights that bound the days in view, as UTC."""
    zone = scene.field.zone
    days: list[date] = scene.days["day"].sort().to_list()
    if not days:
        return scene.until - timedelta(days=1), scene.until
    start = datetime.combine(days[0], datetime.min.time(), zone)
    end = datetime.combine(days[-1] + timedelta(days=1), datetime.min.time(), zone)
    return start.astimezone(UTC), end.astimezone(UTC)


def daily_layer(scene: Scene, column: str, unit: str, *, kind: str = "points", colour: str = "ink") -> Layer:
    """Return one value a day as dots at noon, or as bars a day wide."""
    known = scene.days.select("day", value=pl.col(column)).filter(pl.col("value").is_not_null())
    values, _ = display_column(known["value"].cast(pl.Float64), unit, scene.field.display_units, column)
    midnight = known["day"].cast(pl.Datetime("ms")).dt.epoch("ms")
    columns: dict[str, list[Any]] = {
        "t": (midnight + (DAY_MS // 8 if kind == "bars" else DAY_MS // 2)).to_list(),
        "y": [float(f"{value:.5g}") for value in values],
        "when": [day_text(day) for day in known["day"]],
        "found": [f"{scene.said(value, unit, column)}" for value in known["value"].cast(pl.Float64)],
    }
    if kind == "bars":
        columns["t2"] = (midnight + DAY_MS * 7 // 8).to_list()
    return Layer(kind, columns, colour)


def usual_band(scene: Scene, column: str, unit: str) -> tuple[Layer, ...]:
    """Return the band that held eight days of ten before the onset, drawn across the chart; none with few days."""
    if scene.onset is None:
        return ()
    start, end = day_span(scene)
    before = scene.days.filter(pl.col("day") < scene.onset.astimezone(scene.field.zone).date())[column].drop_nulls()
    if len(before) < BAND_DAYS_AT_LEAST:
        return ()
    edges = pl.Series([before.quantile(0.1, "linear"), before.quantile(0.9, "linear")], dtype=pl.Float64)
    low, high = display_column(edges, unit, scene.field.display_units, column)[0]
    times = milliseconds(pl.Series([start, end], dtype=TIME), end, scene.field.zone)
    return (Layer("band", {"t": [times[0]], "t2": [times[1]], "y": [low], "y2": [high]}, "band"),)


def trace_layer(
    scene: Scene, signal: str, start: datetime, end: datetime, unit: str, pixels: int = PIXELS
) -> Layer | None:
    """Return a signal between two times as a line with its gaps, thinned to the chart's pixels; None without it."""
    if scene.trace is None:
        return None
    samples = scene.trace.filter(pl.col("signal") == signal).sort("time_utc", maintain_order=True)
    points = thinned(known_runs(samples), start, end, pixels)
    if points["value"].drop_nulls().is_empty():
        return None
    values, _ = display_column(points["value"], unit, scene.field.display_units, signal)
    times = milliseconds(points["time_utc"], end, scene.field.zone)
    return Layer("line", {"t": times, "y": [None if v is None else float(f"{v:.5g}") for v in values]})


def dump_strip(scene: Scene, start: datetime, end: datetime) -> tuple[Layer, ...]:
    """Return the dumps between two times as a strip of bars along the chart's foot, never narrower than a pixel."""
    inside = scene.cycles.filter((pl.col("opened_utc") < end) & (pl.col("shut_utc").fill_null(end) > start)).select(
        opened=pl.col("opened_utc").clip(start, end), shut=pl.col("shut_utc").fill_null(end).clip(start, end)
    )
    if inside.is_empty():
        return ()
    pixel = (end - start) / PIXELS
    merged = inside.with_columns(pl.max_horizontal("shut", pl.col("opened") + pixel)).filter(
        (pl.col("opened") - pl.col("opened").shift(1) >= pixel).fill_null(value=True)
    )
    zone = scene.field.zone
    opened, shut = (milliseconds(merged[name], end, zone) for name in ("opened", "shut"))
    return (Layer("strip", {"t": opened, "t2": shut}, "water"),)


def stamp(scene: Scene, time: datetime) -> str:
    """Return a time for a tooltip."""
    return moment(time, scene.field.zone)
