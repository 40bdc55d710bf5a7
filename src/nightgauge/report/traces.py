"""The stacked traces of a valve page, and its series dump by dump or day by day."""

from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from nightgauge.report.cards import ChartShown, safe_json
from nightgauge.report.charts import PIXELS, Chart, Layer, Mark, alternative, milliseconds, specification
from nightgauge.report.cycles import MEASURES
from nightgauge.report.dumps import dump_layers
from nightgauge.report.quantities import display_column
from nightgauge.report.scene import Scene, daily_layer, day_span, dump_strip, trace_layer
from nightgauge.vocabulary.frames import TIME
from nightgauge.vocabulary.signals import signal_of, signal_words

_CLOSER = 12
"""How many times finer than the chart's pixels a trace is kept, so that a reader may look closer. House choice."""
_TRACED = {
    "water_dump": (
        "interface_level", "vessel_pressure", "water_rate", "water_total", "water_dump_position", "oil_water_cut",
    ),
    "oil_valve": ("vessel_pressure", "inlet_pressure", "oil_rate", "oil_valve_position", "gas_rate"),
    "gas_valve": ("vessel_pressure", "gas_rate", "gas_valve_position", "scrubber_level", "oil_rate"),
}  # fmt: skip
_COLOURS = {"interface_level": "water", "water_rate": "water", "water_total": "water", "oil_rate": "oil"}
_HEIGHT_PX = 130
_SERIES_HEIGHT_PX = 110
_MINUTES_FROM_S = 600.0
_ROOM_RIGHT_PX = 126


@dataclass(frozen=True)
class Traces:
    """Charts one under the other over one time, and the small one above them that chooses a part of it."""

    start_ms: int
    end_ms: int
    overview: ChartShown
    charts: tuple[tuple[str, ChartShown], ...]


def traces(scene: Scene, element: str, start: datetime, end: datetime) -> Traces | None:
    """Return the element's traces between two times, or None where it has none."""
    made = [(signal, chart) for signal in _TRACED.get(element, _TRACED["water_dump"])
            if (chart := _trace(scene, signal, start, end)) is not None]  # fmt: skip
    if not made:
        return None
    ends = milliseconds(pl.Series([start, end], dtype=TIME), end, scene.field.zone)
    return Traces(ends[0], ends[1], _overview(made[0][1]), tuple((signal_words(s), _shown(c, s)) for s, c in made))


def _shown(chart: Chart, signal: str) -> ChartShown:
    words = alternative(chart, signal_words(signal).capitalize())
    return ChartShown(safe_json(specification(chart)), words, chart.height + 46)


def _overview(chart: Chart) -> ChartShown:
    """Return the first trace again, low and without marks, with a brush along its time."""
    low = Chart(chart.start, chart.end, chart.zone, "drag to look closer", chart.layers[:1], height=44,
                room_right=_ROOM_RIGHT_PX)  # fmt: skip
    spec = specification(low)
    (line,) = [layer for layer in spec["layer"] if layer["data"]["name"] == "layer0"]
    line["params"] = [{"name": "span", "select": {"type": "interval", "encodings": ["x"]}}]
    return ChartShown(safe_json(spec), "The whole period, to choose a part of it; buttons do the same.", 90)


def _trace(scene: Scene, signal: str, start: datetime, end: datetime) -> Chart | None:
    unit = signal_of(signal).si
    seen = _counted(scene, start) if signal == "water_total" else scene
    line = trace_layer(seen, signal, start, end, unit, PIXELS * _CLOSER)
    if line is None:
        return None
    strip = dump_strip(scene, start, end) if signal in {"interface_level", "vessel_pressure"} else ()
    shown_unit = display_column(pl.Series([0.0]), unit, scene.field.display_units, signal)[1]
    words = "water counted" if signal == "water_total" else signal_words(signal)
    coloured = Layer(line.kind, line.columns, _COLOURS.get(signal, "ink"))
    return Chart(start, end, scene.field.zone, f"{words}, {shown_unit}", (coloured, *strip),
                 _marks(scene, signal, end), height=_HEIGHT_PX, room_right=_ROOM_RIGHT_PX)  # fmt: skip


def _counted(scene: Scene, start: datetime) -> Scene:
    """Return the scene with its totaliser counted on from the start: steps back (resets, roll-over) count as none."""
    if scene.trace is None:
        return scene
    total = scene.trace.filter((pl.col("signal") == "water_total") & pl.col("value").is_not_null()).sort("time_utc")
    total = total.filter(pl.col("time_utc") >= start)
    counted = total.with_columns(value=pl.col("value").diff().clip(lower_bound=0.0).fill_null(0.0).cum_sum())
    return Scene(**(scene.__dict__ | {"trace": counted}))


def _marks(scene: Scene, signal: str, when: datetime) -> tuple[Mark, ...]:
    vessel = scene.vessel
    if signal == "interface_level":
        dump = vessel.water_dump_at(when)
        marks = scene.mark(dump.opens_at_m, "m", "opens") + scene.mark(dump.closes_at_m, "m", "shuts")
        return marks + scene.mark(dump.holds_m, "m", "holds")
    if signal == "vessel_pressure":
        oil, gas = vessel.oil_valve_at(when).holds_kpag, vessel.gas_valve_at(when).holds_kpag
        return scene.mark(oil, "kPag", "oil valve") + scene.mark(gas, "kPag", "gas valve")
    return ()


def cycle_charts(
    scene: Scene, span: tuple[datetime, datetime], period_start: datetime
) -> tuple[tuple[str, Chart], ...]:
    """Return a small chart for each measure of the dumps: title and chart; the period's start is a thin line."""
    made = []
    for measure in MEASURES:
        is_long = measure.unit == "s" and (_median(scene.cycles[measure.column]) or 0.0) > _MINUTES_FROM_S
        unit = "min" if is_long else measure.unit
        dots = dump_layers(scene, measure.column, unit, span)
        if not dots:
            continue
        shown_unit = display_column(pl.Series([0.0]), unit, scene.field.display_units)[1]
        chart = Chart(*span, scene.field.zone, shown_unit or "gpm at 1 psi", dots, onset=period_start,
                      onset_words="this period", height=_SERIES_HEIGHT_PX)  # fmt: skip
        made.append((measure.words[0].upper() + measure.words[1:], chart))
    return tuple(made)


def _median(values: pl.Series) -> float | None:
    found = values.drop_nulls().median()
    return found if isinstance(found, float) else None


def day_charts(scene: Scene, element: str) -> tuple[tuple[str, Chart], ...]:
    """Return the days' held pressures, or the held interface of a throttling dump: title and chart."""
    columns = {
        "oil_valve": (("oil_hold_kpag", "kPag", "Pressure the oil valve holds, load taken out"),),
        "gas_valve": (("gas_clip_kpag", "kPag", "Pressure that clips the peaks"),
                      ("oil_hold_kpag", "kPag", "Pressure the oil valve holds, load taken out")),
        "water_dump": (("held_interface_m", "m", "Mean interface of the day"),),
    }  # fmt: skip
    if scene.days.is_empty():
        return ()
    start, end = day_span(scene)
    made = []
    for column, unit, title in columns.get(element, ()):
        dots = daily_layer(scene, column, unit)
        signal = "interface_level" if unit == "m" else "vessel_pressure"
        shown_unit = display_column(pl.Series([0.0]), unit, scene.field.display_units)[1]
        chart = Chart(
            start, end, scene.field.zone, shown_unit, (dots,), _marks(scene, signal, end - timedelta(hours=1))
        )
        if not chart.is_empty:
            made.append((title, chart))
    return tuple(made)
