"""The wells by their tests: a line for each, its record drawn small, what failed, and the sums beside the meters."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl
from markupsafe import Markup

from nightgauge.field.settings import Vessel
from nightgauge.report.cards import ChartShown, anchor, safe_json
from nightgauge.report.charts import alternative, specification
from nightgauge.report.quantities import percent, shown
from nightgauge.report.scene import Scene
from nightgauge.report.sheet import link
from nightgauge.report.week import WeekView
from nightgauge.report.well_records import Allocation, Change, WellRecord, allocations, well_records
from nightgauge.report.well_tests import well_tests
from nightgauge.report.words import day_text, listed

DRAWN = 12
"""Wells whose record is drawn, those with findings first. House choice: what fits a desk's screen."""
FIRST = 20
"""Lines shown before the fold. House choice: one screen."""
_FAILED_SINCE = timedelta(days=28)
"""Failed tests told: of the last four weeks, as long as loads are. House choice."""
_SEEN = 2.0
"""Standard uncertainties from which a change is set in bold; the finding, if there is one, says what it means."""
_ROOM_PX = 46
"""What a chart needs beside its drawing, as in the cards. [px]"""


@dataclass(frozen=True)
class WellRow:
    """One well as the page tells it; texts only."""

    well: str
    vessel: str
    when: str
    tested_on: str
    water: str
    oil: str
    net_oil: str
    cut: str
    change: str
    change_of: str
    is_out: bool
    findings: tuple[tuple[str, str], ...]
    """Pairs of link and words."""


@dataclass(frozen=True)
class WellChart:
    """One well's record, drawn."""

    well: str
    chart: ChartShown
    key: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class SumRow:
    """One vessel and phase: tests added up beside the load."""

    vessel: str
    about: str
    phase: str
    tests: str
    load: str
    ratio: str
    wells: str


@dataclass(frozen=True)
class WellsPart:
    """The page's section on well tests."""

    rows: tuple[WellRow, ...]
    first: int
    drawn: tuple[WellChart, ...]
    key: tuple[tuple[str, str], ...]
    """Pairs of shape and words, for all that is drawn."""
    untested: str
    failed: tuple[tuple[str, str, str], ...]
    """Well, day and why; the last first."""
    sums: tuple[SumRow, ...]
    csv: Markup
    csv_name: str


def wells(view: WeekView) -> WellsPart | None:
    """Return the field's wells by their tests; None where there are none."""
    records = well_records(view.tests, view.field, view.until)
    tested = [record for record in records if record.last or record.failed or record.running]
    if not tested:
        return None
    cards = {
        card["element"].partition(":")[2]: card for card in view.lists.cards if card["element"].startswith("well:")
    }
    tested.sort(key=lambda record: record.well not in cards)
    silent = [record.well for record in records if record not in tested]
    pictures = [_drawn(record, cards.get(record.well), view) for record in tested[:DRAWN]]
    drawn = tuple(one for one in pictures if one is not None)
    return WellsPart(
        rows=tuple(_line(record, view) for record in tested),
        first=FIRST,
        drawn=drawn,
        key=tuple(dict.fromkeys(pair for one in drawn for pair in one.key)),
        untested=f"No test is known of {listed(silent)}." if silent else "",
        failed=_failed(tested, view),
        sums=tuple(_sum(one, view) for one in allocations(records, view.days, view.field, view.until)),
        csv=_csv(view),
        csv_name="well-tests.csv",
    )


def _line(record: WellRecord, view: WeekView) -> WellRow:
    last, change = record.last, record.change
    when = f"none accepted, {len(record.failed)} failed" if last is None else day_text(_day(last["start_utc"], view))
    return WellRow(
        well=record.well,
        vessel=record.vessel or "",
        when=when,
        tested_on=_where(record, view),
        water=_rate(last, "water", view),
        oil=_rate(last, "oil", view),
        net_oil=_rate(last, "net_oil", view),
        cut="" if record.cut is None else percent(record.cut),
        change="" if change is None else _change_words(change),
        change_of="" if change is None else f"{change.rate}, against {_tests(change.tests)} before",
        is_out=change is not None and abs(change.share) > _SEEN * change.uncertainty,
        findings=tuple(
            (anchor("finding", card["id"]), "its tests have changed")
            for card in view.lists.cards
            if card["element"] == f"well:{record.well}"
        ),
    )


def _where(record: WellRecord, view: WeekView) -> str:
    if record.running is not None:
        return f"on test now, since {day_text(_day(record.running['start_utc'], view))}"
    if record.last is None:
        return ""
    # An accepted test has no reason but that lists disagree about whose it is.
    return "; ".join(part for part in (f"on {record.last['vessel']}", record.last["reason"]) if part)


def _tests(count: int) -> str:
    return f"{count} {'test' if count == 1 else 'tests'}"


def _day(time: datetime, view: WeekView) -> Any:
    return time.astimezone(view.field.zone).date()


def _rate(last: dict[str, Any] | None, name: str, view: WeekView) -> str:
    """Return a rate with its standard uncertainty, where that is known."""
    value = None if last is None else last[f"{name}_m3_per_day"]
    if last is None or value is None:
        return ""
    system = view.field.display_units
    told, error = shown(value, "m3/day", system), last[f"{name}_uncertainty_m3_per_day"]
    # The uncertainty to the last place of the rate that it is of.
    decimals = len(told.text.partition(".")[2])
    sure = "" if error is None else f" ± {shown(error, 'm3/day', system).number:,.{decimals}f}"
    return f"{told.text}{sure} {told.unit}"


def _change_words(change: Change) -> str:
    sign = "−" if change.share < 0.0 else "+"
    return f"{sign}{percent(abs(change.share))} ± {percent(change.uncertainty)}"


def _drawn(record: WellRecord, card: dict[str, Any] | None, view: WeekView) -> WellChart | None:
    """Return the well's first rate over its record, with the finding's onset where it has one."""
    finding = {"element": f"well:{record.well}", "onset": None, "cleared_at": None} | (card or {})
    vessel = view.field.vessel((record.last or {}).get("vessel") or "") or Vessel("", "test vessel")
    scene = Scene(finding, vessel, view.field, view.until, view.days, view.hours, view.cycles, None, view.tests)
    made = well_tests(scene)
    if made is None:
        return None
    chart = made.charts[0]
    drawn = ChartShown(
        safe_json(specification(chart)), alternative(chart, f"Tests of {record.well}"), chart.height + _ROOM_PX
    )
    return WellChart(record.well, drawn, made.key)


def _failed(records: list[WellRecord], view: WeekView) -> tuple[tuple[str, str, str], ...]:
    tests = [test for record in records for test in record.failed if test["start_utc"] >= view.until - _FAILED_SINCE]
    tests.sort(key=lambda test: test["start_utc"], reverse=True)
    return tuple((test["well"], day_text(_day(test["start_utc"], view)), test["reason"] or "") for test in tests)


def _sum(one: Allocation, view: WeekView) -> SumRow:
    system = view.field.display_units
    wells_ = f"{one.wells} of {one.wells + len(one.without)} wells"
    return SumRow(
        vessel=one.vessel,
        about=anchor("about", one.vessel),
        phase=one.phase,
        tests=str(shown(one.tests_m3_per_day, "m3/day", system)),
        load=str(shown(one.load_m3_per_day, "m3/day", system)),
        ratio=f"{one.ratio:.2f}",
        wells=f"{wells_}, without {listed(one.without)}" if one.without else wells_,
    )


def _csv(view: WeekView) -> Markup:
    """Return the tests up to the page's end as a link to a table, in the units of its columns' names."""
    tests = view.tests.filter(pl.col("start_utc") < view.until.astimezone(UTC)).sort("well", "start_utc")
    return link(tests, "%Y-%m-%dT%H:%M:%SZ")
