"""A well's tests over time: accepted ones with their uncertainty, rejected ones as quiet crosses, the range before."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from nightgauge.report.charts import Chart, Layer, milliseconds
from nightgauge.report.quantities import display_column, percent
from nightgauge.report.scene import Picture, Scene, stamp
from nightgauge.vocabulary.frames import TIME

_BEFORE_AT_LEAST = 3
"""Accepted tests before the onset below which no range is drawn. House choice: of two, half of all lie outside."""
_COVER = 2.0
"""Standard uncertainties either way: 95 %, as the guide to the expression of uncertainty (GUM, 6.3.3) reports them."""
_SAME = 0.01
"""Change of the median below which a rate is called the same. House choice: no test of a well is closer."""
_ROOM = timedelta(days=1)
_HEIGHT_PX = 130


@dataclass(frozen=True)
class _Rate:
    """One rate of the tests: its name, column and the column of its standard uncertainty."""

    name: str
    column: str
    uncertainty: str
    colour: str


_LIQUID = _Rate("liquid", "liquid_m3_per_day", "liquid_uncertainty_m3_per_day", "ink")
_WATER = _Rate("water", "water_m3_per_day", "water_uncertainty_m3_per_day", "water")
_OIL = _Rate("oil", "oil_m3_per_day", "oil_uncertainty_m3_per_day", "oil")


def well_tests(scene: Scene) -> Picture | None:
    """Return the rates of the finding's well test by test; None where the well has none."""
    _, _, well = scene.finding["element"].partition(":")
    tests = _with_liquid(scene.tests.filter(pl.col("well") == well).sort("start_utc", maintain_order=True))
    rates = [rate for rate in (_LIQUID, _WATER, _OIL) if tests[rate.column].drop_nulls().len()]
    if _LIQUID in rates:
        rates.remove(_WATER)
    if not rates:
        return None
    first: datetime = tests["start_utc"].to_list()[0]
    # A test has no width of its own: without room the first would lie on the axis.
    span = (first - _ROOM, scene.until)
    charts = tuple(_chart(scene, tests, rate, span) for rate in rates)
    return Picture(_title(scene, well, tests, rates), charts, _key(tests, charts))


def _with_liquid(tests: pl.DataFrame) -> pl.DataFrame:
    """Add the liquid rate, where water and oil are both known, and its uncertainty, as of independent meters."""
    water, oil = (pl.col(rate.uncertainty) for rate in (_WATER, _OIL))
    return tests.with_columns(
        (pl.col(_WATER.column) + pl.col(_OIL.column)).alias(_LIQUID.column),
        (water**2 + oil**2).sqrt().alias(_LIQUID.uncertainty),
    )


def _chart(scene: Scene, tests: pl.DataFrame, rate: _Rate, span: tuple[datetime, datetime]) -> Chart:
    known = tests.filter(pl.col(rate.column).is_not_null())
    accepted, rejected = (known.filter(pl.col("state") == state) for state in ("accepted", "rejected"))
    layers = (
        *_range_before(scene, accepted, rate, span),
        *_bars(scene, accepted, rate, span),
        _points(scene, accepted, rate, span, "points"),
        _points(scene, rejected, rate, span, "crosses"),
    )
    unit = display_column(pl.Series([0.0]), "m3/day", scene.field.display_units)[1]
    return Chart(
        *span, scene.field.zone, f"{rate.name}, {unit}", tuple(layer for layer in layers if layer.columns["t"]),
        **scene.turns, height=_HEIGHT_PX,
    )  # fmt: skip


def _shown(scene: Scene, values: pl.Series) -> list[float]:
    return [float(f"{value:.5g}") for value in display_column(values, "m3/day", scene.field.display_units)[0]]


def _points(scene: Scene, tests: pl.DataFrame, rate: _Rate, span: tuple[datetime, datetime], kind: str) -> Layer:
    values = tests[rate.column]
    columns: dict[str, list[Any]] = {
        "t": milliseconds(tests["start_utc"], span[1], scene.field.zone),
        "y": _shown(scene, values),
        "when": [stamp(scene, time) for time in tests["start_utc"]],
        "found": [
            f"{scene.said(value, 'm3/day')}{f', rejected: {reason}' if kind == 'crosses' and reason else ''}"
            for value, reason in zip(values, tests["reason"], strict=True)
        ],
    }
    return Layer(kind, columns, "quiet" if kind == "crosses" else rate.colour)


def _bars(scene: Scene, tests: pl.DataFrame, rate: _Rate, span: tuple[datetime, datetime]) -> tuple[Layer, ...]:
    """Return what 95 of 100 such tests would lie within, for the tests whose uncertainty is known."""
    sure = tests.filter(pl.col(rate.uncertainty).is_not_null())
    half = _COVER * sure[rate.uncertainty]
    times = milliseconds(sure["start_utc"], span[1], scene.field.zone)
    low, high = _shown(scene, sure[rate.column] - half), _shown(scene, sure[rate.column] + half)
    return (Layer("range", {"t": times, "y": low, "y2": high}, rate.colour),)


def _range_before(scene: Scene, tests: pl.DataFrame, rate: _Rate, span: tuple[datetime, datetime]) -> tuple[Layer, ...]:
    """Return the range of the accepted tests before the onset, drawn across the chart; none of few tests."""
    if scene.onset is None:
        return ()
    before = _shown(scene, tests.filter(pl.col("start_utc") < scene.onset)[rate.column])
    if len(before) < _BEFORE_AT_LEAST:
        return ()
    times = milliseconds(pl.Series(span, dtype=TIME), span[1], scene.field.zone)
    return (Layer("band", {"t": [times[0]], "t2": [times[1]], "y": [min(before)], "y2": [max(before)]}, "band"),)


def _title(scene: Scene, well: str, tests: pl.DataFrame, rates: list[_Rate]) -> str:
    """Say by how much the medians of the accepted tests have changed since the onset."""
    if scene.onset is None:
        return f"The tests of well {well}"
    accepted = tests.filter(pl.col("state") == "accepted")
    told = []
    for rate in rates:
        before, after = (
            accepted.filter(side)[rate.column].drop_nulls().median()
            for side in (pl.col("start_utc") < scene.onset, pl.col("start_utc") >= scene.onset)
        )
        if isinstance(before, float) and isinstance(after, float) and before > 0:
            change = after / before - 1.0
            way = "the same" if abs(change) < _SAME else f"{percent(abs(change))} {'more' if change > 0 else 'less'}"
            told.append(f"{rate.name} {way}")
    return f"Tests of well {well} since the onset: {', '.join(told)}" if told else f"The tests of well {well}"


def _key(tests: pl.DataFrame, charts: tuple[Chart, ...]) -> tuple[tuple[str, str], ...]:
    kinds = {layer.kind for chart in charts for layer in chart.layers}
    words = (
        ("points", "dot ink", "accepted test"),
        ("range", "tall ink", "± 2 standard uncertainties"),
        ("crosses", "cross quiet", "rejected test"),
        ("band", "band", "accepted tests before the onset, lowest to highest"),
    )
    return tuple((look, said) for kind, look, said in words if kind in kinds)
