"""What marks do to the lists of a week: known and planned are silent until clearly worse, wrong is remembered."""

import json
from collections.abc import Callable
from datetime import UTC, datetime

import polars as pl
import pytest

from nightgauge.report.changes import sentences
from nightgauge.report.week import WeekView
from nightgauge.report.weekly import weekly_page, weekly_text
from nightgauge.vocabulary.frames import FINDING_EVENTS

MakeView = Callable[..., WeekView]
Build = Callable[..., pl.DataFrame]
MARKED, LATER = datetime(2026, 5, 20, 6, tzinfo=UTC), datetime(2026, 5, 22, 6, tzinfo=UTC)


def _marked(as_: str, **over: object) -> dict[str, object]:
    return {
        "id": "M1",
        "mark": json.dumps({"as": as_, "note": "seat on order", "by": None, "at": MARKED.isoformat()}),
    } | over


def _events(*happened: tuple[datetime, str]) -> pl.DataFrame:
    rows = [("M1", at, event, "") for at, event in happened]
    return FINDING_EVENTS.build(pl.DataFrame(rows, schema=["finding_id", "at_utc", "event", "detail"], orient="row"))


@pytest.mark.parametrize("as_", ["known", "planned"])
@pytest.mark.parametrize(
    ("happened", "place"),
    [
        ([(MARKED, "marked")], "parked"),
        ([(MARKED, "marked"), (LATER, "worse")], "visit"),
        ([(MARKED, "worse"), (LATER, "marked")], "parked"),
        ([(MARKED, "marked"), (LATER, "surer")], "parked"),
        ([(MARKED, "marked"), (LATER, "returned")], "parked"),
    ],
)
def test_what_is_known_needs_a_visit_again_only_when_it_got_worse_since(
    make_view: MakeView, make_findings: Build, as_: str, happened: list[tuple[datetime, str]], place: str
) -> None:
    view = make_view(findings=make_findings(_marked(as_)), events=_events(*happened))
    assert [row["id"] for row in getattr(view.lists, place)] == ["M1"]


def test_the_return_of_what_is_known_is_not_told_as_a_change(make_view: MakeView, make_findings: Build) -> None:
    view = make_view(findings=make_findings(_marked("known")), events=_events((MARKED, "marked"), (LATER, "returned")))
    assert not any("came back" in one for one in sentences(view))


def test_that_what_is_known_got_worse_is_told_as_a_change(make_view: MakeView, make_findings: Build) -> None:
    view = make_view(findings=make_findings(_marked("known")), events=_events((MARKED, "marked"), (LATER, "worse")))
    assert any("got worse" in one for one in sentences(view))


@pytest.mark.parametrize("state", ["cleared", "withdrawn"])
def test_what_was_marked_wrong_stays_listed_after_it_is_gone(
    make_view: MakeView, make_findings: Build, state: str
) -> None:
    view = make_view(findings=make_findings(_marked("wrong", state=state)), events=_events((MARKED, "marked")))
    for told in (weekly_text(view), weekly_page(view)):
        assert "Marked wrong, told low since" in told
        assert "seat on order" in told
