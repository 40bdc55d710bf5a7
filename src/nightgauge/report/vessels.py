"""Vessel by vessel: the drawn section, the settings, and the operating envelope."""

from dataclasses import dataclass
from datetime import UTC

import polars as pl
from markupsafe import Markup

from nightgauge.field.settings import BackPressureValve, Vessel, WaterDump
from nightgauge.report.cards import ChartShown, anchor, safe_json
from nightgauge.report.drawing import Levels, drawn_vessel, size_text
from nightgauge.report.envelope import envelope
from nightgauge.report.quantities import shown
from nightgauge.report.week import WeekView
from nightgauge.units import System

ENVELOPE_DAYS = 90
_SCHEMATIC = "Places and sizes of the nozzles are schematic."


@dataclass(frozen=True)
class VesselShown:
    """One vessel as the page describes it."""

    vessel: str
    name: str
    service: str
    anchor: str
    drawing: Markup | None
    drawing_note: str
    settings: tuple[tuple[str, str], ...]
    chart: ChartShown | None
    sentences: tuple[str, ...]
    has_limits: bool


def vessels(view: WeekView) -> tuple[VesselShown, ...]:
    """Return what is told of each vessel, in the field's order."""
    days = {str(key[0]): part for key, part in view.days.partition_by("vessel", as_dict=True).items()}
    return tuple(_vessel(one, view, days.get(one.id, view.days.clear()).sort("day")) for one in view.field.vessels)


def _vessel(vessel: Vessel, view: WeekView, days: pl.DataFrame) -> VesselShown:
    week = days.filter(pl.col("day").is_between(view.monday, view.sunday))
    interface, oil = _interface(vessel, view, week), _pooled(vessel, view, "oil_level")
    name = anchor("section", vessel.id)
    drawing = drawn_vessel(vessel, interface, oil, view.field.display_units, name)
    made = envelope(vessel, view.field, days.tail(ENVELOPE_DAYS), view.capacity.filter(pl.col("vessel") == vessel.id))
    return VesselShown(
        vessel=vessel.id,
        name=vessel.name or "",
        service=vessel.service,
        anchor=anchor("about", vessel.id),
        drawing=drawing,
        drawing_note=_note(drawing, interface, oil),
        settings=_settings(vessel, view.field.display_units),
        chart=None if made is None else ChartShown(safe_json(made.specification), made.alternative, made.height),
        sentences=() if made is None else made.sentences,
        has_limits=made is not None and made.has_limits,
    )


def _note(drawing: Markup | None, interface: Levels, oil: Levels) -> str:
    if drawing is None:
        return "Not drawn: field.toml gives no full dimensions."
    if interface.low_m is None and oil.low_m is None:
        return f"To scale. No level is measured: drawn at the settings. {_SCHEMATIC}"
    hatched = "hatched: where a level stood from its 10th to its 90th percentile"
    return f"To scale, at the week’s median levels; {hatched}. {_SCHEMATIC}"


def _interface(vessel: Vessel, view: WeekView, week: pl.DataFrame) -> Levels:
    pooled = _pooled(vessel, view, "interface_level")
    if pooled.median_m is not None:
        return pooled
    ends = pl.concat([week["opening_level_m"], week["closing_level_m"], week["held_interface_m"]]).drop_nulls()
    return _levels(ends, week["held_interface_m"].drop_nulls())


def _pooled(vessel: Vessel, view: WeekView, signal: str) -> Levels:
    """Return the week's levels from its hours: each hour's 10th percentile, mean and 90th taken as three readings."""
    hours = view.levels.filter(
        (pl.col("vessel") == vessel.id)
        & (pl.col("signal") == signal)
        & (pl.col("hour_utc") >= view.start.astimezone(UTC))
        & (pl.col("hour_utc") < view.end.astimezone(UTC))
    )
    return _levels(pl.concat([hours["p10"], hours["mean"], hours["p90"]]).drop_nulls(), hours["mean"].drop_nulls())


def _levels(readings: pl.Series, middle: pl.Series) -> Levels:
    median = middle.median() if len(middle) else readings.median()
    if not isinstance(median, float):
        return Levels()
    return Levels(median, readings.quantile(0.1, "nearest"), readings.quantile(0.9, "nearest"))


def _settings(vessel: Vessel, system: System) -> tuple[tuple[str, str], ...]:
    """Return the settings that stand in field.toml, in words; those in force last where they are dated."""
    dump = vessel.water_dump[-1] if vessel.water_dump else WaterDump()
    oil = vessel.oil_valve[-1] if vessel.oil_valve else BackPressureValve()
    gas = vessel.gas_valve[-1] if vessel.gas_valve else BackPressureValve()
    wanted: tuple[tuple[str, float | None, str], ...] = (
        ("water dump opens at", dump.opens_at_m, "m"),
        ("water dump shuts at", dump.closes_at_m, "m"),
        ("water dump holds", dump.holds_m, "m"),
        ("water dump’s rated Cv", dump.cv, ""),
        ("oil valve holds", oil.holds_kpag, "kPag"),
        ("gas valve holds", gas.holds_kpag, "kPag"),
        ("working pressure", vessel.max_working_pressure_kpag, "kPag"),
        ("water retention required by bottle test", vessel.required_water_retention_min, "min"),
        ("oil retention required by bottle test", vessel.required_oil_retention_min, "min"),
    )
    sizes = (("inside diameter", vessel.inside_diameter_m), ("length, seam to seam", vessel.length_m))
    return (
        *((words, str(shown(value, unit, system))) for words, value, unit in wanted if value is not None),
        *((words, size_text(value, system)) for words, value in sizes if value is not None),
    )
