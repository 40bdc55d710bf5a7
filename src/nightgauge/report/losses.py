"""Back pressure and carryover on the weekly page: who costs most, what each psi costs, what is missing for a price."""

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from nightgauge.field.settings import Vessel
from nightgauge.report.back_pressure import BackPressure
from nightgauge.report.cards import ChartShown, anchor
from nightgauge.report.carried import Carried
from nightgauge.report.pressure_months import chart, key, months
from nightgauge.report.week import WeekView
from nightgauge.report.words import listed

FIRST_LINES = 10
"""Lines that stand open; the others are folded. House choice: what a person reads in a minute."""
PRESSURE_FORMULA = "liquid held back: held above × productivity index (with a pump’s slope where given), added up"
HEAT_FORMULA = "heat: water × density × specific heat of fresh water × rise; fuel: heat ÷ efficiency"


@dataclass(frozen=True)
class LossLine:
    """One vessel that costs something; texts only."""

    vessel: str
    anchor: str
    sentences: tuple[str, ...]
    pressure_terms: tuple[tuple[str, str], ...]
    heat_terms: tuple[tuple[str, str], ...]
    months: tuple[tuple[str, str, str, str], ...]
    chart: ChartShown | None
    key: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Losses:
    """The section of the page."""

    lines: tuple[LossLine, ...]
    """Most costly first."""
    each: str
    """What each psi costs where nothing is held above what is needed."""
    missing: str
    """For whom no price is known, and what is missing."""
    first: int = FIRST_LINES
    pressure_formula: str = PRESSURE_FORMULA
    heat_formula: str = HEAT_FORMULA


def losses(view: WeekView) -> Losses | None:
    """Return what back pressure and carryover cost this week; None where nothing is known of it."""
    pressures, carried = _by_vessel(view.back_pressure, view), _by_vessel(view.carryover, view)
    costly: list[tuple[tuple[float, ...], LossLine]] = []
    each: list[str] = []
    lacks: dict[str, list[str]] = {}
    for vessel in view.field.vessels:
        pressure = BackPressure(vessel, view, pressures.get(vessel.id, view.back_pressure.clear()))
        water = _week_of(vessel, view, carried)
        line = _line(vessel, pressure, water)
        if line is not None:
            costly.append((_rank(pressure, water), line))
        if not pressure.sentences() and pressure.each():
            each.append(f"{vessel.id} {pressure.each()}")
        for what in _lacking(pressure, water):
            lacks.setdefault(what, []).append(vessel.id)
    if not costly and not each:
        return None
    costly.sort(key=lambda pair: pair[0], reverse=True)
    return Losses(tuple(line for _, line in costly), _each(view, each), _missing(lacks))


def _by_vessel(frame: pl.DataFrame, view: WeekView) -> Mapping[str, pl.DataFrame]:
    shown = frame.filter(pl.col("day") <= view.sunday).sort("vessel", "day")
    return {str(name[0]): rows for name, rows in shown.partition_by("vessel", as_dict=True).items()}


def _week_of(vessel: Vessel, view: WeekView, carried: Mapping[str, pl.DataFrame]) -> Carried:
    rows = carried.get(vessel.id, view.carryover.clear())
    return Carried(vessel, view, rows.filter(pl.col("day") >= view.monday))


def _line(vessel: Vessel, pressure: BackPressure, water: Carried) -> LossLine | None:
    held = pressure.sentences()
    sentences = (*held, *water.sentences())
    if not sentences:
        return None
    return LossLine(
        vessel=vessel.id,
        anchor=anchor("about", vessel.id),
        sentences=sentences,
        pressure_terms=pressure.terms() if held else (),
        heat_terms=water.terms(),
        months=months(pressure) if held else (),
        chart=chart(pressure) if held else None,
        key=key(pressure) if held else (),
    )


def _rank(pressure: BackPressure, water: Carried) -> tuple[float, ...]:
    """Return a day's cost to sort by: money, then oil, then liquid, then fuel; nothing counts for what is not known."""
    held = (
        {name: pressure.middle(name) or 0.0 for name in _PER_DAY} if pressure.is_told else dict.fromkeys(_PER_DAY, 0.0)
    )
    carried = {name: water.per_day(name) or 0.0 for name in ("oil_with_water_m3", "oil_money", "fuel_mj", "fuel_money")}
    return (
        held["oil_loss_money"] + carried["oil_money"] + carried["fuel_money"],
        held["oil_loss_m3_per_day"] + carried["oil_with_water_m3"],
        held["liquid_loss_m3_per_day"],
        carried["fuel_mj"],
    )


_PER_DAY = ("liquid_loss_m3_per_day", "oil_loss_m3_per_day", "oil_loss_money")


def _each(view: WeekView, each: list[str]) -> str:
    if not each:
        return ""
    step = "psi" if view.field.display_units == "oilfield" else "kPa"
    return f"Where nothing above need or setting is seen to be held, each {step} costs: {'; '.join(each)}."


def _lacking(pressure: BackPressure, water: Carried) -> tuple[str, ...]:
    """Return what is missing for a price of what was seen this week, in words."""
    lacks = []
    is_held = pressure.middle("held_kpag") is not None
    if is_held and pressure.needed_by is None:
        lacks.append("the pressure needed (oil_valve.needs, or holds)")
    if is_held and not pressure.is_told and pressure.lacking("wells_without_index"):
        lacks.append("productivity indices of wells that flow there")
    if water.per_day("water_with_oil_m3") and water.per_day("heat_mj") is None:
        lacks.append("the heater that follows (heating)" if water.vessel.heating is None else "a temperature")
    return tuple(lacks)


def _missing(lacks: Mapping[str, list[str]]) -> str:
    told = [f"{listed(vessels)} lack{'s' if len(vessels) == 1 else ''} {what}" for what, vessels in lacks.items()]
    return f"No price, or only a part of it, is known where something is missing: {'; '.join(told)}." if told else ""
