"""The sacrificial anodes, a line for each: what is left, how long it lasts, when to look."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from nightgauge.report.cards import anchor
from nightgauge.report.quantities import percent, shown
from nightgauge.report.week import WeekView

_MONTH_DAYS = 365.0 / 12.0


@dataclass(frozen=True)
class AnodeRow:
    """One anode as the page tells it; texts only."""

    vessel: str
    anode: str
    material: str
    left: str
    life: str
    interval: str
    current: str
    inspect_by: str
    is_due: bool
    basis: str
    findings: tuple[tuple[str, str], ...]
    """Pairs of link and words."""


def anodes(view: WeekView) -> tuple[AnodeRow, ...]:
    """Return the field's anodes by vessel; none where it has none."""
    order = {vessel.id: at for at, vessel in enumerate(view.field.vessels)}
    rows = sorted(view.anodes.iter_rows(named=True), key=lambda row: (order.get(row["vessel"], 0), row["anode"]))
    return tuple(_line(row, view) for row in rows)


def _line(row: dict[str, Any], view: WeekView) -> AnodeRow:
    by, today = row["inspect_by"], view.until.astimezone(view.field.zone).date()
    system = view.field.display_units
    return AnodeRow(
        vessel=row["vessel"],
        anode=row["anode"],
        material=row["material"],
        left="not known" if row["left_fraction"] is None else percent(row["left_fraction"]),
        life="not known" if row["life_left_days"] is None else life_words(row["life_left_days"]),
        interval=_interval(row["shortest_life_days"], row["longest_life_days"]),
        current="not known" if row["current_a"] is None else str(shown(row["current_a"], "A", system)),
        inspect_by="not known" if by is None else _date_text(by),
        is_due=by is not None and by <= today,
        basis=row["basis"] or "",
        findings=tuple(
            (anchor("finding", card["id"]), _FEW_WORDS[card["kind"]])
            for card in view.lists.cards
            if (card["vessel"], card["element"]) == (row["vessel"], f"anode:{row['anode']}")
        ),
    )


_FEW_WORDS = {
    "anode_spent": "nearly spent",
    "anode_current_lost": "gives no current",
    "anode_current_jumped": "gives far more current",
}


def life_words(days: float) -> str:
    """Return a time to come in the unit in which people plan it.

    Examples
    --------
    >>> life_words(38.2), life_words(400.0), life_words(1900.0)
    ('38 days', '13 months', '5.2 years')

    """
    if days < 90:
        return f"{days:.0f} {'day' if round(days) == 1 else 'days'}"
    if days < 730:
        return f"{days / _MONTH_DAYS:.0f} months"
    return f"{days / 365.0:.1f} years" if days < 3650 else f"{days / 365.0:.0f} years"


def _interval(shortest: float | None, longest: float | None) -> str:
    if shortest is None:
        return ""
    if longest is None:
        return f"at least {life_words(shortest)}"
    return f"{life_words(shortest)} to {life_words(longest)}"


def _date_text(day: date) -> str:
    return f"{day.day} {day:%b %Y}"
