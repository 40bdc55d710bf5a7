"""The picture of an anode's current: one that died, jumped, or wears its bar away."""

from datetime import UTC, timedelta

import polars as pl

from nightgauge.report.charts import Chart, Layer
from nightgauge.report.quantities import display_column
from nightgauge.report.scene import DAY_MS, Picture, Scene
from nightgauge.report.words import day_text
from nightgauge.vocabulary.signals import of_part

DRAWN = timedelta(days=90)
"""How much of a current is drawn. Fixed by the page's design, as for the operating envelope."""
_HEIGHT_PX = 120
_TITLES = {
    "anode_spent": "The current that wears anode {} away, day by day",
    "anode_current_lost": "The current of anode {} falls to nothing",
    "anode_current_jumped": "The current of anode {} jumps",
}


def anode_current(scene: Scene) -> Picture | None:
    """Return the daily current of the finding's anode over 90 days; None where it has no current."""
    _, _, anode = scene.finding["element"].partition(":")
    daily = _daily(scene, of_part("anode_current", anode))
    if daily.is_empty():
        return None
    values, unit = display_column(daily["current"], "A", scene.field.display_units)
    points = Layer(
        "points",
        {
            "t": (daily["day"].cast(pl.Datetime("ms")).dt.epoch("ms") + DAY_MS // 2).to_list(),
            "y": [float(f"{value:.5g}") for value in values],
            "when": [day_text(day) for day in daily["day"]],
            "found": [scene.said(value, "A") for value in daily["current"]],
        },
    )
    top = max(points.columns["y"]) * 1.08 or 1.0
    chart = Chart(
        (scene.until - DRAWN).astimezone(UTC), scene.until, scene.field.zone, f"current, {unit}", (points,),
        **scene.turns, height=_HEIGHT_PX, y_domain=(0.0, top),
    )  # fmt: skip
    title = _TITLES.get(scene.finding["kind"], "Current of anode {}")
    return Picture(title.format(anode), (chart,), (("dot ink", "mean of a day"),))


def _daily(scene: Scene, signal: str) -> pl.DataFrame:
    """Return the mean current of each day of the field that has any, weighted by how long it was known."""
    own = (pl.col("vessel") == scene.vessel.id) & (pl.col("signal") == signal) & (pl.col("coverage") > 0)
    recent = pl.col("hour_utc").is_between(scene.until - DRAWN, scene.until, closed="left")
    known = scene.currents.filter(own & recent & pl.col("mean").is_not_null())
    day = pl.col("hour_utc").dt.convert_time_zone(scene.field.time_zone).dt.date().alias("day")
    mean = (pl.col("mean") * pl.col("coverage")).sum() / pl.col("coverage").sum()
    return known.group_by(day).agg(mean.alias("current")).sort("day")
