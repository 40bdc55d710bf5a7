"""Whole nights on a field of two vessels: run twice, late, corrected, replayed, killed, missed."""

import os
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from nightgauge.errors import SettingError
from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.pipeline import deriving, pages, reading
from nightgauge.pipeline.nights import NightReport, nights_between, nights_due, run_night
from nightgauge.store import Store
from nightgauge.vocabulary.derived import Derived

FIRST = datetime(2026, 5, 1, tzinfo=UTC)
DAY = timedelta(days=1)
MakeField = Callable[..., Path]
DayFile = Callable[[Path, int], Path]


def clock() -> datetime:
    return datetime(2026, 11, 1, tzinfo=UTC)


def night(field: Field, until: datetime) -> list[NightReport]:
    """Run everything a night does but the page."""
    store = Store(field.database)
    reading.read_exports(field, store, clock)
    return [run_night(field, store, due, clock) for due in nights_due(field, store, until)]


def derived_of(field: Field, vessel: str = "TK-1") -> Derived:
    with Store(field.database).reading() as reader:
        return reader.derived(vessel, None, datetime(2030, 1, 1, tzinfo=UTC))


def findings_of(field: Field) -> pl.DataFrame:
    with Store(field.database).reading() as reader:
        return reader.findings()


def same(one: Derived, other: Derived) -> None:
    for name in ("cycles", "hours", "days", "signal_hours", "tests"):
        assert_frame_equal(getattr(one, name), getattr(other, name), check_exact=True)


def test_a_first_night_finds_the_dumps_that_were_planted(make_field: MakeField) -> None:
    field = read_field(make_field(4))
    (report,) = night(field, FIRST + 4 * DAY)
    cycles = derived_of(field).cycles
    # A dump every 1800 s for four days; the first has no edge to open at, as the record begins in it.
    assert cycles.height == 4 * 48 - 1
    assert set(cycles["evidence"]) == {"switch"}
    assert cycles["drain_s"].median() == pytest.approx(180.0, abs=60.0)
    assert not report.failed


def test_the_same_night_again_changes_nothing(make_field: MakeField) -> None:
    field = read_field(make_field(4, {3: 20000.0}))
    night(field, FIRST + 4 * DAY)
    before = derived_of(field), findings_of(field)
    assert night(field, FIRST + 4 * DAY) == []
    same(derived_of(field), before[0])
    assert_frame_equal(findings_of(field), before[1])


def test_nights_in_turn_end_with_the_same_derived_rows_as_one_first_night(make_field: MakeField) -> None:
    at_once = read_field(make_field(5, {3: 20000.0}))
    night(at_once, FIRST + 5 * DAY)
    in_turn = replace(at_once, database=at_once.folder / "in_turn.duckdb")
    for until in nights_between(in_turn, (FIRST + DAY).date(), (FIRST + 5 * DAY).date()):
        night(in_turn, until)
    same(derived_of(at_once), derived_of(in_turn))


def test_a_night_judges_the_same_when_later_exports_do_not_exist_yet(make_field: MakeField, day_file: DayFile) -> None:
    stuck = {3: 20000.0}
    whole = read_field(make_field(6, stuck, name="whole"))
    cut_toml = make_field(6, stuck, name="cut")
    for day in (4, 5):
        day_file(cut_toml, day).unlink()
    cut = read_field(cut_toml)
    night(whole, FIRST + 4 * DAY)
    night(cut, FIRST + 4 * DAY)
    assert findings_of(cut).height > 0
    assert_frame_equal(findings_of(whole), findings_of(cut))


def test_a_late_export_ends_with_the_rows_of_one_that_came_in_time(make_field: MakeField, day_file: DayFile) -> None:
    in_time = read_field(make_field(6, name="in_time"))
    night(in_time, FIRST + 6 * DAY)
    late_toml = make_field(6, name="late")
    late = read_field(late_toml)
    held_back = day_file(late_toml, 2).rename(late_toml.parent / "held_back.csv")
    night(late, FIRST + 6 * DAY)
    held_back.rename(day_file(late_toml, 2))
    night(late, FIRST + 6 * DAY)
    same(derived_of(in_time), derived_of(late))


def test_a_corrected_export_derives_again_only_what_it_can_reach(
    make_field: MakeField, day_file: DayFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    toml = make_field(8)
    field = read_field(toml)
    night(field, FIRST + 8 * DAY)
    corrected = pl.read_csv(day_file(toml, 3)).with_columns(
        value=pl.when(pl.col("tag") == "PT-2").then(pl.col("value") + 5.0).otherwise(pl.col("value"))
    )
    corrected.write_csv(day_file(toml, 3).with_name("correction.csv"))
    spans = []
    real = deriving.derive_days

    def spy(vessel, field_, samples, stretch, earlier):
        spans.append((vessel.id, stretch.start, stretch.until))
        return real(vessel, field_, samples, stretch, earlier)

    monkeypatch.setattr(deriving, "derive_days", spy)
    night(field, FIRST + 8 * DAY)
    # Day 3 lies from +3 to +4 days: the day before it looks into it, the two after it begin from it, two are context.
    assert spans == [("TK-2", FIRST + 2 * DAY, FIRST + 8 * DAY)]
    assert derived_of(field, "TK-2").hours.height == 8 * 24


def test_missed_nights_run_in_turn(make_field: MakeField) -> None:
    field = read_field(make_field(6))
    night(field, FIRST + 2 * DAY)
    reports = night(field, FIRST + 5 * DAY)
    assert [report.until for report in reports] == [FIRST + n * DAY for n in (3, 4, 5)]


def test_a_night_before_the_last_one_is_refused_with_the_way_to_replay_it(make_field: MakeField) -> None:
    field = read_field(make_field(3))
    night(field, FIRST + 3 * DAY)
    with pytest.raises(SettingError, match=r"replay it into a database of its own"):
        night(field, FIRST + 2 * DAY)


def test_a_night_that_died_is_told_as_killed_and_done_by_the_next(make_field: MakeField) -> None:
    field = read_field(make_field(3))
    store = Store(field.database)
    reading.read_exports(field, store, clock)
    with store.writing() as writer:
        writer.begin_night(FIRST + 3 * DAY, clock())
    night(field, FIRST + 3 * DAY)
    with store.reading() as reader:
        assert reader.nights()["state"].to_list() == ["killed", "done"]


def test_a_vessel_that_cannot_be_derived_costs_the_others_nothing_and_stays_owed(
    make_field: MakeField, monkeypatch: pytest.MonkeyPatch
) -> None:
    field = read_field(make_field(3))
    real = deriving.derive_days

    def broken(vessel, *rest):
        if vessel.id == "TK-1":
            raise ZeroDivisionError("planted")
        return real(vessel, *rest)

    with monkeypatch.context() as patched:
        patched.setattr(deriving, "derive_days", broken)
        (report,) = night(field, FIRST + 3 * DAY)
    assert report.failed == {"TK-1": "ZeroDivisionError: planted"}
    assert derived_of(field, "TK-2").hours.height > 0
    assert derived_of(field, "TK-1").hours.height == 0
    night(field, FIRST + 3 * DAY)
    assert derived_of(field, "TK-1").hours.height == 3 * 24


def test_counts_of_every_export_add_up_also_with_rows_kept_out(make_field: MakeField, day_file: DayFile) -> None:
    toml = make_field(2)
    with day_file(toml, 1).open("a") as export:
        export.write("LT-1,2026-05-02T00:00:00Z,1.2\nLT-1,yesterday,1.1\nXX-9,2026-05-02T00:00:00Z,5\n")
    field = read_field(toml)
    report = reading.read_exports(field, Store(field.database), clock)
    parts = sum(report.rows(f"rows_{name}") for name in ("stored", "repeated", "replaced", "quarantined"))
    assert report.rows("rows_read") == parts == 2 * 4 * 1440 + 3
    assert report.rows("rows_quarantined") == 2
    assert report.rows("rows_repeated") + report.rows("rows_replaced") == 1


def test_an_export_that_cannot_be_read_is_refused_once_and_the_rest_lands(
    make_field: MakeField, day_file: DayFile
) -> None:
    toml = make_field(3)
    bad = day_file(toml, 1).with_name("cut.csv.gz")
    bad.write_bytes(b"\x1f\x8b\x08\x00cut short")
    field = replace(read_field(toml), streams=("streams/*",))
    store = Store(field.database)
    first = reading.read_exports(field, store, clock)
    assert (first.count("refused"), first.count("stored")) == (1, 3)
    assert reading.read_exports(field, store, clock).files == ()
    bad.write_bytes(b"tag,timestamp,value\n")
    os.utime(bad, (1.7e9, 1.7e9))
    assert reading.read_exports(field, store, clock).count("stored") == 1


def test_a_file_that_was_only_touched_is_not_read_again(make_field: MakeField, day_file: DayFile) -> None:
    toml = make_field(1)
    field = read_field(toml)
    store = Store(field.database)
    reading.read_exports(field, store, clock)
    os.utime(day_file(toml, 0), (1.7e9, 1.7e9))
    assert reading.read_exports(field, store, clock).files == ()
    with store.reading() as reader:
        assert reader.source_files().height == 1


def test_the_same_content_under_another_name_is_told_and_not_read(make_field: MakeField, day_file: DayFile) -> None:
    toml = make_field(1)
    field = read_field(toml)
    store = Store(field.database)
    reading.read_exports(field, store, clock)
    day_file(toml, 0).with_name("copy.csv").write_bytes(day_file(toml, 0).read_bytes())
    (outcome,) = reading.read_exports(field, store, clock).files
    assert (outcome.state, outcome.rows_read) == ("duplicate", 0)


def test_a_correction_that_is_taken_back_counts(make_field: MakeField, day_file: DayFile) -> None:
    toml = make_field(1)
    field = read_field(toml)
    store = Store(field.database)
    export = day_file(toml, 0)
    first = export.read_text()
    stored = []
    for text in (first, first.replace("LT-1,2026-05-01T00:01:00Z", "LT-1,2026-05-01T00:01:30Z"), first):
        export.write_text(text + "LT-1,2026-05-01T12:00:30Z," + str(len(stored) % 2) + "\n")
        stored.append(reading.read_exports(field, store, clock).rows("rows_stored"))
    # The second says two things anew (a new time, a new value), the third takes the value back.
    assert stored[1:] == [2, 1]


def test_the_page_of_a_finished_week_is_kept_under_its_date(make_field: MakeField) -> None:
    field = read_field(make_field(4))  # 1 May 2026 is a Friday, so the fourth night ends on Monday's end
    until = datetime(2026, 5, 4, tzinfo=UTC)
    night(field, until)
    page = pages.write_weekly(field, Store(field.database), until)
    kept = page.with_name("week-2026-04-27.html")
    assert kept.read_text(encoding="utf-8") == page.read_text(encoding="utf-8")
    assert sorted(path.name for path in field.reports.iterdir()) == ["week-2026-04-27.html", "weekly.html"]
