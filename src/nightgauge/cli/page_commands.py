"""Commands that make pages: weekly, valve."""

from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import Annotated
from urllib.parse import quote

import typer

from nightgauge.cli.arguments import FieldToml, VesselId, vessel_of
from nightgauge.cli.printing import say
from nightgauge.errors import SettingError
from nightgauge.field.calendar import day_bounds, parse_until, week_of
from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.pipeline.pages import valve_view, week_view, write_page
from nightgauge.report.valve import valve_page, valve_text
from nightgauge.report.weekly import weekly_page, weekly_text
from nightgauge.store import Store


def weekly(
    field_toml: FieldToml,
    week_ending: Annotated[str | None, typer.Option(metavar="D", help="Last day of the week, YYYY-MM-DD.")] = None,
    out: Annotated[Path | None, typer.Option(metavar="FILE", help="Where the page goes.")] = None,
    text: Annotated[bool, typer.Option("--text", help="Plain text for a mail instead of the page.")] = False,
) -> None:
    """The week's page, or its text."""
    field = read_field(field_toml)
    store = Store(field.database)
    with store.reading() as reader:
        until = reader.last_night()
    if until is None:
        raise SettingError("no night has ended well yet, so there is no week to tell of; run the nightly flow first")
    monday = None if week_ending is None else week_of(_day(week_ending))[0]
    if monday is not None and day_bounds(field.zone, monday)[0] >= until:
        raise SettingError(f"the week of {monday} begins after the last night, up to {until.isoformat()}")
    view = week_view(field, store, until, monday)
    if text:
        body = weekly_text(view)
        if out is None:
            say(body)
            return
        say(str(write_page(out, body)))
    else:
        say(str(write_page(out or _page_path(field, monday), weekly_page(view))))


def _page_path(field: Field, monday: date | None) -> Path:
    return field.reports / ("weekly.html" if monday is None else f"week-{monday.isoformat()}.html")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise SettingError(f"--week-ending {text!r} is no date; expected one like 2026-05-17") from error


class Element(StrEnum):
    """Valves that have a page."""

    water_dump = "water_dump"
    oil_valve = "oil_valve"
    gas_valve = "gas_valve"


def valve(
    field_toml: FieldToml,
    vessel: VesselId,
    element: Annotated[Element, typer.Option(help="Which valve.")] = Element.water_dump,
    first: Annotated[str | None, typer.Option("--from", metavar="D", help="From this time on.")] = None,
    last: Annotated[str | None, typer.Option("--to", metavar="D", help="Before this time; the last night.")] = None,
    compare: Annotated[str | None, typer.Option(metavar="D", help="A repair: before and after it.")] = None,
    out: Annotated[Path | None, typer.Option(metavar="FILE", help="Where the page goes.")] = None,
) -> None:
    """One valve for the technician: a short form here, the whole as a page."""
    field = read_field(field_toml)
    vessel_id = vessel_of(field, vessel).id
    start, end, repaired = (None if text is None else parse_until(text, field.zone) for text in (first, last, compare))
    view = valve_view(field, Store(field.database), vessel_id, element.value, (start, end), repaired)
    say(valve_text(view))
    place = out or field.reports / f"{_as_file_name(vessel_id)}.{element.value}.html"
    say(f"page: {write_page(place, valve_page(view))}")


def _as_file_name(vessel_id: str) -> str:
    """Return an id of any characters as a file name that stays in its folder."""
    return quote(vessel_id, safe="").replace(".", "%2E")
