"""The weekly page and its plain text: what needs a visit, the proof, the field, the small print."""

import textwrap
from collections.abc import Sequence
from datetime import datetime

import polars as pl

from nightgauge.report.anodes import anodes
from nightgauge.report.cards import Card, cards
from nightgauge.report.changes import opening, sentences
from nightgauge.report.glance import SORTS, VesselRow, coverage_of, glance
from nightgauge.report.losses import losses
from nightgauge.report.method import CAUTION, METHODS
from nightgauge.report.page import rendered
from nightgauge.report.pictures import picture_window
from nightgauge.report.quantities import percent, rounded
from nightgauge.report.room import room
from nightgauge.report.unjudged import unjudged
from nightgauge.report.vessels import vessels
from nightgauge.report.week import WeekView
from nightgauge.report.wells import wells
from nightgauge.report.words import counted, day_text, from_json, kind_words, moment, sentence, week_text

__all__ = ["WeekView", "picture_window", "weekly_page", "weekly_text"]

_LINE = 78
"""Width of the mail text. [characters] RFC 5322 recommends at most 78."""


def weekly_page(view: WeekView) -> str:
    """Return the week as one HTML page that opens from disk with no network.

    The same view gives the same page to the byte.
    """
    made, rows = cards(view), glance(view)
    by_list = _by_list(view, made)
    return rendered(
        "weekly.html.j2",
        title=f"{view.field.name} — week {week_text(view.monday, view.sunday)}",
        field=view.field.name,
        week=week_text(view.monday, view.sunday),
        facts=_facts(view, rows),
        opening=opening(view),
        changes=sentences(view),
        lists=by_list,
        cards=made,
        rows=rows,
        vessels=vessels(view),
        anodes=anodes(view),
        losses=losses(view),
        room=room(view),
        wells=wells(view),
        sorts=SORTS,
        unjudged=unjudged(view),
        wrong=_wrong(view),
        files=_files(view),
        quarantine=_quarantine(view),
        nights=_nights(view),
        methods=METHODS,
        caution=CAUTION,
        until=moment(view.until, view.field.zone),
        zone=view.field.time_zone,
    )


_WITH_CARD = ("visit", "know", "fixed", "parked", "cleared")


def _wrong(view: WeekView) -> tuple[str, ...]:
    """Return what was marked wrong and is remembered, one line each."""
    lines = []
    for row in view.lists.wrong:
        mark = from_json(row["mark"]) or {}
        note = f": {mark['note']}" if mark.get("note") else ""
        day = day_text(datetime.fromisoformat(mark["at"]).astimezone(view.field.zone).date())
        lines.append(f"{row['vessel']}: {kind_words(row['kind'], row['element'])}, marked on {day}{note}")
    return tuple(lines)


def _by_list(view: WeekView, made: tuple[Card, ...]) -> dict[str, tuple[Card, ...]]:
    by_id = {card.id: card for card in made}
    return {name: tuple(by_id[row["id"]] for row in getattr(view.lists, name)) for name in _WITH_CARD}


def _facts(view: WeekView, rows: Sequence[VesselRow]) -> tuple[str, ...]:
    of = f"{view.days_so_far} so far" if view.is_running else "7"
    nights = f"{view.nights_done} {'night' if view.nights_done == 1 else 'nights'} of {of}"
    vessels = len(view.field.vessels)
    return (
        nights,
        f"coverage {percent(coverage_of(rows))}",
        f"{vessels} {'vessel' if vessels == 1 else 'vessels'}",
    )


def _files(view: WeekView) -> tuple[tuple[str, str], ...]:
    """Return how many exports were stored, duplicate or refused, and the rows they held."""
    if view.files.is_empty():
        return ()
    told: list[tuple[str, str]] = []
    for state in ("stored", "duplicate", "refused"):
        files = view.files.filter(pl.col("state") == state)
        if len(files):
            told.append((f"exports {state}", rounded(len(files))))
    for column, words in _ROWS_WORDS:
        told.append((words, f"{int(view.files[column].fill_null(0).sum()):,}"))
    return tuple(told)


_ROWS_WORDS = (
    ("rows_read", "rows read"),
    ("rows_stored", "rows stored"),
    ("rows_repeated", "rows repeated"),
    ("rows_replaced", "rows replaced by a later row of the same file"),
    ("rows_quarantined", "rows kept out (quarantine)"),
)


def _quarantine(view: WeekView) -> tuple[tuple[str, str], ...]:
    """Return the reasons for which rows were kept out, most rows first."""
    if view.quarantine.is_empty():
        return ()
    reasons = view.quarantine.group_by("reason").agg(pl.col("rows").sum())
    reasons = reasons.sort("rows", "reason", descending=[True, False])
    return tuple((reason or "no reason given", f"{rows:,}") for reason, rows in reasons.iter_rows())


def _nights(view: WeekView) -> tuple[tuple[str, str, str], ...]:
    return tuple(
        (moment(night["until_utc"], view.field.zone), night["state"], night["detail"] or "")
        for night in view.week_nights.iter_rows(named=True)
    )


def weekly_text(view: WeekView) -> str:
    """Return the week as plain text for a mail: head, what changed, what needs a visit, what could not be judged."""
    made, rows = _by_list(view, cards(view)), glance(view)
    lines = [f"{view.field.name} — week {week_text(view.monday, view.sunday)}", " · ".join(_facts(view, rows)), ""]
    lines += _wrapped(opening(view))
    for one in sentences(view):
        lines += _wrapped(one)
    lines += _section("Needs a visit", [_visit_line(at, card) for at, card in enumerate(made["visit"], start=1)])
    lines += _section("Worth knowing", [f"{card.vessel}: {card.what} since {card.since}" for card in made["know"]])
    lines += _section("Marked fixed, evidence still stands", [f"{card.vessel}: {card.what}" for card in made["fixed"]])
    lines += _section("Known or planned", [f"{card.vessel}: {card.what} ({card.mark})" for card in made["parked"]])
    lines += _section("Marked wrong, told low since", list(_wrong(view)))
    lines += _section("Cleared", [f"{card.vessel}: {card.what}" for card in made["cleared"]])
    lately, _ = unjudged(view)
    lines += _section("Could not be judged", [f"{one.vessels}: {one.reason}" for one in lately])
    quiet = [f"{row.vessel} ({row.coverage.words})" for row in rows if row.nothing]
    if quiet:
        told = f"No finding stands on {counted(len(quiet), 'vessel', 'vessels')} (share of the week known): "
        lines += ["", *_wrapped(f"{told}{', '.join(quiet)}.")]
    return "\n".join([*lines, "", *_wrapped(CAUTION)]) + "\n"


def _visit_line(at: int, card: Card) -> str:
    cost = _cost_words(card)
    first = f" {sentence(f'look first: {card.look_first}')}" if card.look_first else ""
    return f"{at}. {card.vessel}: {card.what} since {card.since} ({card.sure}){cost}. {card.summary}{first}"


def _cost_words(card: Card) -> str:
    """Return what a finding costs, and of what, behind a semicolon; nothing where that is not known."""
    if card.cost is None:
        return ""
    return f"; {card.cost.words} ({card.cost.basis})" if card.cost.basis else f"; {card.cost.words}"


def _section(title: str, items: list[str]) -> list[str]:
    if not items:
        return []
    lines = ["", title, "-" * len(title)]
    for item in items:
        lines += _wrapped(item, hanging="   ")
    return lines


def _wrapped(text: str, hanging: str = "") -> list[str]:
    return textwrap.wrap(text, _LINE, subsequent_indent=hanging) or [""]
