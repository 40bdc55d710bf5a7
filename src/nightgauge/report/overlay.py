"""Level against time since opening: the dumps of a period over the band of the reference weeks."""

from dataclasses import dataclass
from functools import cache
from typing import Any

import altair as alt
import polars as pl

from nightgauge.report.charts import Spec, as_layer
from nightgauge.report.colours import variable
from nightgauge.report.quantities import display_column
from nightgauge.units import System

_STEPS = 60
"""Points along a curve: every ten pixels, which a float's travel does not outrun. House choice."""
_CURVES = 40
"""Single dumps drawn, the latest ones: more are a blot, and the band is there for the many. House choice."""
_LONGEST = 1.5
"""The axis reaches this many of the reference's typical times open, so that a dump that is late to shut shows."""
_HEIGHT_PX = 240


@dataclass(frozen=True)
class Overlay:
    """The chart and its words."""

    specification: Spec
    alternative: str
    height: int


def overlay(level: pl.DataFrame, reference: pl.DataFrame, period: pl.DataFrame, system: System) -> Overlay | None:
    """Return the overlay, or None without dumps or a level to draw.

    Parameters
    ----------
    level : VESSEL_SAMPLES
        Of interface_level alone, sorted by time, over both spans.
    reference, period : DUMP_CYCLES
        Dumps of the reference weeks and of the period.
    system : {"oilfield", "metric"}
        Units of the chart.

    """
    both = pl.concat([reference, period])
    typical = both["drain_s"].drop_nulls().median()
    if not isinstance(typical, float) or level.is_empty() or period.is_empty():
        return None
    longest = _LONGEST * typical
    band = _curves(level, reference, longest).group_by("since_s", maintain_order=True).agg(
        low=pl.col("level").quantile(0.1), mid=pl.col("level").median(), high=pl.col("level").quantile(0.9)
    )  # fmt: skip
    single = _curves(level, period.tail(_CURVES), longest)
    if single.is_empty():
        return None
    unit = display_column(pl.Series([0.0]), "m", system)[1]
    data = {
        "band": _shown(band, ("low", "mid", "high"), system) | {"t": band["since_s"].to_list()},
        "single": _shown(single, ("level",), system)
        | {"t": single["since_s"].to_list(), "dump": single["dump"].to_list()},
    }
    layers = [{**layer, "data": {"name": name}} for name, layer in _layers(unit)]
    spec = {"width": "container", "height": _HEIGHT_PX, "layer": layers, "datasets": data}
    drawn = single["dump"].n_unique()
    past = f"over the median and 10 to 90 % band of {reference.height} dumps of the reference weeks"
    past = "without a reference, as none is known" if band.is_empty() else past
    words = f"Interface level against seconds since opening: {drawn} dumps of the period {past}."
    return Overlay(spec, words, _HEIGHT_PX + 60)


def _curves(level: pl.DataFrame, cycles: pl.DataFrame, longest_s: float) -> pl.DataFrame:
    """Return the level at even steps after each opening, on the line between samples: dump, since_s, level."""
    steps = pl.DataFrame({"since_s": [round(longest_s * at / _STEPS, 1) for at in range(_STEPS + 1)]})
    asked = cycles.select(dump=pl.int_range(pl.len()), opened="opened_utc").join(steps, how="cross")
    asked = asked.with_columns(
        time_utc=(pl.col("opened") + pl.duration(milliseconds=(pl.col("since_s") * 1000).cast(pl.Int64)))
    ).sort("time_utc", maintain_order=True)
    known = level.filter(pl.col("value").is_not_null() & (pl.col("flag") != "bad")).select(
        "time_utc", "value", "max_gap_s", at="time_utc"
    )
    tail = known.select("time_utc", later="value", later_at="time_utc")
    found = asked.join_asof(known, on="time_utc", strategy="backward").join_asof(
        tail, on="time_utc", strategy="forward"
    )
    width = (pl.col("later_at") - pl.col("at")).dt.total_microseconds()
    share = (pl.col("time_utc") - pl.col("at")).dt.total_microseconds() / width
    on_line = pl.col("value") + pl.when(width > 0).then(share).otherwise(0.0) * (pl.col("later") - pl.col("value"))
    is_known = width <= pl.col("max_gap_s") * 1e6
    return (
        found.select("dump", "since_s", level=pl.when(is_known).then(on_line))
        .drop_nulls()
        .sort("dump", "since_s", maintain_order=True)
    )


def _shown(frame: pl.DataFrame, columns: tuple[str, ...], system: System) -> dict[str, list[Any]]:
    return {name: [float(f"{value:.5g}") for value in display_column(frame[name], "m", system)[0]] for name in columns}


@cache
def _layers(unit: str) -> tuple[tuple[str, Spec], ...]:
    named, ink = alt.NamedData(name=""), variable("ink")
    x = alt.X("t:Q", scale=alt.Scale(nice=False), axis=alt.Axis(title="seconds since opening", titleAnchor="end"))
    y = alt.Scale(nice=False, zero=False)
    axis = alt.Axis(title=f"interface, {unit}", titleAngle=0, titleAlign="left", titleY=-10, titleX=-44)
    area = (
        alt.Chart(named)
        .mark_area(color=variable("band"))
        .encode(x=x, y=alt.Y("low:Q", scale=y, axis=axis), y2="high:Q")
    )
    single = alt.Chart(named).mark_line(color=variable("water"), strokeWidth=1, opacity=0.55)
    middle = alt.Chart(named).mark_line(color=ink, strokeWidth=1.6, strokeDash=[5, 3])
    return (
        ("band", as_layer(area)),
        ("single", as_layer(single.encode(x="t:Q", y="level:Q", detail="dump:N"))),
        ("band", as_layer(middle.encode(x="t:Q", y="mid:Q"))),
    )
