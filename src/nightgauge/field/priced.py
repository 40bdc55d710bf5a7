"""What a field lacks to price its losses: one line a key, however many wells lack it."""

from collections.abc import Sequence

from nightgauge.field.needs import Missing
from nightgauge.field.settings import Field, Prices, Well

_NAMED_AT_MOST = 5
"""Wells named; more are counted. House choice: a line stays a line."""
_LIQUID = "what back pressure costs in liquid and oil at most"


def missing_for_prices(field: Field) -> list[Missing]:
    """Return which keys of wells and prices are not set, and what each would allow."""
    if not field.wells:
        return [Missing("[[well]] with vessel and productivity_index", _LIQUID), *_prices(field.prices)]
    without = [well for well in field.wells if well.productivity_index_m3_per_day_per_kpa is None]
    unsloped = [well for well in field.wells if well not in without and well.pump_curve_slope_kpa_day_per_m3 is None]
    wanted = (
        ("productivity_index", without, _LIQUID),
        ("pump_curve_slope", unsloped, "a cost nearer to the truth than “up to”, where they are pumped"),
    )
    of_wells = [Missing(f"{key} of {_names(wells)}", allows) for key, wells, allows in wanted if wells]
    return of_wells + _prices(field.prices)


def _names(wells: Sequence[Well]) -> str:
    named = ", ".join(well.id for well in wells[:_NAMED_AT_MOST])
    more = len(wells) - _NAMED_AT_MOST
    return f"well{'s' if len(wells) > 1 else ''} {named}{f' and {more} more' if more > 0 else ''}"


def _prices(prices: Prices | None) -> list[Missing]:
    if prices is None:
        return [Missing("[prices]", "losses in money")]
    wanted = (
        ("prices.oil", prices.oil_per_m3, "oil held back or lost with the water, in money"),
        ("prices.fuel", prices.fuel_per_mj, "heat for water left in the oil, in money"),
    )
    return [Missing(key, allows) for key, price, allows in wanted if price is None]
