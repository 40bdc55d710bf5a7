"""One card per finding: the proof, the numbers, what else it could be, what to look at, its story."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import polars as pl
from markupsafe import Markup

from nightgauge.report.charts import alternative, specification
from nightgauge.report.pictures import picture
from nightgauge.report.quantities import in_display_units, percent, rounded, shown
from nightgauge.report.scene import Scene
from nightgauge.report.week import Row, WeekView
from nightgauge.report.words import (
    FAILURE_MODES,
    day_text,
    element_words,
    from_json,
    how_sure,
    kind_words,
    mark_words,
    moment,
    sentence,
    since,
)  # fmt: skip

SHAPES = {"high": "◆", "medium": "◇", "low": "•"}
"""Shape of each priority, so that colour is never the only carrier."""
_DRAWN = timedelta(days=42)
"""Span of the daily pictures. House choice: a drift of the usual sort shows, and a day is still 15 pixels wide."""


@dataclass(frozen=True)
class ChartShown:
    """One chart as the page holds it."""

    specification: Markup
    alternative: str
    height: int


@dataclass(frozen=True)
class Cost:
    """What a fault costs while it stands; texts only."""

    words: str
    """The result: "up to 310 bbl/day"."""
    basis: str
    """What it is: "water to the oil side"."""
    terms: tuple[tuple[str, str], ...]
    """The numbers it is reckoned from, each with its name."""
    formula: str | None
    """How the result follows from them."""


@dataclass(frozen=True)
class Card:
    """One finding as the page tells it; texts only."""

    id: str
    anchor: str
    vessel: str
    vessel_name: str
    what: str
    element: str
    priority: str
    shape: str
    since: str
    ended: str | None
    sure: str
    confidence: str
    state: str
    mark: str | None
    summary: str
    cost: Cost | None
    look_first: str | None
    title: str | None
    charts: tuple[ChartShown, ...]
    key: tuple[tuple[str, str], ...]
    evidence: tuple[tuple[str, str, str, str], ...]
    instead: tuple[tuple[str, str], ...]
    also: tuple[str, ...]
    checks: tuple[str, ...]
    story: tuple[tuple[str, str], ...]
    failure_mode: str | None


def safe_json(value: object) -> Markup:
    """Return a value as JSON that may stand inside a script element: no text in it can end the element."""
    text = json.dumps(value, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return Markup(text)


def cards(view: WeekView) -> tuple[Card, ...]:
    """Return the cards of the page in reading order."""
    first = view.end - _DRAWN
    frames = {
        "days": view.days.filter(pl.col("day") >= first.date()),
        "hours": view.hours.filter(pl.col("hour_utc") >= first.astimezone(UTC)),
        "cycles": view.cycles.filter(pl.col("opened_utc") >= first.astimezone(UTC)),
    }
    by_vessel = {name: _by_vessel(frame) for name, frame in frames.items()}
    return tuple(_card(row, view, by_vessel) for row in view.lists.cards)


def _by_vessel(frame: pl.DataFrame) -> dict[str, pl.DataFrame]:
    return {str(key[0]): part for key, part in frame.partition_by("vessel", as_dict=True, maintain_order=True).items()}


def _scene(row: Row, view: WeekView, by_vessel: Mapping[str, Mapping[str, pl.DataFrame]]) -> Scene | None:
    vessel = view.field.vessel(row["vessel"])
    if vessel is None:
        return None
    frames = {name: by_vessel[name].get(vessel.id, getattr(view, name).clear()) for name in by_vessel}
    trace = view.traces.get(row["id"])
    return Scene(
        finding=row, vessel=vessel, field=view.field, until=view.until.astimezone(UTC), trace=trace,
        tests=view.tests, currents=view.currents, **frames,
    )  # fmt: skip


def _card(row: Row, view: WeekView, by_vessel: Mapping[str, Mapping[str, pl.DataFrame]]) -> Card:
    scene = _scene(row, view, by_vessel)
    drawn = None if scene is None else picture(scene)
    checks = tuple(from_json(row["checks"]) or ())
    effect = from_json(row["effect"])
    return Card(
        id=row["id"],
        anchor=anchor("finding", row["id"]),
        vessel=row["vessel"],
        vessel_name=(scene.vessel.name or "") if scene else "",
        what=kind_words(row["kind"], row["element"]),
        element=element_words(row["element"]),
        priority=row["priority"],
        shape=SHAPES.get(row["priority"], "•"),
        since=_onset(row, view),
        ended=None if row["cleared_at"] is None else since(row["cleared_at"], view.until, view.field.zone),
        sure=how_sure(row["confidence"]),
        confidence=percent(row["confidence"]),
        state=row["state"],
        mark=mark_words(from_json(row["mark"])),
        summary=sentence(row["summary"] or ""),
        cost=_cost(effect, view),
        look_first=checks[0] if checks else None,
        title=None if drawn is None else drawn.title,
        charts=() if drawn is None else tuple(
            ChartShown(safe_json(specification(chart)), alternative(chart, drawn.title), chart.height + 46)
            for chart in drawn.charts
        ),
        key=() if drawn is None else drawn.key,
        evidence=tuple(_evidence(one, view) for one in from_json(row["evidence"]) or ()),
        instead=tuple((kind_words(one["kind"], ""), one["why"]) for one in from_json(row["instead"]) or ()),
        # That its days were unlike the others goes without saying.
        also=tuple(kind_words(kind, "") for kind in from_json(row["also"]) or () if kind != "unusual_day"),
        checks=checks,
        story=_story(row, view),
        failure_mode=_failure_mode(row["failure_mode"]),
    )  # fmt: skip


def anchor(sort: str, name: str) -> str:
    """Return an id for a link: letters, digits and dashes of a name, the rest as code points, so none collide."""
    return f"{sort}-" + "".join(c if c.isascii() and (c.isalnum() or c == "-") else f"_{ord(c):x}_" for c in name)


def _onset(row: Row, view: WeekView) -> str:
    return "" if row["onset"] is None else since(row["onset"], view.until, view.field.zone)


def _failure_mode(code: str | None) -> str | None:
    return None if code is None else f"{code}, {FAILURE_MODES.get(code, 'failure mode')}"


def _cost(effect: Row | None, view: WeekView) -> Cost | None:
    if effect is None or effect.get("value") is None:
        return None
    system, basis = view.field.display_units, effect.get("basis") or ""
    number = shown(float(effect["value"]), effect.get("unit") or "", system, basis)
    what, _, formula = basis.partition(": ")
    return Cost(
        words=f"up to {number}" if effect.get("is_upper_bound") else str(number),
        basis=what,
        terms=tuple((term["name"], _figures(term, view)) for term in effect.get("terms") or ()),
        formula=formula or None,
    )


def _figures(term: Row, view: WeekView) -> str:
    """Return a term with three figures, so that a reader who reckons with what stands there gets the result."""
    number, unit = in_display_units(float(term["value"]), term["unit"], view.field.display_units, term["name"])
    return f"{rounded(number)} {unit}".strip()


def _evidence(one: Row, view: WeekView) -> tuple[str, str, str, str]:
    unit, name, system = one.get("unit") or "", str(one.get("name", "")), view.field.display_units
    value, expected = one.get("value"), one.get("expected")
    found = "not known" if value is None else str(shown(float(value), unit, system, name))
    if isinstance(expected, int | float):
        expected = str(shown(float(expected), unit, system, name))
    return name, found, "" if expected is None else str(expected), _period(one.get("from"), one.get("to"), view)


def _period(start: str | None, end: str | None, view: WeekView) -> str:
    first, last = (None if text is None else _aware(text).astimezone(view.field.zone) for text in (start, end))
    if first is None or last is None:
        one = first or last
        return "" if one is None else day_text(one.date())
    if first.date() == last.date():
        return f"{day_text(first.date())} {first:%H:%M}–{last:%H:%M}"
    return f"{day_text(first.date())} – {day_text(last.date())}"


def _aware(text: str) -> datetime:
    time = datetime.fromisoformat(text)
    return time.replace(tzinfo=UTC) if time.tzinfo is None else time


def _story(row: Row, view: WeekView) -> tuple[tuple[str, str], ...]:
    """Return what happened to the finding, night by night, after its estimated start."""
    zone = view.field.zone
    told: list[tuple[datetime, str]] = []
    if row["onset"] is not None:
        told.append((row["onset"], "estimated start"))
    events = view.events.filter(pl.col("finding_id") == row["id"])
    for event in events.iter_rows(named=True):
        # The first telling repeats the summary, which stands at the top of the card.
        detail = f": {event['detail']}" if event["detail"] and event["detail"] != row["summary"] else ""
        told.append((event["at_utc"], f"{_EVENT_WORDS.get(event['event'], event['event'])}{detail}"))
    if events.is_empty() and row["first_reported"] is not None:
        told.append((row["first_reported"], "first told"))
    told.sort(key=lambda pair: pair[0])
    return tuple((moment(time, zone), words) for time, words in told)


_EVENT_WORDS: Mapping[str, str] = {"reported": "first told", "surer": "surer", "weaker": "weaker", "marked": "marked"}
