"""The operating envelope: each day's water and oil rate, what the vessel can take, and when the trend meets it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from typing import Any

import altair as alt
import numpy as np
import polars as pl

from nightgauge.field.settings import Field, Vessel
from nightgauge.physics.valve import flow_m3_per_day, liquid_head_kpa
from nightgauge.report.charts import FONT, Spec, as_layer
from nightgauge.report.colours import variable
from nightgauge.report.quantities import display_column, shown
from nightgauge.report.words import day_text
from nightgauge.statistics.trend import mann_kendall, theil_sen

_LIMIT_DAYS = 28
"""Days whose median retention gives the limit. House choice: the vessel as it is now, not as it was last quarter."""
_TREND_DAYS_AT_LEAST = 28
"""House choice: a trend of less than four weeks says more about the weeks than about the wells."""
_SURE_OF_TREND = 0.05
"""Mann-Kendall p value below which a trend is told. Common practice, as in its tables."""
_FAR_DAYS = 730
"""A meeting later than this is not told as a date: two years of the same wells is no forecast."""
_HEIGHT_PX = 260


@dataclass(frozen=True)
class Limit:
    """What one part of the vessel can take of one phase. [m3/day]"""

    phase: str
    rate_m3_per_day: float
    words: str


@dataclass(frozen=True)
class Envelope:
    """The chart, its words, and what the trend says."""

    specification: Spec
    alternative: str
    height: int
    sentences: tuple[str, ...]


def envelope(vessel: Vessel, field: Field, days: pl.DataFrame) -> Envelope | None:
    """Return the envelope of the days given, or None where water and oil rate are not both known.

    Parameters
    ----------
    vessel, field : Vessel, Field
        For the dump valve's rating and the display units.
    days : VESSEL_DAYS
        Of this vessel, up to 90.

    """
    known = days.filter(pl.col("water_load_m3_per_day").is_not_null() & pl.col("oil_load_m3_per_day").is_not_null())
    if known.is_empty():
        return None
    limits = _limits(vessel, days)
    sentences = tuple(_meeting(limit, days, field) for limit in limits)
    return Envelope(
        _specification(known, limits, field), _alternative(vessel, known, limits, field), _HEIGHT_PX + 60, sentences
    )


def _limits(vessel: Vessel, days: pl.DataFrame) -> tuple[Limit, ...]:
    found = []
    for phase in ("water", "oil"):
        rate = _retention_limit(days.tail(_LIMIT_DAYS), phase)
        if rate is not None:
            found.append(Limit(phase, rate, f"{phase} retention"))
    dump = _dump_limit(vessel, days.tail(_LIMIT_DAYS))
    return (*found, Limit("water", dump, "dump valve, open all day")) if dump is not None else tuple(found)


def _retention_limit(days: pl.DataFrame, phase: str) -> float | None:
    """Return the load at which retention equals the requirement: volume there / required time."""
    load, found = pl.col(f"{phase}_load_m3_per_day"), pl.col(f"{phase}_retention_min")
    limits = days.select(load * found / pl.col(f"{phase}_required_min")).to_series().drop_nulls()
    return _median(limits)


def _dump_limit(vessel: Vessel, days: pl.DataFrame) -> float | None:
    """Return the flow of the rated dump valve open all day, at the pressure held and the head of its opening level."""
    if not vessel.water_dump:
        return None
    dump, pressure = vessel.water_dump[-1], _median(days["oil_hold_kpag"].drop_nulls())
    level = dump.holds_m if dump.opens_at_m is None else dump.opens_at_m
    if dump.cv is None or dump.downstream_pressure_kpag is None or pressure is None or level is None:
        return None
    gravity = vessel.water_specific_gravity or 1.0
    head = liquid_head_kpa(level - (dump.elevation_m or 0.0), gravity)
    return float(flow_m3_per_day(dump.cv, pressure + head - dump.downstream_pressure_kpag, gravity))


def _median(values: pl.Series) -> float | None:
    found = values.median()
    return float(found) if isinstance(found, int | float) else None


def _meeting(limit: Limit, days: pl.DataFrame, field: Field) -> str:
    """Say how near the load is to a limit, and when its trend meets it or that it does not."""
    known = days.select("day", load=pl.col(f"{limit.phase}_load_m3_per_day")).drop_nulls()
    now = _median(known["load"].tail(7)) or 0.0
    system = field.display_units
    at = f"{limit.words}: {shown(limit.rate_m3_per_day, 'm3/day', system)}"
    used = f"{now / limit.rate_m3_per_day * 100:.0f} % used this week" if limit.rate_m3_per_day > 0 else "nothing left"
    return f"{at}, {used}; {_trend(limit, known, now)}."


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
    rates = {
        limit.words: display_column(pl.Series([limit.rate_m3_per_day]), "m3/day", system)[0].item() for limit in limits
    }
    week = known["day"].to_list()[-7:][0]
    data: dict[str, dict[str, list[Any]]] = {
        "layer0": {
            "x": _short(water), "y": _short(oil), "when": [day_text(day) for day in known["day"]],
            "week": [day >= week for day in known["day"]], "t": [0] * known.height,
        },
        "limits": {"x": [rates[one.words] for one in limits if one.phase == "water"],
                   "words": [one.words for one in limits if one.phase == "water"]},
        "oil_limits": {"y": [rates[one.words] for one in limits if one.phase == "oil"],
                       "words": [one.words for one in limits if one.phase == "oil"]},
    }  # fmt: skip
    top_x = 1.1 * max([*data["layer0"]["x"], *data["limits"]["x"]])
    top_y = 1.1 * max([*data["layer0"]["y"], *data["oil_limits"]["y"]])
    layers = [{**layer, "data": {"name": name}} for name, layer in _layers(unit)]
    data["axes"] = {"x": [0.0, top_x], "y": [0.0, top_y]}
    return {"width": "container", "height": _HEIGHT_PX, "layer": layers, "datasets": data}


def _short(values: pl.Series) -> list[float]:
    return [float(f"{value:.4g}") for value in values]


@cache
def _layers(unit: str) -> tuple[tuple[str, Spec], ...]:
    """Return pairs of data name and layer; an unseen one carries the axes, which start at nothing."""
    quiet, ink, named = variable("quiet"), variable("ink"), alt.NamedData(name="")
    across = alt.Axis(title=f"water, {unit}", titleAnchor="end")
    upward = alt.Axis(title=f"oil, {unit}", titleAngle=0, titleAlign="left", titleY=-10, titleX=-44)
    flat = alt.Scale(nice=False)
    axes = alt.Chart(named).mark_point(opacity=0)
    points = alt.Chart(named).mark_point(size=30, opacity=0.9)
    rule, words = alt.Chart(named).mark_rule, alt.Chart(named).mark_text
    said: dict[str, Any] = {"baseline": "bottom", "dy": -3, "color": ink, "font": FONT, "fontSize": 12}
    is_week = alt.datum.week
    return (
        ("axes", as_layer(axes.encode(
            x=alt.X("x:Q", scale=flat, axis=across), y=alt.Y("y:Q", scale=flat, axis=upward)))),
        ("layer0", as_layer(points.encode(
            x="x:Q", y="y:Q",
            tooltip=[alt.Tooltip("when:N"), alt.Tooltip("x:Q", title="water"), alt.Tooltip("y:Q", title="oil")],
            color=alt.condition(is_week, alt.value(ink), alt.value(quiet)),
            fill=alt.condition(is_week, alt.value(ink), alt.value("transparent"))))),
        ("limits", as_layer(rule(color=variable("water"), strokeDash=[5, 3]).encode(x="x:Q"))),
        ("limits", as_layer(words(angle=270, align="right", **said).encode(x="x:Q", y=alt.value(4), text="words:N"))),
        ("oil_limits", as_layer(rule(color=variable("oil"), strokeDash=[5, 3]).encode(y="y:Q"))),
        ("oil_limits", as_layer(words(align="left", **said).encode(y="y:Q", x=alt.value(4), text="words:N"))),
    )  # fmt: skip


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
