"""What changed since last week: grammar of the opening and of each sentence."""

from collections.abc import Callable
from datetime import UTC, datetime

import polars as pl
import pytest

from nightgauge.report.changes import opening, sentences
from nightgauge.report.weekly import WeekView
from nightgauge.vocabulary.frames import FINDING_EVENTS

MakeView = Callable[..., WeekView]
Build = Callable[..., pl.DataFrame]
BEFORE, WITHIN = datetime(2026, 5, 12, 6, tzinfo=UTC), datetime(2026, 5, 20, 6, tzinfo=UTC)


def _visits(new: int, known: int) -> list[dict[str, object]]:
    rows = [{"id": f"N{at}", "vessel": f"TB-{at}", "first_reported": WITHIN, "state": "new"} for at in range(new)]
    return rows + [{"id": f"K{at}", "vessel": f"TK-{at}", "first_reported": BEFORE} for at in range(known)]


@pytest.mark.parametrize(
    ("new", "known", "said"),
    [
        (0, 0, "No vessel was found to need a visit."),
        (1, 0, "One vessel needs a visit; it is new this week."),
        (0, 1, "One vessel needs a visit; it was known last week."),
        (2, 0, "Two vessels need a visit; both are new this week."),
        (3, 0, "Three vessels need a visit; all are new this week."),
        (1, 1, "Two vessels need a visit; one is new this week."),
        (2, 1, "Three vessels need a visit; two are new this week."),
        (0, 12, "12 vessels need a visit; none is new this week."),
    ],
)
def test_the_opening_counts_in_a_whole_sentence(
    make_view: MakeView, make_findings: Build, new: int, known: int, said: str
) -> None:
    findings = make_findings(*_visits(new, known)) if new + known else make_findings({}).clear()
    assert opening(make_view(findings=findings)) == said


def test_each_change_is_one_sentence_with_a_capital_and_a_stop(make_view: MakeView) -> None:
    said = sentences(make_view())
    assert said == [
        "New: TB-1, water dump stuck shut, since Fri 04:10.",
        "New: TB-4, too little data to judge, since 9 May.",
        "TB-2: “oil valve’s hold is drifting” got worse.",
        "TB-1: “unlike its other days” was withdrawn: later data speak against it.",
        "TB-3: “water in the oil outlet” cleared Tue 12:00, as marked fixed, and has held since.",
        "Marked planned: TB-2 (water dump leaks while shut).",
    ]


def test_many_new_findings_are_named_by_their_vessels_only(make_view: MakeView, make_findings: Build) -> None:
    assert sentences(make_view(findings=make_findings(*_visits(9, 0)))) == [
        "New this week on TB-0, TB-1, TB-2, TB-3, TB-4 and 4 more: nine findings."
    ]


def test_what_happened_before_the_week_or_after_its_end_is_no_change(make_view: MakeView, make_findings: Build) -> None:
    after = datetime(2026, 5, 25, 6, 0, 0, 1, tzinfo=UTC)
    events = FINDING_EVENTS.build({
        "finding_id": ["F001"] * 3, "at_utc": [BEFORE, datetime(2026, 5, 18, 6, tzinfo=UTC), after],
        "event": ["worse"] * 3, "detail": [None] * 3,
    })  # fmt: skip
    view = make_view(findings=make_findings({"first_reported": BEFORE}), events=events)
    assert sentences(view) == []
