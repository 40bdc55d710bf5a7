"""One number of each dump over weeks: every dump as a dot, or where they are many their middle and range."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import polars as pl

from nightgauge.report.charts import Layer, milliseconds
from nightgauge.report.quantities import display_column
from nightgauge.report.scene import Scene, stamp
from nightgauge.report.words import day_text

_DOTS = 200
"""More dumps than this are drawn as median and range of each of so many columns. House choice: dots must not touch."""
_COLUMNS = 140
_FAR = 1.5
"""A value further outside the middle 96 % than this many of its widths is drawn at the edge. House choice: one dump
after a stuck float must not flatten all the others."""

Span = tuple[datetime, datetime]


@dataclass(frozen=True)
class _Asked:
    """Which number of the dumps, in which unit, over which span."""

    scene: Scene
    column: str
    unit: str
    span: Span

    @property
    def si(self) -> str:
        return "s" if self.unit == "min" else self.unit

    def shown(self, values: pl.Series) -> list[float]:
        found, _ = display_column(values, self.si, self.scene.field.display_units, self.column)
        return [float(f"{value:.5g}") for value in found / (60.0 if self.unit == "min" else 1.0)]

    def said(self, value: float) -> str:
        return self.scene.said(value, self.si, self.column)

    def times(self, times: pl.Series) -> list[int]:
        return milliseconds(times, self.span[1], self.scene.field.zone)


def dump_layers(scene: Scene, column: str, unit: str, span: Span, kind: str = "points") -> tuple[Layer, ...]:
    """Return one number of the dumps in a span as layers; none where it is not known.

    Parameters
    ----------
    scene : Scene
        With the vessel's cycles.
    column, unit : str
        Of DUMP_CYCLES; durations are drawn as they are asked for: "s" or "min".
    span : pair of datetime
        Of the chart.
    kind : {"points", "open_points"}
        Shape of the dots.

    """
    known = scene.cycles.filter(pl.col("opened_utc").is_between(*span) & pl.col(column).is_not_null()).select(
        time="opened_utc", value=pl.col(column).cast(pl.Float64)
    )
    if known.is_empty():
        return ()
    low, high = _bounds(known["value"])
    inside = known.filter(pl.col("value").is_between(low, high))
    outside = known.filter(~pl.col("value").is_between(low, high))
    asked = _Asked(scene, column, unit, span)
    drawn = (_dots(asked, inside, kind),) if inside.height <= _DOTS else _binned(asked, inside, kind)
    if outside.is_empty():
        return drawn
    far, edges = _dots(asked, outside.tail(_DOTS), "outside"), asked.shown(pl.Series([low, high]))
    return (*drawn, Layer("outside", far.columns | {"y": _clipped(far.columns["y"], edges[0], edges[1])}))


def _bounds(values: pl.Series) -> tuple[float, float]:
    low, high = values.quantile(0.02, "linear") or 0.0, values.quantile(0.98, "linear") or 0.0
    room = _FAR * max(high - low, 1e-9 + 0.02 * abs(high))
    return low - room, high + room


def _clipped(values: Sequence[float], low: float, high: float) -> list[float]:
    return [min(max(value, low), high) for value in values]


def _dots(asked: _Asked, known: pl.DataFrame, kind: str) -> Layer:
    columns: dict[str, list[Any]] = {
        "t": asked.times(known["time"]),
        "y": asked.shown(known["value"]),
        "when": [stamp(asked.scene, time) for time in known["time"]],
        "found": [asked.said(value) for value in known["value"]],
    }
    return Layer(kind, columns)


def _binned(asked: _Asked, known: pl.DataFrame, kind: str) -> tuple[Layer, Layer]:
    start, end = asked.span
    place = (pl.col("time") - start).dt.total_microseconds() / ((end - start).total_seconds() * 1e6 / _COLUMNS)
    bins = known.group_by(place.floor().alias("place"), maintain_order=True).agg(
        pl.col("time").get(pl.len() // 2), middle=pl.col("value").median(), low=pl.col("value").min(),
        high=pl.col("value").max(), count=pl.len(),
    )  # fmt: skip
    times, counts = asked.times(bins["time"]), zip(bins["count"], bins["middle"], strict=True)
    columns: dict[str, list[Any]] = {
        "t": times,
        "y": asked.shown(bins["middle"]),
        "when": [day_text(time.astimezone(asked.scene.field.zone).date()) for time in bins["time"]],
        "found": [f"median of {count} dumps {asked.said(value)}" for count, value in counts],
    }
    low, high = asked.shown(bins["low"]), asked.shown(bins["high"])
    return Layer("range", {"t": times, "y": low, "y2": high}, "quiet"), Layer(kind, columns)
