"""A vessel's back pressure over months: held, needed and header pressure day by day, and medians by month."""

import polars as pl

from nightgauge.field.calendar import day_bounds
from nightgauge.report.back_pressure import BackPressure
from nightgauge.report.cards import ChartShown, safe_json
from nightgauge.report.charts import Chart, Layer, alternative, specification
from nightgauge.report.quantities import display_column
from nightgauge.report.scene import DAY_MS
from nightgauge.units import DIMENSIONS

_HEIGHT_PX = 130
_MONTHS = 12


def months(one: BackPressure) -> tuple[tuple[str, str, str, str], ...]:
    """Return the last months: name, median pressure held, median excess, liquid held back at most."""
    by_month = (
        one.rows.with_columns(month=pl.col("day").dt.truncate("1mo"))
        .group_by("month")
        .agg(
            pl.col("held_kpag", "excess_kpa").median(),
            liquid=pl.col("liquid_loss_m3_per_day").sum(),
            known=pl.col("liquid_loss_m3_per_day").count(),
        )
        .sort("month")
        .tail(_MONTHS)
    )
    return tuple(
        (
            f"{row['month']:%B %Y}",
            _or_dash(row["held_kpag"], "kPag", one),
            _or_dash(row["excess_kpa"], "kPa", one),
            _or_dash(row["liquid"] if row["known"] else None, "m3", one),
        )
        for row in by_month.iter_rows(named=True)
    )


def _or_dash(value: float | None, unit: str, one: BackPressure) -> str:
    return "–" if value is None else one.said(value, unit)


def chart(one: BackPressure) -> ChartShown | None:
    """Return the days' pressures: held, needed, header; None of fewer than two known days."""
    if one.rows["held_kpag"].drop_nulls().len() < 2:
        return None
    first, last = one.rows["day"][0], one.rows["day"][-1]
    # A day without a row is a gap, which breaks the lines.
    every = pl.DataFrame({"day": pl.date_range(first, last, eager=True)}).join(
        one.rows, on="day", how="left", maintain_order="left"
    )
    zone, unit = one.view.field.zone, DIMENSIONS["pressure"].display(one.view.field.display_units)
    drawn = Chart(
        day_bounds(zone, first)[0], day_bounds(zone, last)[1], zone, f"pressure, {unit}", _layers(one, every),
        height=_HEIGHT_PX,
    )  # fmt: skip
    title = f"Pressure held by the oil valve of {one.vessel.id}, day by day"
    return ChartShown(safe_json(specification(drawn)), alternative(drawn, title), drawn.height + 46)


def _layers(one: BackPressure, every: pl.DataFrame) -> tuple[Layer, ...]:
    times = (every["day"].cast(pl.Datetime("ms")).dt.epoch("ms") + DAY_MS // 2).to_list()
    held, needed, header = (_shown(one, every[name]) for name in ("held_kpag", "needed_kpag", "header_kpag"))
    above = [h if excess else None for h, excess in zip(held, every["excess_kpa"], strict=True)]
    drawn = (
        Layer("area_below", {"t": times, "y": above, "y2": needed}, "high"),
        Layer("dashed_line", {"t": times, "y": needed}, "quiet"),
        Layer("line", {"t": times, "y": header}, "quiet"),
        Layer("line", {"t": times, "y": held}, "ink"),
    )
    return tuple(layer for layer in drawn if any(y is not None for y in layer.columns["y"]))


def _shown(one: BackPressure, values: pl.Series) -> list[float | None]:
    column = display_column(values, "kPag", one.view.field.display_units)[0]
    return [None if value is None else float(f"{value:.5g}") for value in column]


def key(one: BackPressure) -> tuple[tuple[str, str], ...]:
    """Return what the shapes of the picture are: pairs of look and words."""
    looks = [("line ink", "held by the oil valve")]
    if one.needed_by is not None:
        looks.append(("dash", "needed" if one.needed_by == "needs" else "set"))
    if (one.rows["excess_kpa"] > 0.0).any():
        looks.append(("area", "above that"))
    if one.rows["header_kpag"].count():
        looks.append(("line quiet", "header"))
    return tuple(looks)
