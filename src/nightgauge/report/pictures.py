"""One picture per finding: the view of the data that proves it, its answer as the title in words."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from nightgauge.report.anode_current import anode_current
from nightgauge.report.charts import PIXELS, Chart, Layer, Mark, milliseconds
from nightgauge.report.dumps import dump_layers
from nightgauge.report.quantities import display_column
from nightgauge.report.scene import (
    Picture,
    Scene,
    daily_layer,
    day_span,
    dump_strip,
    stamp,
    trace_layer,
    usual_band,
)  # fmt: skip
from nightgauge.report.thin import thinned
from nightgauge.report.well_tests import well_tests
from nightgauge.report.words import signal_of
from nightgauge.vocabulary import signals
from nightgauge.vocabulary.signals import signal_words

_TRACE_BEFORE = timedelta(hours=24)
_TRACE_AFTER = timedelta(hours=48)
_FROZEN_BEFORE = timedelta(hours=48)
_RETENTION_TOP = 3.0
"""Retention is drawn up to this many times the requirement: what lies above does not bear on the question."""
_TRACED_KINDS = {
    "float_stuck_closed", "float_stuck_open", "float_sticking", "dump_leaking", "dump_hunting", "gas_in_liquid",
    "pressure_not_held", "pressure_near_limit", "back_pressure_hunting", "instrument_frozen", "instrument_drift",
    "instrument_noisy", "dump_short_cycling",
}  # fmt: skip
_LOW_HEIGHT_PX = 90


def picture_window(finding: Mapping[str, Any], until: datetime) -> tuple[datetime, datetime] | None:
    """Return the time span of samples that the finding's picture needs, or None where days and hours do.

    Parameters
    ----------
    finding : mapping
        One row of FINDINGS.
    until : datetime
        Data judged up to here; the span never reaches beyond.

    """
    onset: datetime | None = finding["onset"]
    if finding["kind"] not in _TRACED_KINDS or onset is None:
        return None
    before = _FROZEN_BEFORE if finding["kind"].startswith("instrument_") else _TRACE_BEFORE
    return onset - before, min(until, onset + _TRACE_AFTER)


def picture(scene: Scene) -> Picture | None:
    """Return the picture that proves the finding, or None where the vessel has no data to draw."""
    maker = _MAKERS.get(scene.finding["kind"], _dumps_a_day)
    for make in (maker, *(() if maker in _ALONE else (_dumps_a_day, _coverage))):
        made = make(scene)
        drawn = tuple(chart for chart in made.charts if not chart.is_empty) if made else ()
        if made and drawn:
            return Picture(made.title, drawn, made.key)
    return None


def _level_trace(scene: Scene) -> Picture | None:
    window = picture_window(scene.finding, scene.until)
    if window is None:
        return None
    start, end = window
    level = trace_layer(scene, "interface_level", start, end, "m")
    strip = dump_strip(scene, start, end)
    if level is None:
        return _dumps_an_hour(scene)
    marks = _dump_marks(scene)
    y_title = f"interface, {_unit(scene, 'm')}"
    chart = Chart(start, end, scene.field.zone, y_title, (_in(level, "water"), *strip), marks,
                  **scene.turns)  # fmt: skip
    key = [("line water", "interface level")]
    key += [("strip", "bars along the foot: dump open")] if strip else []
    key += [("dash", "settings of the dump")] if marks else []
    titles = _LEVEL_TITLES | (_THROTTLING_TITLES if _is_throttling(scene) else {})
    return Picture(titles.get(scene.finding["kind"], "Interface level around the onset"), (chart,), tuple(key))


def _is_throttling(scene: Scene) -> bool:
    return scene.vessel.water_dump_at(scene.onset or scene.until).action == "throttling"


_THROTTLING_TITLES = {
    "float_stuck_closed": "The interface rises above what the dump should hold, and the dump does not open",
    "float_stuck_open": "The dump stays open and the interface falls below what it should hold",
}
_LEVEL_TITLES = {
    "float_stuck_closed": "The interface passes the opening level and no dump follows",
    "float_stuck_open": "The dump stays open and the interface falls below the closing level",
    "dump_leaking": "The interface between dumps",
    "dump_hunting": "The interface swings around the level the dump should hold",
    "gas_in_liquid": "The interface falls to the outlet while the dump is open",
}


def _in(layer: Layer, colour: str) -> Layer:
    return Layer(layer.kind, layer.columns, colour)


def _unit(scene: Scene, unit: str, about: str = "") -> str:
    return display_column(pl.Series([0.0]), unit, scene.field.display_units, about)[1]


def _dump_marks(scene: Scene) -> tuple[Mark, ...]:
    dump = scene.vessel.water_dump_at(scene.onset or scene.until)
    if dump.action == "throttling":
        return scene.mark(dump.holds_m, "m", "holds")
    return scene.mark(dump.opens_at_m, "m", "opens") + scene.mark(dump.closes_at_m, "m", "shuts")


def _cycle_levels(scene: Scene) -> Picture | None:
    """Return opening and closing level of every dump; the days' held level where the dump throttles."""
    known = scene.cycles.filter(pl.col("opening_level_m").is_not_null() | pl.col("closing_level_m").is_not_null())
    if known.is_empty():
        return _held_interface(scene)
    start, end = day_span(scene)
    opening = dump_layers(scene, "opening_level_m", "m", (start, end))
    closing = dump_layers(scene, "closing_level_m", "m", (start, end), "open_points")
    chart = Chart(start, end, scene.field.zone, f"level, {_unit(scene, 'm')}", (*opening, *closing),
                  _dump_marks(scene),
                  **scene.turns)  # fmt: skip
    key = (("dot ink", "level at opening (median where dumps are many)"), ("ring ink", "level at shutting"),
           ("tall quiet", "lowest to highest; ▵ outside the scale"), ("dash", "settings of the dump"))  # fmt: skip
    return Picture(_moved_title(scene, "The dump’s opening and closing levels", "opening_level_m"), (chart,), key)


def _moved_title(scene: Scene, subject: str, column: str) -> str:
    """Say which way the subject went since the onset; the numbers stand in the summary and the table."""
    kind, plural = scene.finding["kind"], subject.endswith("s")
    have = "have" if plural else "has"
    if scene.onset is None:
        return subject
    onset_day = scene.onset.astimezone(scene.field.zone).date()
    before = scene.days.filter(pl.col("day") < onset_day)[column].drop_nulls().median()
    after = scene.days.filter(pl.col("day") > onset_day)[column].drop_nulls().tail(3).median()
    if not isinstance(before, float) or not isinstance(after, float):
        return f"{subject} against the setting"
    if kind == "float_sticking":
        return f"{subject} lie further apart and scatter"
    if kind.endswith("_step"):
        way = "up" if after > before else "down"
        return f"{subject} moved {way} at once"
    if kind == "dump_leaking":
        return f"{subject} {have} {'risen' if after > before else 'fallen'}"
    way = "crept up" if after > before else "sunk"
    return f"{subject} {have} {way}"


@dataclass(frozen=True)
class _Series:
    """One value a day as dots: column of VESSEL_DAYS, its inside unit, shape and colour, words for the key."""

    column: str
    unit: str
    look: str
    words: str


@dataclass(frozen=True)
class _Daily:
    """What a chart of daily values is about; the band of usual days stands behind the first series."""

    subject: str
    quantity: str
    series: tuple[_Series, ...]
    has_band: bool = True


_LEAK = _Daily(
    "Water that leaves while the dump is shut",
    "water",
    (_Series("leak_m3_per_day", "m3/day", "dot water", "by the meter, for the time the dump was shut"),),
)
_LEAST_SHUT_S = 3600.0
"""Time shut in a day below which its leak is not drawn: the edges of dumps would be the most of it. House choice."""
_WATER_LOAD = _Daily(
    "The water coming in", "water", (_Series("water_load_m3_per_day", "m3/day", "dot water", "mean of the day"),)
)
_PRESSURE_READING = _Daily(
    "The pressure reading",
    "pressure",
    (_Series("oil_hold_kpag", "kPag", "dot ink", "vessel pressure of the day as read, load taken out"),),
)
_HELD_INTERFACE = _Daily(
    "The held interface", "level", (_Series("held_interface_m", "m", "dot water", "mean interface of the day"),)
)
_OIL_HOLD = _Daily(
    "The oil valve’s hold",
    "pressure",
    (_Series("oil_hold_kpag", "kPag", "dot oil", "what the oil valve holds, load taken out"),),
)
_GAS_CLIP = _Daily(
    "The gas valve’s hold", "pressure", (_Series("gas_clip_kpag", "kPag", "dot ink", "pressure that clips the peaks"),)
)
_MARGIN = _Daily(
    "The two valves’ pressures",
    "pressure",
    (
        _Series("oil_hold_kpag", "kPag", "dot oil", "held by the oil valve"),
        _Series("gas_clip_kpag", "kPag", "ring ink", "clipped by the gas valve"),
    ),
    has_band=False,
)
_OPEN_SHARE = _Daily(
    "The share of the day the dump stands open", "open", (_Series("open_share", "1", "dot water", "share of the day"),)
)
_WATER_IN_OIL = _Daily(
    "Water in the oil outlet", "cut", (_Series("water_in_oil_fraction", "1", "dot water", "mean of the day"),)
)
_OIL_IN_WATER = _Daily(
    "Oil in the water outlet", "content", (_Series("oil_in_water_mg_l", "mg/L", "dot oil", "mean of the day"),)
)
_SCRUBBER_COUNT = _Daily(
    "The scrubber’s dump count", "dumps", (_Series("scrubber_dumps", "", "dot ink", "dumps of the day"),)
)
_SCRUBBER = _Daily(
    "The scrubber’s dump count for the gas that passed",
    "dumps",
    (_Series("scrubber_dumps_per_1000m3_gas", "per 1000 m3 of gas", "dot ink", "mean of the day"),),
)


def _held_interface(scene: Scene) -> Picture:
    return _daily(scene, _HELD_INTERFACE, _dump_marks(scene))


def _scrubber(scene: Scene) -> Picture:
    """Return the scrubber's dumps for the gas that passed, or a day where the gas is not metered."""
    has_gas = scene.days["scrubber_dumps_per_1000m3_gas"].drop_nulls().len() > 0
    return _daily(scene, _SCRUBBER if has_gas else _SCRUBBER_COUNT)


def _instrument_drift(scene: Scene) -> Picture | None:
    """Return the days of a drifting pressure reading, load taken out; another signal's samples around the onset."""
    if signal_of(scene.finding["element"]) == "vessel_pressure":
        return _daily(scene, _PRESSURE_READING)
    return _signal_trace(scene)


def _oil_hold(scene: Scene) -> Picture:
    setting = scene.vessel.oil_valve_at(scene.onset or scene.until).holds_kpag
    return _daily(scene, _OIL_HOLD, scene.mark(setting, "kPag", "set"))


def _gas_clip(scene: Scene) -> Picture:
    setting = scene.vessel.gas_valve_at(scene.onset or scene.until).holds_kpag
    return _daily(scene, _GAS_CLIP, scene.mark(setting, "kPag", "set"))


def _margin(scene: Scene) -> Picture:
    made = _daily(scene, _MARGIN)
    return Picture("The pressures both valves hold, and the gap between them", made.charts, made.key)


def _daily(scene: Scene, about: _Daily, marks: tuple[Mark, ...] = ()) -> Picture:
    start, end = day_span(scene)
    first = about.series[0]
    band = usual_band(scene, first.column, first.unit) if about.has_band else ()
    dots = tuple(
        daily_layer(scene, one.column, one.unit, kind="open_points" if one.look.startswith("ring") else "points",
                    colour=one.look.split()[1])
        for one in about.series
    )  # fmt: skip
    key = tuple((one.look, one.words) for one in about.series)
    key += (("band", "8 days of 10 before the onset"),) if band else ()
    y_title = f"{about.quantity}, {_unit(scene, first.unit, first.column)}".rstrip(", ")
    chart = Chart(start, end, scene.field.zone, y_title, (*band, *dots), marks,
                  **scene.turns)  # fmt: skip
    return Picture(_moved_title(scene, about.subject, first.column), (chart,), key)


def _daily_of(about: _Daily) -> Callable[[Scene], Picture]:
    return lambda scene: _daily(scene, about)


def _retention(scene: Scene) -> Picture | None:
    if scene.finding["element"] == "water_dump":
        return _open_share(scene)
    short = {phase: _total(scene.days, f"{phase}_short_h") for phase in ("water", "oil")}
    phase = "oil" if short["oil"] > short["water"] else "water"
    start, end = day_span(scene)
    runs = scene.hours.filter(pl.col(f"{phase}_retention_min").is_not_null()).select(
        time_utc=pl.col("hour_utc"), value=pl.col(f"{phase}_retention_min"),
        need=pl.col(f"{phase}_required_min"),
        run=(pl.col("hour_utc").diff() > pl.duration(hours=1)).fill_null(value=False).cast(pl.Int64).cum_sum(),
    )  # fmt: skip
    if runs.is_empty() or runs["need"].drop_nulls().is_empty():
        return None
    chart = _retention_chart(scene, phase, runs, (start, end))
    hours = daily_layer(scene, f"{phase}_short_h", "h", kind="bars", colour="high")
    below = Chart(start, end, scene.field.zone, "hours short a day", (hours,), y_domain=(0.0, 24.0),
                  height=_LOW_HEIGHT_PX)  # fmt: skip
    key = ((f"line {phase}", f"retention of the {phase}"), ("dash", "required"), ("area", "short of it"))
    title = f"Retention of the {phase}, hour by hour, falls short of what is required"
    return Picture(title, (chart, below), key)


def _total(days: pl.DataFrame, column: str) -> float:
    return float(days[column].fill_null(0.0).sum())


def _retention_chart(scene: Scene, phase: str, runs: pl.DataFrame, span: tuple[datetime, datetime]) -> Chart:
    need = runs.select("time_utc", "need").sort("time_utc")
    most = need["need"].max()
    top = _RETENTION_TOP * (most if isinstance(most, float) else 1.0)
    line = thinned(runs.select("time_utc", "value", "run"), *span, PIXELS).sort("time_utc")
    both = line.join_asof(need, on="time_utc", strategy="backward").with_columns(
        value=pl.col("value").clip(upper_bound=top),
        short=pl.when(pl.col("value") < pl.col("need")).then("value"),
    )
    times = milliseconds(both["time_utc"], span[1], scene.field.zone)
    lines = (
        Layer("area_below", {"t": times, "y": _short(both["short"]), "y2": _short(both["need"])}, "high"),
        Layer("line", {"t": times, "y": _short(both["value"])}, phase),
        Layer("dashed_line", {"t": times, "y": _short(both["need"])}, "ink"),
    )
    return Chart(*span, scene.field.zone, "retention, min", lines, **scene.turns, y_domain=(0.0, top))  # fmt: skip


def _short(values: pl.Series) -> list[float | None]:
    return [None if value is None else float(f"{value:.4g}") for value in values]


def _open_share(scene: Scene) -> Picture:
    shares = scene.days.with_columns(open_share=pl.col("open_s") / 86400.0)
    return _daily(replace(scene, days=shares), _OPEN_SHARE)


def _leak(scene: Scene) -> Picture | None:
    """Return what leaves while the dump is shut, day by day, over the level around the onset; either may be missing."""
    known = pl.col("shut_s") >= _LEAST_SHUT_S
    rates = scene.days.with_columns(leak_m3_per_day=pl.when(known).then(pl.col("leak_m3") / pl.col("shut_s") * 86400.0))
    level = _level_trace(scene)
    if rates["leak_m3_per_day"].drop_nulls().is_empty():
        return level
    by_day = _daily(replace(scene, days=rates), _LEAK)
    below = level.charts if level else ()
    return Picture(by_day.title, (*by_day.charts, *below), (*by_day.key, *(level.key if level else ())))


def _flow_coefficient(scene: Scene) -> Picture | None:
    start, end = day_span(scene)
    dots = dump_layers(scene, "cv_effective", "gpm/psi^0.5", (start, end))
    if not dots:
        return None
    rated = scene.vessel.water_dump_at(scene.onset or scene.until).cv
    marks = () if rated is None else (Mark(rated, f"rated {rated:g}"),)
    chart = Chart(start, end, scene.field.zone, "effective Cv, gpm at 1 psi", dots, marks,
                  **scene.turns)  # fmt: skip
    key = (("dot ink", "dumps (median where many)"), ("tall quiet", "lowest to highest"), ("dash", "rated"))
    return Picture(_moved_title(scene, "The open valve’s flow coefficient", "cv_effective"), (chart,), key)


def _short_cycles(scene: Scene) -> Picture | None:
    many = _dumps_a_day(scene)
    start, end = day_span(scene)
    for column in ("volume_meter_m3", "volume_geometry_m3"):
        dots = dump_layers(scene, column, "m3", (start, end))
        if dots:
            small = Chart(start, end, scene.field.zone, f"volume of a dump, {_unit(scene, 'm3')}", dots)
            charts = (*many.charts, small)
            return Picture("More dumps a day, each smaller", charts, (("bar", "dumps a day"), ("dot ink", "one dump")))
    return many


def _dumps_a_day(scene: Scene) -> Picture:
    """Return the dumps of each day; the water load where the dump throttles and has none."""
    if _is_throttling(scene):
        return _daily(scene, _WATER_LOAD)
    start, end = day_span(scene)
    bars = daily_layer(scene, "dumps", "", kind="bars", colour="water")
    top = max((y for y in bars.columns["y"]), default=1.0) * 1.08 or 1.0
    chart = Chart(start, end, scene.field.zone, "dumps a day", (bars,), **scene.turns, y_domain=(0.0, top))  # fmt: skip
    return Picture("Dumps of each day", (chart,), (("bar", "dumps a day"),))


def _dumps_an_hour(scene: Scene) -> Picture | None:
    window = picture_window(scene.finding, scene.until)
    if window is None:
        return None
    start, end = window
    known = scene.hours.filter(pl.col("hour_utc").is_between(start, end, closed="left") & pl.col("dumps").is_not_null())
    if known.is_empty():
        return None
    times = milliseconds(known["hour_utc"], end, scene.field.zone)
    columns: dict[str, list[Any]] = {
        "t": [time + 200_000 for time in times],
        "t2": [time + 3_400_000 for time in times],
        "y": known["dumps"].cast(pl.Float64).to_list(),
        "when": [stamp(scene, time) for time in known["hour_utc"]],
        "found": [f"{dumps} dumps" for dumps in known["dumps"]],
    }
    top = max(max(columns["y"]) * 1.1, 1.0)
    chart = Chart(start, end, scene.field.zone, "dumps an hour", (Layer("bars", columns, "water"),),
                  **scene.turns, y_domain=(0.0, top))  # fmt: skip
    return Picture("Dumps of each hour around the onset", (chart,), (("bar", "dumps an hour"),))


def _signal_trace(scene: Scene) -> Picture | None:
    signal = signal_of(scene.finding["element"]) or "vessel_pressure"
    window = picture_window(scene.finding, scene.until)
    if window is None or signals.signal_of(signal).kind == "text":
        return None
    start, end = window
    unit = signals.signal_of(signal).si
    line = trace_layer(scene, signal, start, end, unit)
    if line is None:
        return None
    strip = dump_strip(scene, start, end)
    marks = {"interface_level": _dump_marks, "vessel_pressure": _pressure_marks}.get(signal, _no_marks)(scene)
    name, shown_unit = signal_words(signal), _unit(scene, unit, signal)
    chart = Chart(start, end, scene.field.zone, f"{name}, {shown_unit}".rstrip(", 1"), (line, *strip), marks,
                  **scene.turns)  # fmt: skip
    key = [("line ink", name)] + ([("strip", "bars along the foot: dump open")] if strip else [])
    title = _TRACE_TITLES.get(scene.finding["kind"], "{} around the onset").format(name.capitalize())
    return Picture(title, (chart,), tuple(key))


def _no_marks(scene: Scene) -> tuple[Mark, ...]:
    return ()


_TRACE_TITLES = {
    "instrument_frozen": "{} stands still while the vessel works",
    "instrument_noisy": "{} around the onset",
    "pressure_not_held": "{} falls away from what the valve holds",
    "pressure_near_limit": "{} against the working pressure",
    "back_pressure_hunting": "{} swings",
}


def _pressure_marks(scene: Scene) -> tuple[Mark, ...]:
    when = scene.onset or scene.until
    if scene.finding["kind"] == "pressure_near_limit":
        return scene.mark(scene.vessel.max_working_pressure_kpag, "kPag", "working pressure")
    oil, gas = scene.vessel.oil_valve_at(when).holds_kpag, scene.vessel.gas_valve_at(when).holds_kpag
    return scene.mark(oil, "kPag", "oil valve") + scene.mark(gas, "kPag", "gas valve")


def _coverage(scene: Scene) -> Picture:
    signal = signal_of(scene.finding["element"])
    column, what = (f"coverage_{signal}", signal_words(signal)) if signal else ("coverage", "dumps")
    if not signal and _is_throttling(scene):
        # There are no dumps to know of: the best known signal speaks.
        known = [f"coverage_{name}" for name in sorted(scene.field.signals_of(scene.vessel.id))]
        what = "the best known signal"
        scene = replace(scene, days=scene.days.with_columns(coverage=pl.max_horizontal(known or ["coverage"])))
    start, end = day_span(scene)
    bars = daily_layer(scene, column, "1", kind="bars", colour="quiet")
    chart = Chart(start, end, scene.field.zone, "known, % of the day", (bars,), **scene.turns, y_domain=(0.0, 100.0),
                  height=_LOW_HEIGHT_PX)  # fmt: skip
    return Picture(f"How much of each day is known of {what}", (chart,), (("bar quiet", "share of the day known"),))


_MAKERS: dict[str, Callable[[Scene], Picture | None]] = {
    "float_stuck_closed": _level_trace,
    "float_stuck_open": _level_trace,
    "float_sticking": _cycle_levels,
    "dump_leaking": _leak,
    "dump_restricted": _flow_coefficient,
    "dump_short_cycling": _short_cycles,
    "dump_hunting": _level_trace,
    "interface_setpoint_drift": _cycle_levels,
    "interface_setpoint_step": _cycle_levels,
    "oil_valve_setpoint_drift": _oil_hold,
    "oil_valve_setpoint_step": _oil_hold,
    "gas_valve_setpoint_drift": _gas_clip,
    "gas_valve_setpoint_step": _gas_clip,
    "back_pressure_margin_lost": _margin,
    "back_pressure_hunting": _signal_trace,
    "pressure_not_held": _signal_trace,
    "pressure_near_limit": _signal_trace,
    "vessel_undersized": _retention,
    "water_in_oil": _daily_of(_WATER_IN_OIL),
    "oil_in_water": _daily_of(_OIL_IN_WATER),
    "liquid_in_gas": _scrubber,
    "gas_in_liquid": _level_trace,
    "instrument_frozen": _signal_trace,
    "instrument_drift": _instrument_drift,
    "instrument_noisy": _signal_trace,
    "data_gap": _coverage,
    "well_test_decline": well_tests,
    "anode_spent": anode_current,
    "anode_current_lost": anode_current,
    "anode_current_jumped": anode_current,
}
_ALONE = frozenset({anode_current})
"""Pictures that nothing stands in for: an anode has nothing to do with dumps."""
