"""What the carryover of one vessel takes in a week, in sentences, with its arithmetic."""

from dataclasses import dataclass

import polars as pl

from nightgauge.field.settings import Vessel
from nightgauge.report.back_pressure import money_text
from nightgauge.report.quantities import percent, shown
from nightgauge.report.week import WeekView


@dataclass(frozen=True)
class Carried:
    """One vessel's days of carryover in the week."""

    vessel: Vessel
    view: WeekView
    rows: pl.DataFrame

    def per_day(self, column: str) -> float | None:
        """Return the mean of the week's known days; None where none is known."""
        value = self.rows[column].mean()
        return value if isinstance(value, float) else None

    def said(self, value: float, unit: str) -> str:
        """Return an inside value as people read it."""
        return str(shown(value, unit, self.view.field.display_units))

    def sentences(self) -> tuple[str, ...]:
        """Return what is told of this vessel; nothing where nothing is carried over or its cost is not known."""
        return tuple(filter(None, (self._water(), self._oil())))

    def _water(self) -> str:
        water, heat, fuel = (self.per_day(name) for name in ("water_with_oil_m3", "heat_mj", "fuel_mj"))
        heating = self.vessel.heating
        if heating is None or water is None or fuel is None or not heat:
            return ""
        return (
            f"{self.said(water, 'm3/day')} of water leaves with the oil: heating it to "
            f"{self.said(heating.to_c, 'degC')} takes up to {self.said(heat, 'MJ')} of heat a day, "
            f"{self.said(fuel, 'MJ')} of fuel{self._money('fuel_money')}."
        )

    def _oil(self) -> str:
        oil = self.per_day("oil_with_water_m3")
        if not oil:
            return ""
        return f"{self.said(oil, 'm3/day')} of oil leaves with the water{self._money('oil_money')}."

    def _money(self, column: str) -> str:
        money, prices = self.per_day(column), self.view.field.prices
        return "" if money is None or prices is None else f" ({money_text(money, prices.currency)} a day)"

    def terms(self) -> tuple[tuple[str, str], ...]:
        """Return the numbers that heat and fuel are reckoned from, as means of the week's known days."""
        heating, system = self.vessel.heating, self.view.field.display_units
        temperature, heat = self.per_day("temperature_c"), self.per_day("heat_mj")
        if heating is None or temperature is None or not heat:
            return ()
        told = (
            ("water with the oil", self.per_day("water_with_oil_m3"), "m3/day"),
            ("temperature at which it leaves", temperature, "degC"),
            ("temperature it is heated to (heating.to)", heating.to_c, "degC"),
        )
        return (
            *((words, str(shown(value, unit, system))) for words, value, unit in told if value is not None),
            ("heat into the water a day", self.said(heat, "MJ")),
            ("share of the fuel’s heat that reaches it (heating.efficiency)", percent(heating.efficiency)),
        )
