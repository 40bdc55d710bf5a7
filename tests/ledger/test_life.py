from datetime import UTC, datetime, timedelta

import pytest

from nightgauge.errors import SettingError
from nightgauge.ledger import mark, update
from nightgauge.vocabulary.kinds import KINDS

START = datetime(2026, 5, 1, tzinfo=UTC)


def day(number):
    return START + timedelta(days=number)


def test_a_fault_is_told_once_with_the_night_that_told_it(book, seen):
    book.night(1, seen()).night(2, seen(last=2)).night(3, seen(last=3))
    assert book.told == ["reported"]
    assert (book.one["first_reported"], book.one["last_seen"], book.one["state"]) == (day(1), day(3), "new")


def test_a_finding_is_new_for_seven_days_and_then_standing(book, seen):
    for night in range(1, 10):
        book.night(night, seen(last=night))
        assert book.one["state"] == ("new" if night < 8 else "standing")


def test_one_quiet_night_is_no_end(book, seen):
    book.night(1, seen()).night(2).night(3, seen(last=3))
    assert book.told == ["reported"]
    assert book.one["state"] == "new"


def test_two_quiet_nights_clear_a_finding_at_the_data_time_it_ended(book, seen):
    over = seen(end=1.4)
    book.night(1, seen()).night(2, over).night(3, over)
    assert book.told == ["reported", "cleared"]
    assert (book.one["state"], book.one["cleared_at"]) == ("cleared", day(1.4))


def test_a_night_that_could_not_judge_is_no_quiet_night(book, seen):
    others = KINDS.keys() - {"float_stuck_closed"}
    book.night(1, seen()).night(2, judged=others).night(3, judged=others).night(4, judged=others)
    assert book.told == ["reported"]
    assert book.one["quiet_nights"] == 0


def test_a_vessel_that_failed_keeps_its_findings(book, seen):
    book.night(1, seen())
    rows, events = update(book.findings, book.events, {}, day(2))
    assert rows.to_dicts() == book.findings.to_dicts()
    assert len(events) == 0


def test_a_weak_young_finding_whose_evidence_is_gone_is_withdrawn(book, seen):
    book.night(1, seen(confidence=0.6)).night(2).night(3)
    assert book.told == ["reported", "withdrawn"]
    assert (book.one["state"], book.one["cleared_at"]) == ("withdrawn", None)


def test_a_fault_that_comes_back_within_two_weeks_is_the_same_finding(book, seen):
    first = seen(end=1.4)
    book.night(1, seen()).night(2, first).night(3, first)
    again = seen(begin=9.0, last=10.0)
    book.night(10, first, again)
    assert book.told == ["reported", "cleared", "returned"]
    assert (book.one["state"], book.one["cleared_at"]) == ("standing", None)


def test_a_fault_that_comes_back_after_two_weeks_is_another_finding(book, seen):
    first = seen(end=1.4)
    book.night(1, seen()).night(2, first).night(3, first).night(18, first, seen(begin=17.0, last=18.0))
    assert len(book.findings) == 2
    assert book.findings["id"].n_unique() == 2


def test_a_fault_that_came_and_went_in_a_day_is_still_told(book, seen):
    book.night(1).night(2, seen(begin=1.2, end=1.7))
    assert book.told == ["reported"]
    book.night(3, seen(begin=1.2, end=1.7))
    assert book.told == ["reported", "cleared"]


def test_the_first_night_tells_what_ended_within_28_days_as_cleared(book, seen):
    book.night(30, seen(begin=10.0, end=11.0), first=True)
    assert (book.one["state"], book.one["cleared_at"], book.told) == ("cleared", day(11), ["reported", "cleared"])


@pytest.mark.parametrize(("until", "first"), [(40, True), (16, False)])
def test_what_ended_longer_ago_is_not_told(book, seen, until, first):
    book.night(until, seen(begin=10.0, end=11.0), first=first)
    assert len(book.findings) == 0


def test_a_refined_kind_keeps_the_id(book, seen):
    book.night(1, seen("interface_setpoint_step", confidence=0.6, priority="low"))
    before = book.one["id"]
    book.night(5, seen("interface_setpoint_drift", last=5, confidence=0.8, priority="medium"))
    assert (book.one["id"], book.one["kind"]) == (before, "interface_setpoint_drift")
    assert "now known as interface_setpoint_drift" in book.events["detail"][-1]


def test_a_move_first_laid_on_the_valve_then_on_the_transmitter_keeps_the_id(book, seen):
    book.night(1, seen("oil_valve_setpoint_drift", "oil_valve"))
    before = book.one["id"]
    book.night(2, seen("instrument_drift", "instrument:vessel_pressure", last=2))
    assert (book.one["id"], book.one["element"]) == (before, "instrument:vessel_pressure")


def test_two_faults_of_one_element_have_two_ids(book, seen):
    book.night(1, seen("float_sticking"), seen("dump_leaking"))
    assert book.findings["id"].n_unique() == 2


def test_surer_and_worse_are_told_when_a_word_or_the_size_changes(book, seen):
    book.night(1, seen(confidence=0.65, severity=1.0)).night(2, seen(confidence=0.75, severity=1.2, last=2))
    book.night(3, seen(confidence=0.76, severity=2.0, last=3)).night(4, seen(confidence=0.77, severity=2.1, last=4))
    assert book.told == ["reported", "surer", "worse"]


def test_a_mark_never_changes_the_state_and_fixed_is_watched(book, seen):
    over = seen(end=1.4)
    book.night(1, seen())
    book.mark("fixed", 1.3)
    assert book.one["state"] == "new"
    book.night(2, over).night(3, over)
    assert "the repair has held" in book.events["detail"][-1]
    book.night(8, over, seen(begin=7.0, last=8.0))
    assert "marked fixed on 2026-05-02, but seen again" in book.events["detail"][-1]


def test_wrong_is_remembered_for_the_vessel_and_kind(book, seen):
    first = seen(end=1.4)
    book.night(1, seen())
    book.mark("wrong", 1.2)
    book.night(2, first).night(3, first).night(30, seen(begin=29.0, last=30.0))
    again = book.findings.sort("onset").to_dicts()[-1]
    assert (again["priority"], again["confidence"]) == ("low", 0.5)
    assert "marked wrong here on 2026-05-02" in again["instead"]


def test_a_learned_step_and_the_next_step_are_two_findings(book, seen):
    words = "Moved; taken as the new setting."
    step = seen("interface_setpoint_step", end=7.0, settled=True, summary=words)
    book.night(2, seen("interface_setpoint_step", last=2)).night(8, step).night(9, step)
    assert book.one["state"] == "cleared"
    assert book.events["detail"][-1] == "taken as the new setting"
    for night in (12, 13, 14):
        book.night(night, step, seen("interface_setpoint_step", begin=10.0, last=night))
    assert len(book.findings) == 2
    assert book.findings.sort("onset")["last_seen"].to_list() == [day(7), day(14)]


def test_a_finding_seen_again_after_it_was_withdrawn_keeps_its_id(book, seen):
    book.night(1, seen(confidence=0.6)).night(2).night(3)
    book.night(5, seen(begin=0.2, last=5, confidence=0.9)).night(6, seen(begin=0.2, last=6, confidence=0.9))
    assert book.told == ["reported", "withdrawn", "returned"]
    assert book.one["state"] == "new"


def test_another_fault_after_one_was_withdrawn_is_another_finding(book, seen):
    book.night(1, seen(confidence=0.6)).night(2).night(3).night(12, seen(begin=11.0, last=12))
    assert len(book.findings) == 2


def test_a_night_run_twice_on_the_same_ledger_says_the_same(book, seen):
    book.night(1, seen("float_sticking"), seen("dump_leaking"))
    judgement = {"V1": type("J", (), {"candidates": (seen(last=2),), "judged": frozenset(KINDS)})()}
    one = update(book.findings, book.events, judgement, day(2))
    two = update(book.findings, book.events, judgement, day(2))
    assert one[0].equals(two[0])
    assert one[1].equals(two[1])


def test_a_night_judged_again_for_late_samples_is_one_quiet_night(book, seen):
    over = seen(end=1.4)
    book.night(1, seen()).night(2, over).night(2, over)
    assert book.told == ["reported"]
    book.night(3, over)
    assert book.told == ["reported", "cleared"]


def test_a_night_without_the_finding_judged_twice_is_one_quiet_night(book, seen):
    book.night(1, seen(confidence=0.9)).night(2).night(2)
    assert book.told == ["reported"]
    book.night(3)
    assert book.told == ["reported", "cleared"]


def test_an_unknown_mark_is_refused_with_the_marks_there_are(book, seen):
    book.night(1, seen())
    with pytest.raises(SettingError, match="expected one of known, planned, fixed, wrong"):
        mark(book.one, "done", None, None, day(2))


def test_a_fall_told_as_a_turned_spring_first_and_as_not_held_then_keeps_its_id(book, seen):
    book.night(2, seen("oil_valve_setpoint_step", "oil_valve", last=2))
    book.night(3, seen("pressure_not_held", "oil_valve", last=3))
    assert book.told == ["reported", "surer"]
    assert book.one["kind"] == "pressure_not_held"
