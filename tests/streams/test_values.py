"""Values as written to stored values."""

import pytest

from nightgauge.units import Conversion, conversion

from .conftest import tag_row

NOT_A_NUMBER = "text where a number is due"
NOT_A_STATE = "neither 0 nor 1 nor a state named in tags.csv"
NOT_FINITE = "NaN or infinite"


def value_of(bench, tag, text, quality="Good"):
    """What one long row gives: its value or text, or the reason it is kept out."""
    found = bench.read(f'tag;time;value;quality\n{tag};2026-04-01T00:00Z;"{text}";{quality}\n')
    assert found.rows_read == 1
    if found.samples.is_empty():
        return found.quarantine["reason"][0]
    (_, _, value, text_value, _) = found.samples.row(0)
    return value if text_value is None else text_value


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("5", 5.0), ("-5.25", -5.25), ("+5", 5.0), ("5.", 5.0), (".5", 0.5), ("5,25", 5.25), (",5", 0.5),
        ("-0,125", -0.125),
        ("1e3", 1000.0), ("1.5E-3", 0.0015), ("1,5e1", 15.0), (" 5 ", 5.0), (" 5,5 ", 5.5), ("007", 7.0), ("0", 0.0),
        ("abc", NOT_A_NUMBER), ("1.234,5", NOT_A_NUMBER), ("1,234,567", NOT_A_NUMBER), ("5 psig", NOT_A_NUMBER),
        ("0x10", NOT_A_NUMBER), ("1_000", NOT_A_NUMBER), ("true", NOT_A_NUMBER), ("OPEN", NOT_A_NUMBER),
        ("--5", NOT_A_NUMBER),
        ("No Data", NOT_A_NUMBER), ("٣", NOT_A_NUMBER), ("null", NOT_A_NUMBER),
        ("NaN", NOT_FINITE), ("nan", NOT_FINITE), ("inf", NOT_FINITE), ("-Infinity", NOT_FINITE), ("1e999", NOT_FINITE),
        ("", "no value"), ("   ", "no value"),
    ],
)  # fmt: skip
def test_numbers_with_point_or_comma_are_read_and_the_rest_told(bench, text, value):
    assert value_of(bench, "L", text) == value


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("OPEN", 1.0), ("open", 1.0), (" Open ", 1.0), ("SHUT OFF", 0.0), ("shutoff", 0.0), ("Shut  Off", 0.0),
        ("0", 0.0), ("1", 1.0), ("1.0", 1.0), ("0,0", 0.0), ("TRUE", 1.0), ("False", 0.0),
        ("2", NOT_A_STATE), ("0.5", NOT_A_STATE), ("OPENED", NOT_A_STATE), ("nan", NOT_FINITE), ("", "no value"),
    ],
)  # fmt: skip
def test_states_are_read_by_tags_csv_and_as_truth_values(bench, text, value):
    assert value_of(bench, "S", text) == value


def test_states_that_differ_in_case_only_are_taken_as_written(bench):
    both = bench.with_tags(tag_row("S", "water_dump_open", states={"Open": 1.0, "OPEN": 0.0}))
    assert [value_of(both, "S", text) for text in ("Open", "OPEN", "open")] == [1.0, 0.0, NOT_A_STATE]


def test_states_named_by_numbers_are_read_as_tags_csv_says(bench):
    inverted = bench.with_tags(tag_row("S", "water_dump_open", states={"0": 1.0, "1": 0.0}))
    assert [value_of(inverted, "S", text) for text in ("0", "1", "1.0", "0,0", "2")] == [
        1.0,
        0.0,
        0.0,
        1.0,
        NOT_A_STATE,
    ]


def test_true_and_false_may_be_named_otherwise(bench):
    inverted = bench.with_tags(tag_row("S", "water_dump_open", states={"true": 0.0, "false": 1.0}))
    assert [value_of(inverted, "S", text) for text in ("TRUE", "false")] == [0.0, 1.0]


def test_a_scaled_state_is_read_after_scaling(bench):
    percent = bench.with_tags(tag_row("S", "water_dump_open", Conversion(0.01, 0.0)))
    assert [value_of(percent, "S", text) for text in ("100", "0", "1")] == [1.0, 0.0, NOT_A_STATE]


def test_an_inverted_switch_inverts_numbers_and_truth_values_but_not_named_states(bench):
    inverted = bench.with_tags(tag_row("S", "water_dump_open", Conversion(-1.0, 1.0), states={"OPEN": 1.0}))
    assert [value_of(inverted, "S", text) for text in ("1", "0", "true", "open")] == [0.0, 1.0, 0.0, 1.0]


@pytest.mark.parametrize(
    ("unit", "dimension", "raw", "expected"),
    [
        # NIST SP 811 appendix B.9: 1 psi = 6.894 757 kPa, 1 in = 2.54 E-02 m, 1 bbl (42 US gal) = 1.589 873 E-01 m3,
        # t/degC = (t/degF - 32)/1.8
        ("psi", "pressure difference", "10", 68.94757),
        ("in", "length", "46", 1.1684),
        ("bbl", "volume", "100", 15.89873),
        ("degF", "temperature", "95", 35.0),
    ],
)
def test_values_are_stored_in_si(bench, unit, dimension, raw, expected):
    converting = bench.with_tags(tag_row("T", "temperature", conversion(unit, dimension)))
    assert value_of(converting, "T", raw) == pytest.approx(expected, rel=1e-6)


def test_a_value_that_conversion_takes_beyond_all_numbers_is_kept_out(bench):
    huge = bench.with_tags(tag_row("T", "temperature", Conversion(1e10, 0.0)))
    assert value_of(huge, "T", "1e300") == NOT_FINITE


@pytest.mark.parametrize("text", ["QB-W12", "12", "nan", "OPEN", "true"])
def test_texts_of_text_signals_are_kept_as_they_are(bench, text):
    assert value_of(bench, "W", f" {text} ") == text


def test_a_text_signal_needs_a_text(bench):
    assert value_of(bench, "W", " ") == "no value"


@pytest.mark.parametrize("tag", ["L", "S", "W"])
def test_a_bad_row_without_a_value_is_a_bad_sample_without_a_number(bench, tag):
    found = bench.read(f"tag,time,value,quality\n{tag},2026-04-01T00:00Z,,Bad\n")
    assert found.samples.select("value", "text_value", "flag").rows() == [(None, None, "bad")]


@pytest.mark.parametrize(("text", "reason"), [("abc", NOT_A_NUMBER), ("NaN", NOT_FINITE)])
def test_a_bad_row_with_a_text_where_a_number_is_due_is_kept_out(bench, text, reason):
    assert value_of(bench, "L", text, quality="Bad") == reason
