"""Findings against faults: the bench's rules, each case small enough to judge by eye."""

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from nightgauge.errors import ProgrammerError, SettingError
from nightgauge.score import Claim, Seen, score, together
from nightgauge.score.promptness import Pace

MAY = datetime(2026, 5, 1, tzinfo=UTC)


def day(number):
    return (MAY + timedelta(days=number)).isoformat()


def finding(name="f1", vessel="A", kind="dump_leaking", onset=10, last=14, reported=11, priority="medium", state="new"):
    return {
        "id": name,
        "vessel": vessel,
        "kind": kind,
        "priority": priority,
        "state": state,
        "onset": day(onset),
        "first_reported": day(reported),
        "last_seen": day(last),
    }


def truth(*rows):
    """Rows of (vessel, kind, start day, end day or None)."""
    return pl.DataFrame(
        [(v, k, day(s), "" if e is None else day(e), "") for v, k, s, e in rows],
        schema=["vessel", "kind", "start", "end", "detail"],
        orient="row",
    )


LEAK = ("A", "dump_leaking", 10, 14)


def found(*findings, faults=(LEAK,)):
    return [o.finding for o in score(list(findings), truth(*faults)).outcomes]


@pytest.mark.parametrize("priority", ["medium", "high"])
def test_a_medium_or_high_finding_on_the_vessel_finds_the_fault(priority):
    assert found(finding(priority=priority)) == ["f1"]


def test_a_low_finding_finds_nothing_and_is_not_false():
    result = score([finding(priority="low")], truth(LEAK))
    assert result.outcomes[0].finding is None
    assert result.false == ()


def test_a_setpoint_step_is_found_by_a_low_finding():
    step = ("A", "interface_setpoint_step|instrument_drift", 10, None)
    assert found(finding(kind="interface_setpoint_step", priority="low"), faults=(step,)) == ["f1"]


def test_another_vessel_does_not_count():
    result = score([finding(vessel="B")], truth(LEAK))
    assert result.outcomes[0].finding is None
    assert result.false == (("f1", "B", "dump_leaking"),)


@pytest.mark.parametrize(
    ("onset", "last", "is_found"),
    [
        (16.0, 17, True),  # two days after the end
        (16.1, 17, False),
        (8, 9.0, True),  # last seen a day before the start
        (8, 8.9, False),
        (6.0, 12, True),  # onset four days early
        (5.9, 12, False),
    ],
)
def test_span_touches_from_a_day_before_to_two_days_after_with_onset_four_days_early_at_most(onset, last, is_found):
    assert found(finding(onset=onset, last=last)) == (["f1"] if is_found else [None])


def test_a_fault_without_end_is_touched_by_any_later_onset():
    assert found(finding(onset=40, last=41), faults=(("A", "dump_leaking", 10, None),)) == ["f1"]


def test_each_finding_counts_once():
    assert sorted(found(finding(), faults=(LEAK, LEAK)), key=str) == [None, "f1"]


def test_the_second_finding_of_one_fault_is_false():
    result = score([finding(), finding("f2", kind="float_sticking")], truth(LEAK))
    assert result.outcomes[0].finding == "f1"
    assert [f[0] for f in result.false] == ["f2"]


def test_a_rightly_named_finding_goes_before_a_nearer_one():
    near = finding("near", kind="dump_restricted", onset=10)
    right = finding("right", onset=12)
    assert found(near, right) == ["right"]


def test_as_many_faults_as_can_be_are_found():
    # One finding fits both faults, the other only the first: the first has to leave the shared one to the second.
    shared, first_only = finding("shared", onset=10, last=30), finding("first", onset=9, last=12)
    late = ("A", "dump_leaking", 13.5, 24)
    assert found(shared, first_only, faults=(LEAK, late)) == ["first", "shared"]


def test_a_medium_finding_withdrawn_later_is_false_and_finds_nothing():
    result = score([finding(state="withdrawn")], truth(LEAK))
    assert result.outcomes[0].finding is None
    assert result.false == (("f1", "A", "dump_leaking"),)


def test_a_low_finding_withdrawn_is_not_false():
    assert score([finding(state="withdrawn", priority="low")], truth(LEAK)).false == ()


def test_named_right_takes_any_of_the_alternatives():
    faults = truth(("A", "interface_setpoint_drift|instrument_drift", 10, None))
    assert score([finding(kind="instrument_drift")], faults).outcomes[0].is_named_right
    assert not score([finding(kind="dump_leaking")], faults).outcomes[0].is_named_right


def test_nights_count_whole_nights_to_the_first_report_and_onset_error_is_signed():
    outcome = score([finding(onset=9.5, reported=11)], truth(("A", "dump_leaking", 10.25, None))).outcomes[0]
    assert outcome.nights == 1
    assert outcome.onset_error_days == pytest.approx(-0.75)


SEEN = Seen({"A": frozenset({"interface_level", "water_rate"}), "B": frozenset()}, MAY, MAY + timedelta(days=42))


def test_false_rate_is_over_all_vessels_and_weeks():
    result = score([finding()], truth(), SEEN)
    assert result.vessel_weeks == pytest.approx(12.0)  # two vessels, six weeks
    assert result.false_per_100_vessel_weeks == pytest.approx(100.0 / 12.0)


def test_a_fault_that_begins_after_the_last_night_is_not_counted():
    assert score([], truth(("A", "dump_leaking", 42, None)), SEEN).outcomes == ()


def test_shares_count_showable_faults_alone():
    faults = truth(LEAK, ("B", "dump_leaking", 10, None), ("A", "vessel_undersized", 20, None))
    result = score([finding()], faults, SEEN)
    assert [o.is_showable for o in result.outcomes] == [True, False, False]  # A has no dimensions
    assert result.found_share == 1.0
    assert result.named_share == 1.0


def test_without_a_fleet_nothing_is_known_to_be_showable():
    result = score([], truth(LEAK))
    assert (result.found_share, result.false_per_100_vessel_weeks) == (None, None)


def test_a_stamp_without_offset_is_refused():
    bad = truth(LEAK).with_columns(start=pl.lit("2026-05-11T00:00"))
    with pytest.raises(SettingError, match="line 2, start: found '2026-05-11T00:00' without an offset"):
        score([], bad)


def test_a_finding_without_times_is_a_bug():
    with pytest.raises(ProgrammerError, match="finding f1: onset, first_reported and last_seen"):
        score([finding() | {"onset": None}], truth(LEAK))


def test_the_table_prints_a_row_per_kind_and_the_rate():
    result = score([finding(), finding("f2", "B", "float_sticking")], truth(LEAK), SEEN)
    lines = result.table().splitlines()
    assert lines[0].split()[:2] == ["kind", "showable"]
    assert lines[2].split() == ["dump_leaking", "1", "1", "(100", "%)", "1", "(100", "%)", "1", "+0.0", "0"]
    assert lines[3].split() == ["float_sticking", "0", "1"]
    assert lines[-1] == "false medium or high findings: 1 in 12 vessel-weeks, 8.3 per 100 vessel-weeks"


def test_a_claim_is_right_if_it_found_a_fault_and_named_it():
    findings = [
        finding() | {"confidence": 0.9},
        finding("f2", vessel="B", kind="float_sticking") | {"confidence": 0.6},
        finding("f3", vessel="C", kind="dump_restricted") | {"confidence": 0.7},
        finding("f4", state="withdrawn", onset=30, last=31) | {"confidence": 0.5},
        finding("f5", priority="low", onset=30, last=31) | {"confidence": 0.4},
    ]
    claims = score(findings, truth(LEAK, ("C", "dump_leaking", 10, 14))).claims
    assert claims == (
        Claim("f1", "dump_leaking", 0.9, True),
        Claim("f2", "float_sticking", 0.6, False),
        Claim("f3", "dump_restricted", 0.7, False),
        Claim("f4", "dump_leaking", 0.5, False),
    )


STUCK = ("A", "float_stuck_closed", 10, None)


@pytest.mark.parametrize(("reported", "is_prompt"), [(11, True), (11.2, True), (11.25, False), (12, False)])
def test_a_stuck_float_is_prompt_on_the_first_night_after_six_hours(reported, is_prompt):
    found = [finding(kind="float_stuck_closed", reported=reported)]
    assert score(found, truth(STUCK), SEEN).outcomes[0].is_prompt is is_prompt


def test_three_periods_of_the_vessels_own_are_longer_than_six_hours():
    slow = Seen(SEEN.signals, SEEN.start, SEEN.until, paces={"A": Pace(period_s=10 * 3600.0)})
    found = [finding(kind="float_stuck_closed", reported=12)]
    assert score(found, truth(STUCK), slow).outcomes[0].is_prompt


def test_a_fault_that_is_not_found_is_not_prompt_and_one_due_after_the_last_night_is_left_out():
    late = ("A", "float_stuck_closed", 41.5, None)
    result = score([], truth(STUCK, late), SEEN)
    assert [o.is_prompt for o in result.outcomes] == [False, None]
    assert result.prompt(["float_stuck_closed"]) == (0, 1)


def test_the_table_tells_promptness_and_the_curve():
    found = [finding(kind="float_stuck_closed") | {"confidence": 0.9}]
    lines = score(found, truth(STUCK), SEEN).table().splitlines()
    told = "stuck floats told the first night after the longer of 6 h and three own periods: 1 of 1 (100 %)"
    assert told in lines
    assert lines[-1] == "Brier score 0.010 over 1 findings"


def test_fleets_together_add_up():
    one = score([finding() | {"confidence": 0.9}], truth(LEAK), SEEN)
    other = score([finding(vessel="B") | {"confidence": 0.6}], truth(LEAK), SEEN)
    both = together([one, other])
    assert (len(both.outcomes), len(both.false), len(both.claims)) == (2, 1, 2)
    assert both.vessel_weeks == pytest.approx(24.0)
    assert both.found_share == 0.5
    assert together([one, score([], truth(LEAK))]).vessel_weeks is None
