"""What one vessel's back pressure costs, in sentences, with its arithmetic."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cached_property

import polars as pl

from nightgauge.field.calendar import day_bounds
from nightgauge.field.settings import Vessel
from nightgauge.report.quantities import rounded, shown
from nightgauge.report.week import Row, WeekView
from nightgauge.report.words import counted, day_text, from_json, listed, since
from nightgauge.units import DIMENSIONS, conversion

_PSI_KPA = conversion("psi", "pressure difference").factor
_READ_KPA = 0.5 * _PSI_KPA
"""Pressure below which two readings are called the same. House choice: nobody reads a gauge closer. [kPa]"""
_LEAST_KPA = (
    pl.when(pl.col("needed_by") == "needs")
    .then(_READ_KPA)
    .otherwise(pl.max_horizontal(pl.lit(1.5 * _PSI_KPA), 0.03 * pl.col("needed_kpag")))
)
"""Excess from which it is told. Over what is needed, what can be read. Over the
setting 1.5 psi or 3 %, the larger, which is what a drift is to be told before by the format of findings: a sound valve
stands above its setting by part of its droop. [kPa]"""
_TOGETHER_DAYS = 3
"""Days whose median stands for the middle one. House choice: one odd day makes and breaks nothing."""
_BEFORE_DAYS = 14
"""Days before the onset of a drift whose median pressure is what was held before. House choice: two weeks."""
_MOVED = {
    "oil_valve_setpoint_drift": "its spring began to drift",
    "oil_valve_setpoint_step": "its hold moved",
}


@dataclass(frozen=True)
class BackPressure:
    """One vessel's days of back pressure up to the week's end, in order."""

    vessel: Vessel
    view: WeekView
    rows: pl.DataFrame

    @cached_property
    def week(self) -> pl.DataFrame:
        """Return the week's days."""
        return self.rows.filter(pl.col("day") >= self.view.monday)

    def middle(self, column: str) -> float | None:
        """Return the median of the week's known days, of those of the run where there is one."""
        days = self.run if self.is_told else self.week
        value = days.filter(pl.col("day") >= self.view.monday)[column].median()
        return value if isinstance(value, float) else None

    def last(self, column: str) -> float | None:
        """Return the week's last known value: which wells flow changes from one day to the next."""
        known = self.week[column].drop_nulls()
        return None if known.is_empty() else float(known[-1])

    @cached_property
    def needed_by(self) -> str | None:
        """Return the key that gives the pressure needed, on the week's last day."""
        return None if self.week.is_empty() else self.week["needed_by"][-1]

    @property
    def is_told(self) -> bool:
        """Return whether more than is needed is held, by enough to be told, at the week's end."""
        return not self.run.is_empty()

    @cached_property
    def run(self) -> pl.DataFrame:
        """Return the days since which that has been so; a day not known, or an odd one, does not break it."""
        known = self.rows.filter(pl.col("excess_kpa").is_not_null())
        if known.is_empty() or known["day"][-1] < self.view.monday:
            return self.rows.clear()
        usual = pl.col("excess_kpa").rolling_median(_TOGETHER_DAYS, min_samples=1, center=True)
        below = known.filter(usual < _LEAST_KPA)["day"].max()
        above = known["day"] if below is None else known["day"].filter(known["day"] > below)
        return self.rows.clear() if above.is_empty() else self.rows.filter(pl.col("day") >= above[0])

    @cached_property
    def drift(self) -> Row | None:
        """Return the standing finding of a hold that moved, the latest; None without one."""
        found = [
            row
            for row in self.view.findings.iter_rows(named=True)
            if row["vessel"] == self.vessel.id
            and row["kind"] in _MOVED
            and row["state"] in ("new", "standing")
            and row["onset"] is not None
            and (from_json(row["mark"]) or {}).get("as") != "wrong"
        ]
        return max(found, key=lambda row: row["onset"]) if found else None

    @cached_property
    def since_drift(self) -> pl.DataFrame:
        """Return the days since the onset of the drift with what its rise alone has cost, `liquid` and `oil`. [m3]

        The rise counts from what was held before, or from what is needed where that is more.
        """
        nothing = pl.DataFrame(schema={"rise_kpa": pl.Float64, "liquid": pl.Float64, "oil": pl.Float64})
        if self.drift is None:
            return nothing
        onset = self.drift["onset"].astimezone(self.view.field.zone).date()
        before = self.rows.filter(pl.col("day").is_between(onset - timedelta(days=_BEFORE_DAYS), onset, closed="left"))
        held = before["held_kpag"].median()
        if held is None:
            return nothing
        is_needed = pl.col("needed_by") == "needs"
        start = pl.max_horizontal(pl.lit(held), pl.when(is_needed).then(pl.col("needed_kpag")))
        rise = (pl.col("held_kpag") - start).clip(lower_bound=0.0)
        return self.rows.filter(pl.col("day") >= onset).select(
            rise_kpa=rise,
            liquid=rise * pl.col("liquid_m3_per_day_per_kpa"),
            oil=rise * pl.col("oil_m3_per_day_per_kpa"),
        )

    def said(self, value: float, unit: str) -> str:
        """Return an inside value as people read it."""
        return str(shown(value, unit, self.view.field.display_units))

    def of_oil(self, oil_m3: float | None, unit: str, money: float | None = None) -> str:
        """Return oil and money in brackets behind a liquid; nothing where neither is known."""
        parts = [] if oil_m3 is None else [f"{self.said(oil_m3, unit)} of oil"]
        if money is not None and self.view.field.prices is not None:
            parts.append(money_text(money, self.view.field.prices.currency))
        return f" ({', '.join(parts)})" if parts else ""

    def each(self) -> str:
        """Return what each psi (kPa) costs at most: "up to 9.2 bbl/day of liquid (2.1 bbl/day of oil)"."""
        liquid, oil = self.last("liquid_m3_per_day_per_kpa"), self.last("oil_m3_per_day_per_kpa")
        if liquid is None:
            return ""
        step = conversion(self.step, "pressure difference").factor
        return (
            f"up to {self.said(liquid * step, 'm3/day')} of liquid"
            f"{self.of_oil(None if oil is None else oil * step, 'm3/day')}"
        )

    @property
    def step(self) -> str:
        """Return the unit of a pressure step, psi or kPa."""
        return DIMENSIONS["pressure difference"].display(self.view.field.display_units)

    def sentences(self) -> tuple[str, ...]:
        """Return what is told of this vessel, in order; nothing where it holds nothing above."""
        drifted = self._drifted()
        if not self.is_told and not drifted:
            return ()
        each = self.each()
        first = f"Each {self.step} that {self.vessel.id}’s oil valve holds costs {each}." if each else ""
        return tuple(filter(None, (first, self._held(), drifted, self._without_index(), self._without_cut())))

    def _held(self) -> str:
        excess, needed = self.middle("excess_kpa"), self.middle("needed_kpag")
        if not self.is_told or excess is None or needed is None:
            return ""
        what = "what is needed" if self.needed_by == "needs" else "its setting"
        start: date = self.run["day"][0]
        reaches_back = start == self.rows["day"][0]
        when = f"{'at least ' if reaches_back else ''}{_day_words(start, self.view)}"
        told = f"It holds {self.said(excess, 'kPa')} above {what} ({self.said(needed, 'kPag')})"
        return f"{told} and has stood above it since {when}: {self._so_far()}."

    def _so_far(self) -> str:
        known = self.run["liquid_loss_m3_per_day"].drop_nulls()
        if known.is_empty():
            return "what that costs is not known"
        unknown = self.run["day"].n_unique() - len(known)
        short = f", {counted(unknown, 'day', 'days')} not known and not counted" if unknown else ""
        oil, money = (_total(self.run[name]) for name in ("oil_loss_m3_per_day", "oil_loss_money"))
        return f"so far up to {self.said(float(known.sum()), 'm3')} of liquid{self.of_oil(oil, 'm3', money)}{short}"

    def _drifted(self) -> str:
        lately = self.since_drift["rise_kpa"].drop_nulls().tail(_TOGETHER_DAYS).median()
        liquid = _total(self.since_drift["liquid"])
        if self.drift is None or liquid is None or not isinstance(lately, float) or lately < _READ_KPA:
            return ""
        oil, prices = _total(self.since_drift["oil"]), self.view.field.prices
        price = None if prices is None else prices.oil_per_m3
        money = None if oil is None or price is None else oil * price
        when = since(self.drift["onset"], self.view.until, self.view.field.zone)
        return (
            f"Since {_MOVED[self.drift['kind']]} on {when} it has come to hold {self.said(lately, 'kPa')} more than "
            f"before: that alone has cost up to {self.said(liquid, 'm3')} of liquid{self.of_oil(oil, 'm3', money)}."
        )

    def lacking(self, column: str) -> list[str]:
        """Return the wells of the week's last day that lack something."""
        return [] if self.week.is_empty() else list(from_json(self.week[column][-1]) or [])

    def _without_index(self) -> str:
        wells = self.lacking("wells_without_index")
        if not wells and not self.each():
            return "No well flows here by field.toml, so nothing can be reckoned."
        is_part = "their part is not in" if len(wells) > 1 else "its part is not in"
        return f"Productivity index missing for {_wells(wells)}: {is_part}." if wells else ""

    def _without_cut(self) -> str:
        wells = self.lacking("wells_without_water_cut")
        their = "their" if len(wells) > 1 else "its"
        return f"Water cut not known for {_wells(wells)}: {their} oil is not in." if wells else ""

    def terms(self) -> tuple[tuple[str, str], ...]:
        """Return the numbers that the cost is reckoned from, and what stands beside them."""
        by = {"needs": "pressure needed (oil_valve.needs)", "holds": "pressure the valve is set to (oil_valve.holds)"}
        told = [
            ("pressure held, median of the week", self.middle("held_kpag"), "kPag"),
            (by.get(self.needed_by or "", ""), self.middle("needed_kpag"), "kPag"),
            ("held above that, median of the week", self.middle("excess_kpa"), "kPa"),
            ("productivity indices of its wells together", self.last("liquid_m3_per_day_per_kpa"), "m3/day/kPa"),
            ("oil of it, by the wells’ water cuts", self.last("oil_m3_per_day_per_kpa"), "m3/day/kPa"),
            ("header pressure, median of the week", self.middle("header_kpag"), "kPag"),
            ("header less vessel pressure (line loss)", self.middle("line_loss_kpa"), "kPa"),
        ]
        rows = [(words, self.said(value, unit)) for words, value, unit in told if value is not None]
        droop = self.middle("droop_kpa_per_m3_per_day")
        return (*rows, *([] if droop is None else [self._droop(droop)]))

    def _droop(self, droop: float) -> tuple[str, str]:
        unit = DIMENSIONS["liquid rate"].display(self.view.field.display_units)
        rise = droop * 100.0 * conversion(unit, "liquid rate").factor
        return f"rise of the vessel pressure with 100 {unit} more load (droop)", self.said(rise, "kPa")


def money_text(amount: float, currency: str) -> str:
    """Return an amount of money with its currency.

    Examples
    --------
    >>> money_text(12345.6, "USD")
    '12,300 USD'

    """
    return f"{rounded(amount)} {currency}"


def _total(values: pl.Series) -> float | None:
    """Return the sum of the known values; None where none is known."""
    known = values.drop_nulls()
    return None if known.is_empty() else float(known.sum())


def _wells(names: Sequence[str]) -> str:
    return f"well{'s' if len(names) > 1 else ''} {listed(names)}"


def _day_words(day: date, view: WeekView) -> str:
    """Return a day as the page says onsets: the weekday within the last week, else day and month."""
    midnight = day_bounds(view.field.zone, day)[0]
    until: datetime = view.until.astimezone(UTC)
    return day_text(day) if until - midnight <= timedelta(days=7) else since(midnight, view.until, view.field.zone)
