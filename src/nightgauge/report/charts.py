"""Charts as Vega-Lite specifications, built with Altair: few layers, quiet axes, colours by variable.

Data go in as named columns, which the page's script turns into rows: a third of the size of rows.
Times are drawn on the field's clock. A browser knows only its own zone and UTC, so a chart's times are
moved by the field's offset at the chart's end and drawn as if UTC; across a clock change the labels
before it are an hour off, and the line stays straight.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any, Literal, TypeAlias
from zoneinfo import ZoneInfo

import altair as alt
import polars as pl

from nightgauge.report.colours import variable
from nightgauge.report.quantities import rounded
from nightgauge.report.words import day_text

Spec: TypeAlias = dict[str, Any]
PIXELS = 660
"""Width for which traces are thinned. [px] The widest a chart gets in the page's column."""
_Y_AXIS_WIDTH_PX = 44
_HEIGHT_PX = 190
_TEXT_LINE_PX = 14
_STRIP_PX = 7
_EDGE_SHARE = 0.12
"""Nearer to an edge of the chart than this share of its width, the onset's words are set to the inner side."""
_ROOM_AROUND = 0.06
FONT = "system-ui, -apple-system, 'Segoe UI', 'DejaVu Sans', sans-serif"


@dataclass(frozen=True)
class Mark:
    """A level that means something, drawn as a thin line across with its words at the right edge."""

    value: float
    words: str


@dataclass(frozen=True)
class Layer:
    """One kind of mark over one set of columns ("t" in ms for time, "y", and what the kind needs)."""

    kind: str
    """line, dashed_line, points, open_points, bars, area_below, band or strip."""
    columns: dict[str, list[Any]]
    colour: str = "ink"


@dataclass(frozen=True)
class Chart:
    """What a chart shows: time from start to end, one quantity upwards."""

    start: datetime
    end: datetime
    zone: ZoneInfo
    y_title: str
    layers: tuple[Layer, ...]
    marks: tuple[Mark, ...] = ()
    onset: datetime | None = None
    onset_words: str = ""
    ended: datetime | None = None
    """When the fault was over, drawn as a second thin line."""
    height: int = _HEIGHT_PX
    y_domain: tuple[float, float] | None = None
    """Given where zero or a bound means something; else from the data."""

    @property
    def is_empty(self) -> bool:
        """Return whether there is nothing to draw but marks."""
        return not any(any(y is not None for y in layer.columns.get("y", ())) for layer in self.layers)


def milliseconds(times: pl.Series, end: datetime, zone: ZoneInfo) -> list[int]:
    """Return times as a chart's milliseconds: UTC moved by the zone's offset at the chart's end."""
    shifted: pl.Series = times.dt.epoch("ms") + _offset_ms(end, zone)
    return shifted.to_list()


def millisecond(time: datetime, end: datetime, zone: ZoneInfo) -> int:
    """Return one time as a chart's milliseconds."""
    return int((time - datetime(1970, 1, 1, tzinfo=UTC)) / timedelta(milliseconds=1)) + _offset_ms(end, zone)


def _offset_ms(end: datetime, zone: ZoneInfo) -> int:
    offset = end.astimezone(zone).utcoffset() or timedelta()
    return int(offset / timedelta(milliseconds=1))


def specification(chart: Chart) -> Spec:
    """Return the chart as a Vega-Lite specification with its data as named columns."""
    domain = chart.y_domain or _domain(chart)
    parts = [_axes(chart, domain), *(_drawn(layer, f"layer{at}", chart) for at, layer in enumerate(chart.layers))]
    ends = [millisecond(time, chart.end, chart.zone) for time in (chart.start, chart.end)]
    data: dict[str, dict[str, list[Any]]] = {"axes": {"t": ends, "y": list(domain)}}
    data |= {f"layer{at}": layer.columns for at, layer in enumerate(chart.layers)}
    if chart.marks:
        parts.append(_mark_lines(chart, domain))
        data["marks"] = {"y": [mark.value for mark in chart.marks]}
    turns = ((chart.onset, chart.onset_words), (chart.ended, "cleared"))
    for at, (time, words) in enumerate(turns):
        if time is not None and chart.start <= time <= chart.end:
            name = f"turn{at}"
            parts += _turn(name, (time - chart.start) / (chart.end - chart.start), words)
            data[name] = {"t": [millisecond(time, chart.end, chart.zone)]}
    layered = alt.layer(*parts).properties(width="container", height=chart.height)
    # Every part is made of Altair's own typed objects; checking each against the schema again costs 40 ms a chart.
    spec: Spec = layered.resolve_axis(x="independent", y="independent").to_dict(validate=False)
    for needless in ("$schema", "config"):
        spec.pop(needless, None)
    spec["datasets"] = data
    return spec


def quiet_look() -> Spec:
    """Return the look all charts share, as a Vega-Lite configuration: once a page, not once a chart."""
    quiet, rule = variable("quiet"), variable("rule")
    axis = alt.AxisConfig(
        labelColor=quiet, titleColor=quiet, tickColor=rule, domainColor=rule, grid=False, labelFont=FONT,
        titleFont=FONT, labelFontSize=12, titleFontSize=12, titleFontWeight="normal", tickCount=5,
        labelFlush=False, titleAnchor="start",
    )  # fmt: skip
    return {
        "aria": False,
        "background": "transparent",
        "autosize": {"type": "fit-x", "contains": "padding"},
        "padding": {"left": 2, "right": 8, "top": 4, "bottom": 2},
        "view": {"stroke": None},
        "axis": axis.to_dict(),
    }


def _axes(chart: Chart, domain: tuple[float, float]) -> alt.Chart:
    """Return an unseen layer that carries both axes; its two points span the time, so that no domain is stated.

    A stated time domain makes the chart library warn on every chart.
    """
    time_axis = alt.Axis(format=_time_format(chart), labelOverlap=True, title=None)
    value_axis = alt.Axis(
        title=chart.y_title, titleAngle=0, titleAlign="left", titleX=-_Y_AXIS_WIDTH_PX,
        titleY=-10 if chart.onset is None else -24, minExtent=_Y_AXIS_WIDTH_PX, maxExtent=_Y_AXIS_WIDTH_PX, tickCount=4,
    )  # fmt: skip
    unseen: alt.Chart = (
        alt.Chart(alt.NamedData(name="axes"))
        .mark_point(opacity=0)
        .encode(
            x=alt.X("t:T", scale=alt.Scale(type="utc", nice=False), axis=time_axis),
            y=alt.Y("y:Q", scale=alt.Scale(domain=list(domain), nice=False, zero=False), axis=value_axis),
        )
    )
    return unseen


def _time_format(chart: Chart) -> str:
    span = chart.end - chart.start
    if span <= timedelta(days=1.5):
        return "%H:%M"
    return "%a %-d %H:%M" if span <= timedelta(days=5) else "%-d %b"


def _drawn(layer: Layer, name: str, chart: Chart) -> alt.Chart:
    marked, extent = _LOOKS[layer.kind](alt.Chart(alt.NamedData(name=name)), layer, chart)
    encodings: dict[str, Any] = {
        "x": alt.X("t:T", scale=alt.Scale(type="utc"), axis=None),
        "y": alt.Y("y:Q", axis=None),
    } | extent
    if "when" in layer.columns:
        encodings["tooltip"] = [alt.Tooltip("when:N", title="when"), alt.Tooltip("found:N", title="found")]
    drawn: alt.Chart = marked.encode(**encodings)
    return drawn


_Look: TypeAlias = tuple[alt.Chart, dict[str, Any]]


def _line(base: alt.Chart, layer: Layer, chart: Chart) -> _Look:
    is_solid = layer.kind == "line"
    look: dict[str, Any] = {"strokeWidth": 1.4} if is_solid else {"strokeWidth": 1, "strokeDash": [5, 3]}
    return base.mark_line(color=variable(layer.colour), invalid="break-paths-show-domains", **look), {}


def _dots(base: alt.Chart, layer: Layer, chart: Chart) -> _Look:
    is_filled = layer.kind == "points"
    return base.mark_point(color=variable(layer.colour), filled=is_filled, size=26, opacity=0.9, invalid="filter"), {}


def _bars(base: alt.Chart, layer: Layer, chart: Chart) -> _Look:
    return base.mark_rect(color=variable(layer.colour)), {"x2": "t2:T", "y2": alt.datum(0)}


def _area_below(base: alt.Chart, layer: Layer, chart: Chart) -> _Look:
    area = base.mark_area(color=variable(layer.colour), opacity=0.3, invalid="break-paths-show-domains")
    return area, {"y2": "y2:Q"}


def _strip(base: alt.Chart, layer: Layer, chart: Chart) -> _Look:
    return base.mark_rect(color=variable(layer.colour)), {
        "x2": "t2:T",
        "y": alt.value(chart.height - _STRIP_PX),
        "y2": alt.value(chart.height),
    }


def _band(base: alt.Chart, layer: Layer, chart: Chart) -> _Look:
    return base.mark_rect(color=variable(layer.colour)), {"x2": "t2:T", "y2": "y2:Q"}


_LOOKS: dict[str, Callable[[alt.Chart, Layer, Chart], _Look]] = {
    "line": _line,
    "dashed_line": _line,
    "points": _dots,
    "open_points": _dots,
    "bars": _bars,
    "area_below": _area_below,
    "strip": _strip,
    "band": _band,
}


def _mark_lines(chart: Chart, domain: tuple[float, float]) -> alt.Chart:
    labels = _labels(chart.marks, domain, chart.height)
    words = "''"
    for mark in labels:
        words = f"abs(datum.value - {mark.value!r}) < 1e-9 ? {_quoted(mark.words)} : {words}"
    axis = alt.Axis(
        orient="right", title=None, values=[mark.value for mark in labels], domain=False, ticks=False,
        labelExpr=words, labelColor=variable("ink"), labelOverlap=False,
    )  # fmt: skip
    lines = alt.Chart(alt.NamedData(name="marks")).mark_rule(color=variable("quiet"), strokeDash=[5, 3])
    drawn: alt.Chart = lines.encode(y=alt.Y("y:Q", axis=axis))
    return drawn


def _quoted(words: str) -> str:
    """Return words as a text of the chart's expression language."""
    escaped = words.replace("\\", "\\\\").replace("'", "\\'")
    return f"'{escaped}'"


def _turn(name: str, share: float, said: str) -> tuple[alt.Chart, alt.Chart]:
    """Return the thin line of an onset or an end, at a share of the width, and its words above the plot.

    The words are a mark, not an axis label: under the page's policy expressions are interpreted, and there the
    chart library does not evaluate given times on a time axis.
    """
    base = alt.Chart(alt.NamedData(name=name))
    x = alt.X("t:T", scale=alt.Scale(type="utc"), axis=None)
    align: Literal["left", "center", "right"] = "center"
    if not _EDGE_SHARE <= share <= 1 - _EDGE_SHARE:
        align = "left" if share < _EDGE_SHARE else "right"
    words = base.mark_text(align=align, baseline="bottom", fontSize=12, color=variable("ink"), font=FONT)
    line: alt.Chart = base.mark_rule(color=variable("ink"), strokeWidth=1).encode(x=x)
    return line, words.encode(x=x, y=alt.value(-3), text=alt.value(said))


def _domain(chart: Chart) -> tuple[float, float]:
    """Return the range of all that is drawn with a little room, so that no mark lies on the frame."""
    values = [mark.value for mark in chart.marks]
    for layer in chart.layers:
        values += [y for name in ("y", "y2") for y in layer.columns.get(name, ()) if y is not None]
    if not values:
        return (0.0, 1.0)
    low, high = min(values), max(values)
    room = (high - low) * _ROOM_AROUND or max(abs(high) * _ROOM_AROUND, 0.5)
    has_strip = any(layer.kind == "strip" for layer in chart.layers)
    return (round(low - (2 * room if has_strip else room), 6), round(high + room, 6))


def _labels(marks: Sequence[Mark], domain: tuple[float, float], height: int) -> tuple[Mark, ...]:
    """Join the words of marks that lie closer than a line of text, so that none is printed over another."""
    line = (domain[1] - domain[0]) * _TEXT_LINE_PX / height
    kept: list[Mark] = []
    for mark in sorted(marks, key=lambda one: one.value):
        if kept and mark.value - kept[-1].value < line:
            kept[-1] = replace(kept[-1], words=f"{kept[-1].words}, {mark.words}")
        else:
            kept.append(mark)
    return tuple(kept)


def alternative(chart: Chart, title: str) -> str:
    """Return in words what a chart shows, for readers who cannot see it."""
    values = [y for layer in chart.layers if layer.kind != "band" for y in layer.columns.get("y", ()) if y is not None]
    first, last = (day_text(time.astimezone(chart.zone).date()) for time in (chart.start, chart.end))
    parts = [f"{title}. Chart of {chart.y_title}, {first} to {last}"]
    if values:
        parts.append(f"lowest {rounded(min(values))}, highest {rounded(max(values))}")
    if chart.marks:
        parts.append(f"marked: {', '.join(mark.words for mark in chart.marks)}")
    if chart.onset_words:
        parts.append(f"line at the onset, {chart.onset_words}")
    return "; ".join(parts) + "."
