"""Charts as Vega-Lite specifications, built with Altair: few layers, quiet axes, colours by variable.

Data go in as named columns, which the page's script turns into rows: a third of the size of rows.
Times are drawn on the field's clock. A browser knows only its own zone and UTC, so a chart's times are
moved by the field's offset at the chart's end and drawn as if UTC; across a clock change the labels
before it are an hour off, and the line stays straight.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any, Final, Literal, TypeAlias
from zoneinfo import ZoneInfo

import altair as alt
import polars as pl

from nightgauge.report.colours import variable
from nightgauge.report.quantities import rounded
from nightgauge.report.words import day_text

Spec: TypeAlias = dict[str, Any]
PIXELS = 660
"""Width for which traces are thinned. [px] The widest a chart gets in the page's column."""
_Y_AXIS_WIDTH_PX = 50
_HEIGHT_PX = 190
_TEXT_LINE_PX = 14
_STRIP_PX = 7
_EDGE_SHARE = 0.12
"""Nearer to an edge of the chart than this share of its width, the onset's words are set to the inner side."""
_APART_SHARE = 0.3
"""Nearer to each other than this share of the chart's width, on the narrowest screen two words would touch."""
_ROOM_AROUND = 0.06
FONT = "system-ui, -apple-system, 'Segoe UI', 'DejaVu Sans', sans-serif"


_BREAK: Final = "break-paths-show-domains"
"""A null breaks a line: a gap is a gap."""
_CROSS: Final = "M-1,-1L1,1M-1,1L1,-1"
_NAMED = alt.NamedData(name="")
"""Data are given to a layer by name when the chart is put together."""


@dataclass(frozen=True)
class Mark:
    """A level that means something, drawn as a thin line across with its words at the right edge."""

    value: float
    words: str


@dataclass(frozen=True)
class Layer:
    """One kind of mark over one set of columns ("t" in ms for time, "y", and what the kind needs)."""

    kind: str
    """line, dashed_line, points, open_points, crosses, bars, area_below, band, range, outside or strip."""
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
    room_right: int | None = None
    """Given where charts stand under each other: room for the marks' words, so that their times agree. [px]"""
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
    ends = [millisecond(time, chart.end, chart.zone) for time in (chart.start, chart.end)]
    turns = _turns(chart)
    layers = {"axes": _axes(_time_format(chart), chart.y_title, has_turns=bool(turns))}
    data: dict[str, dict[str, list[Any]]] = {"axes": {"t": ends, "y": list(domain)}}
    for at, layer in enumerate(chart.layers):
        layers[f"layer{at}"] = _drawn(layer.kind, layer.colour, chart.height, has_tooltip="when" in layer.columns)
        data[f"layer{at}"] = layer.columns
    if chart.marks:
        layers["marks"] = _mark_lines(chart, domain) if chart.room_right is None else _bare_lines()
        data["marks"] = {"y": [mark.value for mark in chart.marks]}
    if chart.marks and chart.room_right is not None:
        labels = _labels(chart.marks, domain, chart.height)
        layers["side"] = _side_words()
        data["side"] = {"y": [mark.value for mark in labels], "words": [mark.words for mark in labels]}
    for at, turn in enumerate(turns):
        data[f"turn{at}"] = {"t": [millisecond(turn.time, chart.end, chart.zone)], "words": [turn.words]}
        layers[f"turn{at}"] = _turn_line()
        if turn.words:
            layers[f"turn{at} words"] = _turn_words(turn.side)
    if chart.room_right is not None:
        layers["axes room"] = _room(chart.room_right)
    return {
        "width": "container",
        "height": chart.height,
        "resolve": {"axis": {"x": "independent", "y": "independent"}},
        "layer": [{**layer, "data": {"name": name.split()[0]}} for name, layer in layers.items()],
        "datasets": data,
    }


def as_layer(drawn: alt.Chart) -> Spec:
    """Return one of Altair's charts as a layer: mark and encoding only.

    It is made of Altair's own typed objects, so it is not checked against the schema once more (40 ms a chart).
    Layers are kept: a page of 200 vessels has a thousand of them, of some thirty sorts.
    """
    made = drawn.to_dict(validate=False)
    return {name: made[name] for name in ("mark", "encoding")}


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


@cache
def _axes(time_format: str, y_title: str, *, has_turns: bool) -> Spec:
    """Return an unseen layer that carries both axes; its two points span them, so that no domain is stated.

    A stated time domain makes the chart library warn on every chart.
    """
    time_axis = alt.Axis(format=time_format, labelOverlap=True, labelSeparation=8, title=None)
    value_axis = alt.Axis(
        title=y_title, titleAngle=0, titleAlign="left", titleX=-_Y_AXIS_WIDTH_PX, titleY=-24 if has_turns else -10,
        minExtent=_Y_AXIS_WIDTH_PX, maxExtent=_Y_AXIS_WIDTH_PX, tickCount=4,
    )  # fmt: skip
    x = alt.X("t:T", scale=alt.Scale(type="utc", nice=False), axis=time_axis)
    y = alt.Y("y:Q", scale=alt.Scale(nice=False, zero=False), axis=value_axis)
    return as_layer(alt.Chart(_NAMED).mark_point(opacity=0).encode(x=x, y=y))


def _time_format(chart: Chart) -> str:
    span = chart.end - chart.start
    if span <= timedelta(days=1.5):
        return "%H:%M"
    return "%a %-d %H:%M" if span <= timedelta(days=5) else "%-d %b"


@cache
def _drawn(kind: str, colour: str, height: int, *, has_tooltip: bool) -> Spec:
    marked, extent = _LOOKS[kind](alt.Chart(_NAMED), variable(colour), height)
    encodings: dict[str, Any] = {
        "x": alt.X("t:T", scale=alt.Scale(type="utc"), axis=None),
        "y": alt.Y("y:Q", axis=None),
    } | extent
    if has_tooltip:
        encodings["tooltip"] = [alt.Tooltip("when:N", title="when"), alt.Tooltip("found:N", title="found")]
    return as_layer(marked.encode(**encodings))


_Look: TypeAlias = tuple[alt.Chart, dict[str, Any]]


def _line(base: alt.Chart, colour: str, height: int) -> _Look:
    return base.mark_line(color=colour, invalid=_BREAK, strokeWidth=1.4), {}


def _dashed_line(base: alt.Chart, colour: str, height: int) -> _Look:
    return base.mark_line(color=colour, invalid=_BREAK, strokeWidth=1, strokeDash=[5, 3]), {}


def _points(base: alt.Chart, colour: str, height: int) -> _Look:
    return base.mark_point(color=colour, filled=True, size=26, opacity=0.9, invalid="filter"), {}


def _open_points(base: alt.Chart, colour: str, height: int) -> _Look:
    return base.mark_point(color=colour, filled=False, size=26, opacity=0.9, invalid="filter"), {}


def _crosses(base: alt.Chart, colour: str, height: int) -> _Look:
    return base.mark_point(color=colour, filled=False, size=26, shape=_CROSS, invalid="filter"), {}


def _bars(base: alt.Chart, colour: str, height: int) -> _Look:
    return base.mark_rect(color=colour), {"x2": "t2:T", "y2": alt.datum(0)}


def _area_below(base: alt.Chart, colour: str, height: int) -> _Look:
    return base.mark_area(color=colour, opacity=0.3, invalid=_BREAK), {"y2": "y2:Q"}


def _strip(base: alt.Chart, colour: str, height: int) -> _Look:
    ends = {"y": alt.value(height - _STRIP_PX), "y2": alt.value(height)}
    return base.mark_rect(color=colour), {"x2": "t2:T", **ends}


def _range(base: alt.Chart, colour: str, height: int) -> _Look:
    return base.mark_rule(color=colour, strokeWidth=1), {"y2": "y2:Q"}


def _outside(base: alt.Chart, colour: str, height: int) -> _Look:
    return base.mark_point(color=colour, filled=False, size=40, shape="triangle-up"), {}


def _band(base: alt.Chart, colour: str, height: int) -> _Look:
    return base.mark_rect(color=colour), {"x2": "t2:T", "y2": "y2:Q"}


_LOOKS: dict[str, Callable[[alt.Chart, str, int], _Look]] = {
    "line": _line,
    "dashed_line": _dashed_line,
    "points": _points,
    "open_points": _open_points,
    "crosses": _crosses,
    "bars": _bars,
    "area_below": _area_below,
    "strip": _strip,
    "range": _range,
    "outside": _outside,
    "band": _band,
}


def _mark_lines(chart: Chart, domain: tuple[float, float]) -> Spec:
    """Return the thin lines across; their words are an axis at the right, so that the chart makes room for them."""
    labels = _labels(chart.marks, domain, chart.height)
    words = "''"
    for mark in labels:
        words = f"abs(datum.value - {mark.value!r}) < 1e-9 ? {_quoted(mark.words)} : {words}"
    return _labelled_lines(tuple(mark.value for mark in labels), words)


@cache
def _labelled_lines(values: tuple[float, ...], words: str) -> Spec:
    axis = alt.Axis(
        orient="right", title=None, values=list(values), domain=False, ticks=False, labelExpr=words,
        labelColor=variable("ink"), labelOverlap=False,
    )  # fmt: skip
    lines = alt.Chart(_NAMED).mark_rule(color=variable("quiet"), strokeDash=[5, 3])
    return as_layer(lines.encode(y=alt.Y("y:Q", axis=axis)))


@cache
def _bare_lines() -> Spec:
    lines = alt.Chart(_NAMED).mark_rule(color=variable("quiet"), strokeDash=[5, 3])
    return as_layer(lines.encode(y=alt.Y("y:Q", axis=None)))


@cache
def _room(pixels: int) -> Spec:
    """Return an unseen mark to the right of the plot: the chart is fitted around it, so it keeps the room."""
    unseen = alt.Chart(_NAMED).mark_point(opacity=0, size=1, xOffset=pixels)
    return as_layer(unseen.encode(x=alt.value("width"), y=alt.value(0)))


@cache
def _side_words() -> Spec:
    """Return the marks' words in the room kept at the right, where charts under each other need the same room."""
    words = alt.Chart(_NAMED).mark_text(align="left", dx=5, fontSize=12, color=variable("ink"), font=FONT)
    return as_layer(words.encode(x=alt.value("width"), y=alt.Y("y:Q", axis=None), text="words:N"))


def _quoted(words: str) -> str:
    """Return words as a text of the chart's expression language."""
    escaped = words.replace("\\", "\\\\").replace("'", "\\'")
    return f"'{escaped}'"


@cache
def _turn_line() -> Spec:
    """Return the thin line of an onset or an end."""
    line = alt.Chart(_NAMED).mark_rule(color=variable("ink"), strokeWidth=1)
    return as_layer(line.encode(x=alt.X("t:T", scale=alt.Scale(type="utc"), axis=None)))


@cache
def _turn_words(side: Literal["left", "center", "right"]) -> Spec:
    """Return the words of an onset or an end above the plot.

    They are a mark, not an axis label: under the page's policy expressions are interpreted, and there the chart
    library does not evaluate given times on a time axis.
    """
    words = alt.Chart(_NAMED).mark_text(align=side, baseline="bottom", fontSize=12, color=variable("ink"), font=FONT)
    x = alt.X("t:T", scale=alt.Scale(type="utc"), axis=None)
    return as_layer(words.encode(x=x, y=alt.value(-3), text="words:N"))


@dataclass(frozen=True)
class _Turn:
    """An onset or an end with its words, and to which side of its line they go."""

    time: datetime
    words: str
    side: Literal["left", "center", "right"]


def _turns(chart: Chart) -> list[_Turn]:
    """Return onset and end where they are in view; near each other their words go to either side, or stand together."""
    span = chart.end - chart.start
    wanted = ((chart.onset, chart.onset_words), (chart.ended, "cleared"))
    inside = [(time, words, (time - chart.start) / span) for time, words in wanted
              if time is not None and chart.start <= time <= chart.end]  # fmt: skip
    if len(inside) < 2 or inside[1][2] - inside[0][2] >= _APART_SHARE:
        return [_Turn(time, words, _side(share)) for time, words, share in inside]
    (onset, since, first), (ended, cleared, last) = inside
    if first < _APART_SHARE:
        return [_Turn(onset, "", "left"), _Turn(ended, f"{since}, {cleared}", "left")]
    if last > 1 - _EDGE_SHARE:
        return [_Turn(onset, f"{since}, {cleared}", "right"), _Turn(ended, "", "right")]
    return [_Turn(onset, since, "right"), _Turn(ended, cleared, "left")]


def _side(share: float) -> Literal["left", "center", "right"]:
    """Return to which side words go at a share of the chart's width, so that none is cut off at an edge."""
    if _EDGE_SHARE <= share <= 1 - _EDGE_SHARE:
        return "center"
    return "left" if share < _EDGE_SHARE else "right"


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
