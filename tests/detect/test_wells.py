"""Wells by their tests: planted falls are told with what happened, plain scatter and the vessel's meter are not."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from nightgauge.detect import find, wells
from nightgauge.vocabulary.frames import WELL_TESTS

LOSS = np.r_[np.ones(9), np.full(3, 0.7)]
_COLUMNS = ("water", "oil", "gas")


@pytest.fixture
def tested(past):
    """Return a maker of a test vessel's history: wells with their rates test by test, a test every five days."""
    empty = past(days=1).history()
    start = empty.until - timedelta(days=1)

    def make(until_test=None, state="accepted", **rates):
        rows = []
        for number, (well, columns) in enumerate(rates.items()):
            for place in range(len(columns["water"])):
                begun = start + timedelta(days=5 * place, hours=12 * number)
                row = {"well": well, "vessel": "V1", "start_utc": begun, "end_utc": begun + timedelta(days=1),
                       "state": state}  # fmt: skip
                row |= {f"{name}_m3_per_day": float(values[place]) for name, values in columns.items()}
                if "oil" in columns:
                    water, oil = row["water_m3_per_day"], row["oil_m3_per_day"]
                    row["water_cut_fraction"] = water / (water + oil) if water + oil > 0.0 else None
                rows.append(row)
        names = {name: None for row in rows for name in row}
        tests = WELL_TESTS.build({name: [row.get(name) for row in rows] for name in names})
        many = 12 if until_test is None else until_test
        return replace(empty, tests=tests, until=start + timedelta(days=5 * many))

    return make


def rates(seed=1, count=12, scatter=0.03, **factors):
    """Return the rates of a well of 100 m3/day water, 20 oil, 900 gas, which scatter together and apart."""
    rng = np.random.default_rng(seed)
    common = rng.normal(0.0, 0.8 * scatter, count)
    usual = {"water": 100.0, "oil": 20.0, "gas": 900.0}
    return {name: usual[name] * factors.get(name, 1.0) * np.exp(common + rng.normal(0.0, 0.6 * scatter, count))
            for name in _COLUMNS}  # fmt: skip


def test_a_well_that_makes_less_of_everything_is_told_since_its_first_test_that_is_out(tested):
    history = tested(A=rates(water=LOSS, oil=LOSS, gas=LOSS), B=rates(2), C=rates(3))
    (found,) = wells.find(history)
    assert (found.kind, found.element, found.priority, found.ended) == ("well_test_decline", "well:A", "medium", None)
    assert found.onset == history.until - timedelta(days=15)
    assert "less of everything" in found.summary
    # What was planted: 30 % of 20 m3/day of oil; three tests of 3 % know it to 2 %.
    assert found.effect.value == pytest.approx(6.0, rel=0.15)
    assert [term.value for term in found.effect.terms] == pytest.approx([20.0, 14.0], rel=0.05)
    told = {e.name: e for e in found.evidence}
    assert told["water cut, last 3 tests"].value == pytest.approx(100 / 120, abs=0.02)
    fall = next(e.value for e in found.evidence if e.name.startswith("fall of the"))
    assert abs(fall - 0.30) < 3.0 * told["standard uncertainty of that fall"].value
    assert any("2 other wells tested before and since did not" in instead.why for instead in found.instead)


@pytest.mark.parametrize(
    ("factors", "words"),
    [
        ({"water": 1 / LOSS, "oil": LOSS}, "more water and less oil"),
        ({"water": LOSS, "oil": LOSS, "gas": 1 / LOSS}, "less oil and more gas"),
        ({"oil": LOSS}, "less oil only, and water as before"),
        ({"water": LOSS}, "less water, and oil as before"),
    ],
)
def test_the_record_says_what_happened(tested, factors, words):
    (found,) = wells.find(tested(A=rates(**factors)))
    assert words in found.summary


def test_water_alone_is_told_as_water_alone(tested):
    (found,) = wells.find(tested(A={"water": rates(water=LOSS)["water"]}))
    assert "less water; oil is not metered" in found.summary
    assert found.effect is None


@pytest.mark.parametrize("scatter", [0.03, 0.1, 0.2])
def test_plain_scatter_is_told_in_fewer_than_one_record_of_a_hundred(tested, scatter):
    """Twelve tests of plain scatter, 500 records at one vessel, judged after each test from the fifth on."""
    names = {f"W{seed}": rates(seed, scatter=scatter) for seed in range(500)}
    told = {c.element for night in range(5, 13) for c in wells.find(tested(night, **names))}
    assert len(told) < 5


@pytest.mark.parametrize("factor", [np.r_[np.ones(9), np.full(3, 0.75)], np.r_[np.ones(9), 0.92, 0.83, 0.75]])
def test_nine_in_ten_declines_of_a_quarter_over_three_tests_are_found(tested, factor):
    """A step and a ramp, wells one by one; tests that repeat within 3 %."""
    found = [wells.find(tested(A=rates(seed, water=factor, oil=factor, gas=factor))) for seed in range(40)]
    assert sum(len(each) == 1 for each in found) >= 36


def test_one_test_that_is_out_waits_for_the_next(tested):
    last = np.r_[np.ones(11), 0.82]
    assert wells.find(tested(A=rates(scatter=0.06, water=last, oil=last))) == []


def test_one_test_far_out_is_told_as_low_and_forgotten_when_the_next_is_as_before(tested):
    dead = np.r_[np.ones(10), 0.2, 1.0]
    (found,) = wells.find(tested(11, A=rates(water=dead, oil=dead)))
    assert found.priority == "low"
    assert "one test, far out of its record" in found.summary
    assert wells.find(tested(12, A=rates(water=dead, oil=dead))) == []


def test_a_well_that_gives_nothing_any_more_is_told(tested):
    none = np.r_[np.ones(10), 0.0, 0.0]
    (found,) = wells.find(tested(A=rates(water=none, oil=none, gas=none)))
    assert found.effect.value == pytest.approx(20.0, rel=0.1)


def test_most_wells_down_by_one_share_are_the_meter(tested):
    down = {"water": LOSS, "oil": LOSS, "gas": LOSS}
    assert wells.find(tested(A=rates(1, **down), B=rates(2, **down), C=rates(3, **down))) == []
    assert len(wells.find(tested(A=rates(1, **down), B=rates(2), C=rates(3)))) == 1


def test_a_night_on_which_most_wells_fell_alike_says_so_instead_of_judging_them(tested, sound_snap):
    made = sound_snap(days=80).history()
    down = {"water": LOSS, "oil": LOSS, "gas": LOSS}
    alike = tested(A=rates(1, **down), B=rates(2, **down), C=rates(3, **down), D=rates(4))
    judged = find(replace(made, tests=alike.tests, until=alike.until))
    assert "well_test_decline" not in judged.judged
    assert judged.unjudged["well_test_decline"] == (
        "tests of A, B, C fell as most others did: check the vessel's meter before any well"
    )
    one = tested(A=rates(1, **down), B=rates(2), C=rates(3), D=rates(4))
    assert "well_test_decline" in find(replace(made, tests=one.tests, until=one.until)).judged


def test_tests_that_got_shorter_are_named_as_another_explanation(tested):
    history = tested(A=rates(water=LOSS, oil=LOSS))
    late = pl.col("start_utc") >= history.until - timedelta(days=15)
    hours = pl.when(late).then(pl.lit(timedelta(hours=9))).otherwise(pl.lit(timedelta(hours=24)))
    short = history.tests.with_columns((pl.col("start_utc") + hours).alias("end_utc"))
    said = {
        (one.kind, one.why) for past in (history, replace(history, tests=short))
        for one in wells.find(past)[0].instead
    }  # fmt: skip
    assert ("shorter tests", "they lasted 24 h, those before 24 h") in said
    assert ("shorter tests", "not excluded: they lasted 9 h, those before 24 h") in said


def test_a_fall_that_other_wells_had_before_is_not_the_meter(tested):
    early, late = np.r_[np.ones(6), np.full(6, 0.7)], LOSS
    found = wells.find(tested(A=rates(1, water=late, oil=late), B=rates(2, water=early, oil=early), C=rates(3)))
    assert "well:A" in {c.element for c in found}


def test_a_well_that_comes_back_was_down_until_then(tested):
    for_a_while = np.r_[np.ones(6), np.full(3, 0.6), np.ones(3)]
    history = tested(A=rates(water=for_a_while, oil=for_a_while))
    (found,) = wells.find(history)
    assert found.ended == history.until - timedelta(days=15)
    assert not found.settled
    assert "back since its test of" in found.summary


def test_six_tests_that_stay_are_the_record_and_a_second_fall_is_told(tested):
    twice = np.r_[np.ones(6), np.full(7, 0.7), np.full(3, 0.45)]
    settled, second = wells.find(tested(16, A=rates(count=16, water=twice, oil=twice)))
    assert settled.settled
    assert settled.ended is not None
    assert second.ended is None
    assert second.effect.terms[0].value == pytest.approx(14.0, rel=0.05)


def test_a_slow_fall_of_the_whole_record_is_told_as_such(tested):
    slow = 0.965 ** np.arange(12)
    (found,) = wells.find(tested(A=rates(scatter=0.02, water=slow, oil=slow, gas=slow)))
    assert (found.priority, found.ended) == ("low", None)
    assert "slowly makes less of everything" in found.summary


def test_rejected_and_running_tests_say_nothing(tested):
    for state in ("rejected", "running"):
        assert wells.find(tested(state=state, A=rates(water=LOSS, oil=LOSS))) == []


def test_less_sure_tests_say_less(tested):
    history = tested(A=rates(water=LOSS, oil=LOSS))
    columns = [pl.lit(30.0).alias("water_uncertainty_m3_per_day"), pl.lit(6.0).alias("oil_uncertainty_m3_per_day")]
    vague = replace(history, tests=history.tests.with_columns(columns))
    (sure,) = wells.find(history)
    assert all(c.confidence < sure.confidence for c in wells.find(vague))


def test_net_oil_is_told_where_every_test_gives_it(tested):
    history = tested(A=rates(water=LOSS, oil=LOSS))
    net = history.tests.with_columns((0.9 * pl.col("oil_m3_per_day")).alias("net_oil_m3_per_day"))
    (found,) = wells.find(replace(history, tests=net))
    assert any(e.name == "net oil rate, last 3 tests" for e in found.evidence)
    assert found.effect.value == pytest.approx(0.9 * 6.0, rel=0.15)


def test_tests_after_the_night_and_wells_of_few_tests_are_not_judged(tested):
    assert wells.find(tested(9, A=rates(water=LOSS, oil=LOSS))) == []
    assert wells.find(tested(A=rates(count=5, water=LOSS[-5:], oil=LOSS[-5:]))) == []


def test_a_limit_of_field_toml_is_kept_and_named(tested):
    history = tested(A=rates(water=LOSS, oil=LOSS))
    strict = replace(history, field=replace(history.field, limits={"well_test_decline": {"least_fall": 0.4}}))
    assert wells.find(strict) == []
    loose = replace(history, field=replace(history.field, limits={"well_test_decline": {"least_fall": 0.2}}))
    assert "Limits set in field.toml: least_fall" in wells.find(loose)[0].summary


def test_the_kind_is_judged_by_its_tests_and_not_by_the_last_day(tested, sound_snap):
    made = sound_snap(days=80).history()
    few = tested(A=rates(count=4))
    assert "well_test_decline" in find(replace(made, tests=tested(A=rates()).tests)).judged
    assert "5 accepted tests of a well, 4 are" in find(replace(made, tests=few.tests)).unjudged["well_test_decline"]
    assert "none is there" in find(made).unjudged["well_test_decline"]
