"""Quality texts to flags."""

import polars as pl
import pytest

from nightgauge.streams.quality import flags_of, verdict_of
from nightgauge.streams.samples import flag_places
from nightgauge.streams.words import Words


@pytest.mark.parametrize("codes", ["opc_classic", "opc_ua"])
@pytest.mark.parametrize(
    ("text", "flag"),
    [
        ("", "good"), ("  ", "good"), ("Good", "good"), ("GOOD", "good"), (" good ", "good"),
        ("Uncertain", "uncertain"),
        ("BAD", "bad"), ("Bad: comm failure", "bad"), ("Good, local override", "good"), ("BadNoData", "bad"),
        ("UncertainLastValue", "uncertain"), ("Good (192)", "good"),
    ],
)  # fmt: skip
def test_words_are_understood_always(text, flag, codes):
    verdict = verdict_of(text, codes)
    assert (verdict.flag, verdict.is_known) == (flag, True)


@pytest.mark.parametrize(
    "text", ["fishy", "Goodish", "badly", "GOODNESS", "?", "1.5", "-1", "99999999999", "0xZZ", "1" * 5000]
)
def test_a_word_nobody_knows_is_uncertain(text):
    verdict = verdict_of(text, "opc_classic")
    assert (verdict.flag, verdict.is_known) == ("uncertain", False)


@pytest.mark.parametrize(
    ("code", "flag"),
    [
        # the field format: 192 up good, 64 to 191 uncertain, below 64 bad
        ("255", "good"), ("216", "good"), ("192", "good"), ("191", "uncertain"), ("64", "uncertain"),
        ("63", "bad"), ("0", "bad"),
        ("192.0", "good"), ("0xC0", "good"),
        # OPC Data Access: quality is the low byte, the high byte is the vendor's; from memory
        ("448", "good"), ("256", "bad"),
    ],
)  # fmt: skip
def test_opc_classic_bytes(code, flag):
    assert verdict_of(code, "opc_classic").flag == flag


@pytest.mark.parametrize(
    ("code", "flag"),
    [
        # OPC 10000-4 section 7.39.1: bits 31-30: 00 good, 01 uncertain, 10 bad; 11 is reserved, taken as bad
        (0, "good"), (0x3FFFFFFF, "good"), (0x40000000, "uncertain"), (0x7FFFFFFF, "uncertain"),
        # sensor failure, no communication and no data as the open-source asyncua lists them in ua.StatusCodes
        (0x808C0000, "bad"), (0x80310000, "bad"), (0x809B0000, "bad"),
        (0x80000000, "bad"), (0xBFFFFFFF, "bad"), (0xC0000000, "bad"), (0xFFFFFFFF, "bad"),
    ],
)  # fmt: skip
def test_opc_ua_status_codes_by_severity(code, flag):
    assert verdict_of(str(code), "opc_ua").flag == flag
    assert verdict_of(hex(code), "opc_ua").flag == flag
    if code >= 1 << 31:
        assert verdict_of(str(code - (1 << 32)), "opc_ua").flag == flag


def test_a_number_beyond_32_bits_is_no_status_code():
    assert not verdict_of(str(1 << 32), "opc_ua").is_known


@pytest.mark.parametrize(
    ("column", "flags", "unknown"),
    [
        (pl.Series(["Good", None, " bad", "odd ", "odd"]), ["good", "good", "bad", "uncertain", "uncertain"], {"odd"}),
        (pl.Series([192, None, 0]), ["good", "good", "bad"], set()),
        (pl.Series([192.0, 64.0, None]), ["good", "uncertain", "good"], set()),
        (pl.Series([None, None], dtype=pl.Null), ["good", "good"], set()),
        (pl.Series([], dtype=pl.String), [], set()),
    ],
)
def test_columns_of_any_type_become_flags(column, flags, unknown):
    found, words = flags_of(Words.of(column), "opc_classic")
    assert found.tolist() == flag_places(flags).tolist()
    assert set(words.values()) == unknown
