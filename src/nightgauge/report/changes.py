"""What changed since last week, one sentence a line."""

from collections.abc import Iterable, Sequence

import polars as pl

from nightgauge.report.week import Row, WeekView
from nightgauge.report.words import counted, from_json, kind_words, listed, sentence, since

_TOLD_ONE_BY_ONE = 5
"""Above this many of one sort a sentence names the vessels only. House choice: the first screen is for reading."""
_LATER_EVENTS = (
    ("worse", "got worse"),
    ("returned", "came back"),
    ("withdrawn", "was withdrawn: later data speak against it"),
)


def opening(view: WeekView) -> str:
    """Return the first sentence: how many vessels need a visit, and how many of them are new this week."""
    vessels = {row["vessel"] for row in view.lists.visit}
    if not vessels:
        return "No vessel was found to need a visit."
    new = {row["vessel"] for row in view.lists.visit if _first_told_this_week(row, view)}
    need = "needs" if len(vessels) == 1 else "need"
    start = f"{counted(len(vessels), 'vessel', 'vessels')} {need} a visit"
    return sentence(f"{start}; {_how_many_new(len(new), len(vessels))}")


def _how_many_new(new: int, of: int) -> str:
    if new == 0:
        return "none is new this week" if of > 1 else "it was known last week"
    if new == of:
        return {1: "it is new this week", 2: "both are new this week"}.get(of, "all are new this week")
    return f"{counted(new, '', '').strip()} {'is' if new == 1 else 'are'} new this week"


def _first_told_this_week(row: Row, view: WeekView) -> bool:
    return row["first_reported"] is not None and row["first_reported"] > view.start


def sentences(view: WeekView) -> list[str]:
    """Return what changed since last week: new, worse, back, withdrawn, cleared, marked; one sentence each."""
    rows = {row["id"]: row for row in view.findings.iter_rows(named=True)}
    told = _told(view, [row for row in (*view.lists.visit, *view.lists.know) if _first_told_this_week(row, view)])
    events = view.week_events
    # What somebody knows of stays silent; one that got clearly worse is no longer in this list.
    silent = {row["id"] for row in view.lists.parked}
    for event, verb in _LATER_EVENTS:
        happened = [rows[one] for one in _ids(events, event) if one in rows and one not in silent]
        told += _grouped(happened, verb)
    told += _cleared(view)
    told += _marked([rows[one] for one in _ids(events, "marked") if one in rows])
    return told


def _ids(events: pl.DataFrame, event: str) -> list[str]:
    return events.filter(pl.col("event") == event)["finding_id"].unique(maintain_order=True).to_list()


def _told(view: WeekView, rows: Sequence[Row]) -> list[str]:
    if len(rows) > _TOLD_ONE_BY_ONE:
        return [sentence(f"new this week on {listed(_vessels(rows))}: {counted(len(rows), 'finding', 'findings')}")]
    zone = view.field.zone
    return [
        sentence(f"new: {row['vessel']}, {kind_words(row['kind'], row['element'])}, "
                 f"since {since(row['onset'], view.until, zone)}")
        for row in rows
    ]  # fmt: skip


def _grouped(rows: Sequence[Row], verb: str) -> list[str]:
    if len(rows) > _TOLD_ONE_BY_ONE:
        plural = verb.replace("was ", "were ").replace(" it", " them")
        return [sentence(f"{counted(len(rows), 'finding', 'findings')} on {listed(_vessels(rows))} {plural}")]
    return [sentence(f"{row['vessel']}: “{kind_words(row['kind'], row['element'])}” {verb}") for row in rows]


def _cleared(view: WeekView) -> list[str]:
    rows = view.lists.cleared
    if len(rows) > _TOLD_ONE_BY_ONE:
        return [sentence(f"cleared on {listed(_vessels(rows))}: {counted(len(rows), 'finding', 'findings')}")]
    return [sentence(_cleared_words(row, view)) for row in rows]


def _cleared_words(row: Row, view: WeekView) -> str:
    what = f"{row['vessel']}: “{kind_words(row['kind'], row['element'])}” cleared"
    when = "" if row["cleared_at"] is None else f" {since(row['cleared_at'], view.until, view.field.zone)}"
    is_confirmed = (from_json(row["mark"]) or {}).get("as") == "fixed"
    return f"{what}{when}{', as marked fixed, and has held since' if is_confirmed else ''}"


def _marked(rows: Sequence[Row]) -> list[str]:
    by_mark: dict[str, list[Row]] = {}
    for row in rows:
        by_mark.setdefault((from_json(row["mark"]) or {}).get("as") or "marked", []).append(row)
    return [sentence(f"marked {name}: {_named(marked)}") for name, marked in sorted(by_mark.items())]


def _named(rows: Sequence[Row]) -> str:
    if len(rows) > _TOLD_ONE_BY_ONE:
        return listed(_vessels(rows))
    return listed([f"{row['vessel']} ({kind_words(row['kind'], row['element'])})" for row in rows])


def _vessels(rows: Iterable[Row]) -> list[str]:
    names = sorted({row["vessel"] for row in rows})
    if len(names) <= _TOLD_ONE_BY_ONE:
        return names
    return [*names[:_TOLD_ONE_BY_ONE], f"{len(names) - _TOLD_ONE_BY_ONE} more"]
