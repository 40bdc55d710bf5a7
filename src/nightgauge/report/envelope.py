"""The operating envelope: each day's water and oil rate, what the vessel can take, and when the trend meets it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from itertools import pairwise
from typing import Any

import altair as alt
import numpy as np
import polars as pl

from nightgauge.field.settings import Field, Vessel
from nightgauge.report.charts import FONT, Spec, as_layer
from nightgauge.report.colours import variable
from nightgauge.report.quantities import display_column, percent, shown
from nightgauge.report.words import day_text
from nightgauge.statistics.trend import mann_kendall, theil_sen

_GAS_DAYS = 28
"""Days whose median gas-oil ratio counts. House choice: the wells as they are now, not as they were last quarter."""
_TREND_DAYS_AT_LEAST = 28
"""House choice: a trend of less than four weeks says more about the weeks than about the wells."""
_SURE_OF_TREND = 0.05
"""Mann-Kendall p value below which a trend is told. Common practice, as in its tables."""
_FAR_DAYS = 730
"""A meeting later than this is not told as a date: two years of the same wells is no forecast."""
_HEIGHT_PX = 260
_NARROWEST_PX = 280
"""Width of the plot on the smallest telephone the pages are made for."""
_LABEL_PX = 17
"""Room of a line of words with its distance from the line it names."""
_FARTHEST = 2.5
"""Times a high load (90th percentile) up to which a limit is drawn: one farther off would squeeze the days into a
corner. House choice."""


@dataclass(frozen=True)
class Limit:
    """What one part of the vessel can take of one phase. [m3/day]"""

    phase: str
    rate_m3_per_day: float
    words: str
    used: float
    """Share of it used, median of the last 7 days. [1]"""
    of: str = ""
    """What the rate is of, where the words do not say so."""


@dataclass(frozen=True)
class Envelope:
    """The chart, its words, and what the trend says."""

    specification: Spec
    alternative: str
    height: int
    sentences: tuple[str, ...]
    has_limits: bool
    """Whether a limit is drawn."""


def envelope(vessel: Vessel, field: Field, days: pl.DataFrame, capacity: pl.DataFrame) -> Envelope | None:
    """Return the envelope of the days given, or None where water and oil rate are not both known.

    Parameters
    ----------
    vessel, field : Vessel, Field
        For the name and the display units.
    days : VESSEL_DAYS
        Of this vessel, up to 90.
    capacity : VESSEL_CAPACITY
        Of this vessel.

    """
    known = days.filter(pl.col("water_load_m3_per_day").is_not_null() & pl.col("oil_load_m3_per_day").is_not_null())
    if known.is_empty():
        return None
    limits = _limits(days, capacity)
    drawn = tuple(limit for limit in limits if _is_near(limit, known))
    sentences = tuple(_meeting(limit, days, field, is_drawn=limit in drawn) for limit in limits)
    return Envelope(
        specification=_specification(known, drawn, field),
        alternative=_alternative(vessel, known, limits, field),
        height=_HEIGHT_PX + 60,
        sentences=sentences,
        has_limits=bool(drawn),
    )


def _is_near(limit: Limit, known: pl.DataFrame) -> bool:
    """Return whether a limit is near enough to the days to be drawn with them."""
    loads = known[f"{limit.phase}_load_m3_per_day"]
    _, largest = _ends(loads)
    # The largest load may be a single bad day; a limit that a day has passed is drawn all the same.
    high = loads.quantile(0.9, "linear") or 0.0
    return limit.rate_m3_per_day <= max(largest, _FARTHEST * high)


_LIMIT_WORDS = {
    "water retention": "water retention",
    "oil retention": "oil retention",
    "water dump": "dump valve, open all day",
    "oil valve": "oil valve, wide open",
    "water settling": "settling of oil drops in the water",
    "oil settling": "settling of water drops in the oil",
}
"""How a limit of VESSEL_CAPACITY is called on the picture, in its order there; gas is told as oil, see `_gas_limit`."""


def _limits(days: pl.DataFrame, capacity: pl.DataFrame) -> tuple[Limit, ...]:
    rows = {row["limit"]: row for row in capacity.drop_nulls("capacity_m3_per_day").iter_rows(named=True)}
    found = []
    for name, words in _LIMIT_WORDS.items():
        if name in rows:
            phase, rate = rows[name]["phase"], rows[name]["capacity_m3_per_day"]
            found.append(Limit(phase, rate, words, _used(days, phase, rate)))
    gas, used = _gas_limit(days.tail(_GAS_DAYS)), _median(days["gas_load_fraction"].drop_nulls().tail(7))
    if gas is not None and used is not None:
        found.append(Limit("oil", gas, "gas capacity at this gas-oil ratio", used, " of oil"))
    return tuple(found)


def _used(days: pl.DataFrame, phase: str, rate: float) -> float:
    """Return the share of a limit that the week's median load takes; all of it where nothing can be taken."""
    load = _median(days[f"{phase}_load_m3_per_day"].drop_nulls().tail(7)) or 0.0
    return load / rate if rate > 0 else 1.0


def _gas_limit(days: pl.DataFrame) -> float | None:
    """Return the oil rate at which the gas that comes with it takes all of the gas capacity.

    At a constant ratio of gas to oil that is each day's oil load over its share of the gas capacity.
    """
    known = days.filter((pl.col("oil_load_m3_per_day") > 0) & (pl.col("gas_load_fraction") > 0))
    return _median(known["oil_load_m3_per_day"] / known["gas_load_fraction"])


def _median(values: pl.Series) -> float | None:
    found = values.median()
    return float(found) if isinstance(found, int | float) else None


def _meeting(limit: Limit, days: pl.DataFrame, field: Field, *, is_drawn: bool) -> str:
    """Say how near the load is to a limit, and when its trend meets it or that it does not."""
    known = days.select("day", load=pl.col(f"{limit.phase}_load_m3_per_day")).drop_nulls()
    now = _median(known["load"].tail(7)) or 0.0
    system = field.display_units
    at = f"{limit.words}: {shown(limit.rate_m3_per_day, 'm3/day', system)}{limit.of}"
    beyond = "" if is_drawn else " (beyond the picture)"
    return f"{at}{beyond}, {percent(limit.used)} used this week; {_trend(limit, known, now)}."


def _trend(limit: Limit, known: pl.DataFrame, now: float) -> str:
    if known.height < _TREND_DAYS_AT_LEAST:
        return "too few days for a trend"
    if now >= limit.rate_m3_per_day:
        return "the load is above it"
    last: date = known["day"].to_list()[-1]
    times = np.array([(day - last).days for day in known["day"]], dtype=float)
    loads = known["load"].to_numpy()
    test = mann_kendall(loads, times, serial=True)
    if test.p_value > _SURE_OF_TREND:
        return "no trend in the load"
    slope = theil_sen(loads, times, test.variance / _independent_variance(len(loads)))
    if slope.slope <= 0:
        return "the load is falling"
    room = limit.rate_m3_per_day - (slope.intercept)
    return _when_met(last, room / slope.slope, room / slope.upper, room / slope.lower if slope.lower > 0 else None)


def _independent_variance(count: int) -> float:
    """Return the variance of the score of independent points. Source: Kendall 1975."""
    return count * (count - 1) * (2 * count + 5) / 18


def _when_met(last: date, days: float, soonest: float, latest: float | None) -> str:
    if days > _FAR_DAYS:
        return "its trend does not meet it within two years"
    until = "never" if latest is None or latest > _FAR_DAYS else _date(last, latest)
    return f"its trend meets it about {_date(last, days)} (between {_date(last, soonest)} and {until})"


def _date(last: date, days: float) -> str:
    at = last + timedelta(days=round(max(days, 0.0)))
    return f"{at.day} {at:%b %Y}"


def _specification(known: pl.DataFrame, limits: Sequence[Limit], field: Field) -> Spec:
    system = field.display_units
    water, unit = display_column(known["water_load_m3_per_day"], "m3/day", system)
    oil, _ = display_column(known["oil_load_m3_per_day"], "m3/day", system)
    week = known["day"].to_list()[-7:][0]
    days: dict[str, list[Any]] = {
        "x": _short(water), "y": _short(oil), "when": [day_text(day) for day in known["day"]],
        "week": [day >= week for day in known["day"]], "t": [0] * known.height,
    }  # fmt: skip
    rates = {
        phase: {
            limit.words: display_column(pl.Series([limit.rate_m3_per_day]), "m3/day", system)[0].item()
            for limit in sorted(limits, key=lambda one: one.rate_m3_per_day)
            if limit.phase == phase
        }
        for phase in ("water", "oil")
    }
    top_x = 1.1 * max([*days["x"], *rates["water"].values()]) or 1.0
    top_y = 1.1 * max([*days["y"], *rates["oil"].values()]) or 1.0
    # Of two lines without room between them, words go to the left of the left one and to the right of the other,
    # above the upper one and below the other.
    turned = {
        "water": {right for _, right in _crowded(rates["water"], _LABEL_PX / _NARROWEST_PX * top_x)},
        "oil": {lower for lower, _ in _crowded(rates["oil"], _LABEL_PX / _HEIGHT_PX * top_y)},
    }
    layers = _layers(unit, is_at_foot=_is_freer_below(list(rates["oil"].values()), top_y))
    data = {"layer0": days, "axes": {"x": [0.0, top_x], "y": [0.0, top_y]}}
    for phase, along in (("water", "x"), ("oil", "y")):
        for where, names in (("as usual", rates[phase].keys() - turned[phase]), ("turned", turned[phase])):
            words = [name for name in rates[phase] if name in names]
            data[f"{phase} {where}"] = {along: [rates[phase][name] for name in words], "words": words}
    return {
        "width": "container",
        "height": _HEIGHT_PX,
        "layer": [{**layer, "data": {"name": name}} for name, layer in layers if data[name][next(iter(data[name]))]],
        "datasets": data,
    }


def _crowded(rates: Mapping[str, float], room: float) -> list[tuple[str, str]]:
    """Return the pairs of neighbouring limits that have no room for words between them, the lower one first."""
    return [(lower, upper) for lower, upper in pairwise(rates) if rates[upper] - rates[lower] < room]


def _is_freer_below(oil_rates: Sequence[float], top: float) -> bool:
    """Return whether the words along the water limits lie clear of the oil limits' words at their foot."""
    return bool(oil_rates) and min(oil_rates) > top - max(oil_rates)


def _short(values: pl.Series) -> list[float]:
    return [float(f"{value:.4g}") for value in values]


@cache
def _layers(unit: str, *, is_at_foot: bool) -> tuple[tuple[str, Spec], ...]:
    """Return pairs of data name and layer; an unseen one carries the axes, which start at nothing."""
    quiet, ink, named = variable("quiet"), variable("ink"), alt.NamedData(name="")
    across = alt.Axis(title=f"water, {unit}", titleAnchor="end")
    upward = alt.Axis(title=f"oil, {unit}", titleAngle=0, titleAlign="left", titleY=-10, titleX=-44)
    flat = alt.Scale(nice=False)
    axes = alt.Chart(named).mark_point(opacity=0)
    points = alt.Chart(named).mark_point(size=30, opacity=0.9)
    is_week = alt.datum.week
    layers = [
        ("axes", as_layer(axes.encode(
            x=alt.X("x:Q", scale=flat, axis=across), y=alt.Y("y:Q", scale=flat, axis=upward)))),
        ("layer0", as_layer(points.encode(
            x="x:Q", y="y:Q",
            tooltip=[alt.Tooltip("when:N"), alt.Tooltip("x:Q", title="water"), alt.Tooltip("y:Q", title="oil")],
            color=alt.condition(is_week, alt.value(ink), alt.value(quiet)),
            fill=alt.condition(is_week, alt.value(ink), alt.value("transparent"))))),
    ]  # fmt: skip
    for where, side in (("as usual", -1), ("turned", 1)):
        layers += [(f"water {where}", layer) for layer in _water_limits(side, is_at_foot=is_at_foot)]
        layers += [(f"oil {where}", layer) for layer in _oil_limits(side)]
    return tuple(layers)


def _water_limits(side: int, *, is_at_foot: bool) -> tuple[Spec, ...]:
    """Return upright lines with their words along them: left of the line, or right of it with `side` 1."""
    line = alt.Chart(alt.NamedData(name="")).mark_rule(color=variable("water"), strokeDash=[5, 3]).encode(x="x:Q")
    y = alt.value(_HEIGHT_PX - 4 if is_at_foot else 4)
    words = (
        text.encode(x="x:Q", y=y, text="words:N")
        for text in _said(side, angle=270, align="left" if is_at_foot else "right")
    )
    return (as_layer(line), *(as_layer(one) for one in words))


def _oil_limits(side: int) -> tuple[Spec, ...]:
    """Return level lines with their words above them, or below them with `side` 1."""
    line = alt.Chart(alt.NamedData(name="")).mark_rule(color=variable("oil"), strokeDash=[5, 3]).encode(y="y:Q")
    words = (text.encode(x=alt.value(4), y="y:Q", text="words:N") for text in _said(side, align="left"))
    return (as_layer(line), *(as_layer(one) for one in words))


def _said(side: int, **place: Any) -> tuple[alt.Chart, ...]:
    """Return words in ink over the same words broad in the paper's colour, so that days behind do not strike them."""
    look: dict[str, Any] = {
        "baseline": "bottom" if side < 0 else "top", "dy": 3 * side, "font": FONT, "fontSize": 12, **place,
    }  # fmt: skip
    text = alt.Chart(alt.NamedData(name="")).mark_text
    paper, ink = variable("paper"), variable("ink")
    return text(color=paper, stroke=paper, strokeWidth=4, **look), text(color=ink, **look)


def _alternative(vessel: Vessel, known: pl.DataFrame, limits: Sequence[Limit], field: Field) -> str:
    system = field.display_units
    ranges = [
        f"{phase} {shown(low, 'm3/day', system).text} to {shown(high, 'm3/day', system)}"
        for phase in ("water", "oil")
        for low, high in [_ends(known[f"{phase}_load_m3_per_day"])]
    ]
    told = "; ".join(f"limit by {one.words} {shown(one.rate_m3_per_day, 'm3/day', system)}" for one in limits)
    return f"Water rate against oil rate of {vessel.id}, {known.height} days: {', '.join(ranges)}. {told}"


def _ends(values: pl.Series) -> tuple[float, float]:
    ordered = values.drop_nulls().sort().to_list()
    return ordered[0], ordered[-1]
