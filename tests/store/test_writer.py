"""What writing keeps: derived ranges replaced, findings with people's marks, nights with their ends."""

import json
from dataclasses import replace
from datetime import timedelta
from typing import Any

import polars as pl
import pytest

from nightgauge.errors import ProgrammerError
from nightgauge.store import Store, Writer
from nightgauge.vocabulary.derived import Derived
from nightgauge.vocabulary.frames import FINDING_EVENTS, FINDINGS, VESSEL_DAYS, VESSEL_HOURS

MIDNIGHT = 7 * 60
"""Of the field (Denver in winter), in minutes after the first UTC midnight."""
DAY = 24 * 60


def derived(writer: Writer, make: Any, first_day: int, days: int, dumps: int) -> Derived:
    """Return hourly and daily rows of V-1 over so many field days, all with the same count."""
    nothing = writer.derived("V-1", None, make.at(0))
    hours = [make.at(MIDNIGHT + DAY * first_day + 60 * n) for n in range(24 * days)]
    dates = [(make.at(0) + timedelta(days=first_day + n)).date() for n in range(days)]
    return replace(
        nothing,
        hours=VESSEL_HOURS.build({"vessel": ["V-1"] * len(hours), "hour_utc": hours, "dumps": [dumps] * len(hours)}),
        days=VESSEL_DAYS.build({"vessel": ["V-1"] * days, "day": dates, "dumps": [24 * dumps] * days}),
    )


def midnight(make: Any, day: int) -> Any:
    return make.at(MIDNIGHT + DAY * day)


def test_a_range_derived_anew_takes_the_place_of_just_its_rows(writer: Writer, make: Any) -> None:
    writer.mark_changed("V-1", make.at(0), midnight(make, 9))
    writer.replace_derived("V-1", midnight(make, 0), midnight(make, 3), derived(writer, make, 0, 3, dumps=1))
    writer.replace_derived("V-1", midnight(make, 1), midnight(make, 2), derived(writer, make, 1, 1, dumps=2))
    found = writer.derived("V-1", None, midnight(make, 9))
    assert found.hours["dumps"].to_list() == [1] * 24 + [2] * 24 + [1] * 24
    assert found.days["dumps"].to_list() == [24, 48, 24]
    assert writer.changed_ranges().rows() == [
        ("V-1", make.at(0), midnight(make, 0)),
        ("V-1", midnight(make, 3), midnight(make, 9)),
    ]


def test_a_range_that_derives_to_nothing_is_emptied(writer: Writer, make: Any) -> None:
    writer.replace_derived("V-1", midnight(make, 0), midnight(make, 2), derived(writer, make, 0, 2, dumps=1))
    nothing = writer.derived("V-2", None, make.at(0))
    writer.replace_derived("V-1", midnight(make, 0), midnight(make, 1), nothing)
    assert writer.derived("V-1", None, midnight(make, 9)).days.height == 1


def test_deriving_twice_leaves_the_same_rows_to_the_bit(writer: Writer, make: Any) -> None:
    rows = derived(writer, make, 0, 2, dumps=1)
    rows = replace(rows, hours=rows.hours.with_columns(water_m3=pl.int_range(pl.len()) / 7.0))
    found = []
    for _ in range(2):
        writer.replace_derived("V-1", midnight(make, 0), midnight(make, 2), rows)
        found.append(writer.derived("V-1", None, midnight(make, 9)).hours)
    assert found[0].equals(found[1])
    assert found[0].equals(rows.hours)


@pytest.mark.parametrize(("first_day", "vessel"), [(1, "V-1"), (0, "V-2")])
def test_derived_rows_of_another_time_or_vessel_are_a_bug(
    writer: Writer, make: Any, first_day: int, vessel: str
) -> None:
    rows = derived(writer, make, first_day, 1, dumps=1)
    with pytest.raises(ProgrammerError, match="vessel_hour: 24 rows lie outside"):
        writer.replace_derived(vessel, midnight(make, 0), midnight(make, 1), rows)


def finding(make: Any, finding_id: str, **others: Any) -> pl.DataFrame:
    row = {"id": finding_id, "vessel": "V-1", "onset": make.at(0), "state": "new", **others}
    return FINDINGS.build({name: [value] for name, value in row.items()})


def event(make: Any, finding_id: str, what: str) -> pl.DataFrame:
    return FINDING_EVENTS.build(
        {"finding_id": [finding_id], "at_utc": [make.at(1)], "event": [what], "detail": ["told"]}
    )


def test_findings_are_replaced_and_events_added(writer: Writer, make: Any) -> None:
    writer.save_findings(finding(make, "a"), event(make, "a", "reported"))
    writer.save_findings(finding(make, "b"), event(make, "a", "withdrawn"))
    assert writer.findings()["id"].to_list() == ["b"]
    assert writer.finding_events()["event"].to_list() == ["reported", "withdrawn"]


def test_a_mark_set_while_a_night_judges_is_not_lost(writer: Writer, make: Any) -> None:
    writer.save_findings(finding(make, "a"), FINDING_EVENTS.empty())
    judged = writer.findings()
    mark = json.dumps({"as": "known", "note": "ordered a new float", "by": "JD", "at": "2026-03-02T08:00:00-07:00"})
    writer.set_mark("a", mark, event(make, "a", "marked"))
    writer.save_findings(judged.with_columns(state=pl.lit("standing")), FINDING_EVENTS.empty())
    assert writer.findings().select("state", "mark").rows() == [("standing", mark)]
    assert writer.finding_events().rows() == event(make, "a", "marked").rows()


def test_a_mark_on_a_finding_that_is_not_there_is_a_bug(writer: Writer, make: Any) -> None:
    with pytest.raises(ProgrammerError, match="no finding nowhere"):
        writer.set_mark("nowhere", "{}", event(make, "nowhere", "marked"))


def test_nights_are_numbered_and_end_as_told(writer: Writer, make: Any) -> None:
    first = writer.begin_night(make.at(0), make.at(10))
    writer.end_night(first, make.at(20), "done", "2 files")
    second = writer.begin_night(make.at(DAY), make.at(DAY + 10))
    assert (first, second) == (1, 2)
    assert writer.nights().select("state", "ended_utc", "detail").rows() == [
        ("done", make.at(20), "2 files"),
        ("running", None, None),
    ]


def test_nights_without_an_end_are_told_as_killed(writer: Writer, make: Any) -> None:
    done = writer.begin_night(make.at(0), make.at(10))
    writer.end_night(done, make.at(20), "failed", "V-1: no")
    writer.begin_night(make.at(DAY), make.at(DAY + 10))
    assert writer.close_killed_nights() == 1
    assert writer.nights()["state"].to_list() == ["failed", "killed"]
    assert writer.close_killed_nights() == 0


@pytest.mark.parametrize(("state", "reason"), [("refused", "cut short"), ("duplicate", "same content as first.csv")])
def test_exports_that_are_not_read_stand_in_the_ledger_with_no_rows(
    writer: Writer, make: Any, state: str, reason: str
) -> None:
    given = "cut short" if state == "refused" else "first.csv"
    note = {"refused": writer.refuse, "duplicate": writer.duplicate}[state]
    assert note(make.export("a.csv"), given, make.read_at) == 1
    row = writer.source_files().row(0, named=True)
    assert (row["state"], row["reason"], row["path"]) == (state, reason, "a.csv")
    assert [row[name] for name in row if name.startswith("rows_")] == [0] * 9


def test_a_touched_file_counts_as_read_under_its_new_time(writer: Writer, make: Any) -> None:
    export = make.export("a.csv")
    writer.land(export, make.parsed(), make.read_at)
    later = replace(export, modified_utc=export.modified_utc + timedelta(days=1))
    writer.touched(later)
    assert writer.source_files()["modified_utc"].to_list() == [later.modified_utc]


def test_the_same_night_twice_leaves_every_table_as_it_was(store: Store, make: Any) -> None:
    def tables(w: Writer) -> dict[str, Any]:
        names = [row[0] for row in w._con.sql("SELECT table_name FROM duckdb_tables()").fetchall()]
        return {name: w._con.sql(f"FROM {name}").fetchall() for name in names}

    parsed = make.parsed([(1, 0, 1.0, "good"), (4, 0, 2.0, "good")], tags=["LI-1", "LI-2"])
    found = []
    for night in range(2):
        with store.writing() as w:
            w.set_display("oilfield")
            w.sync_tags(make.field(), make.at(99_999 + night))
            w.sync_setup(make.field())
            if w.source_files().is_empty():
                w.land(make.export("a.csv"), parsed, make.read_at)
            found.append(tables(w))
    assert found[0] == found[1]
