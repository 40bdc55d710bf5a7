"""Texts told by their place: what is read back is what was written."""

import numpy as np
import polars as pl
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.streams.words import Words

COLUMNS = st.lists(st.one_of(st.none(), st.sampled_from(["", "a", " a", "b", "ä"]), st.text(max_size=5)), max_size=40)


@given(COLUMNS)
def test_every_row_is_told_by_its_place_among_different_texts(texts):
    words = Words.of(pl.Series(texts, dtype=pl.String))
    expected = [text or "" for text in texts]
    assert words.written(np.arange(len(texts))).to_list() == expected
    assert words.texts.n_unique() == len(words.texts)
    counts = dict(zip(words.texts, words.counts().tolist(), strict=True))
    assert {text: count for text, count in counts.items() if count} == {text: expected.count(text) for text in expected}


@given(COLUMNS, st.data())
def test_some_rows_keep_their_texts(texts, data):
    words = Words.of(pl.Series(texts, dtype=pl.String))
    rows = np.array(data.draw(st.lists(st.integers(0, len(texts) - 1), max_size=9) if texts else st.just([])), int)
    assert words.take(rows).written(np.arange(len(rows))).to_list() == [texts[row] or "" for row in rows]


def test_numbers_become_texts():
    assert Words.of(pl.Series([192, None, 0])).texts.sort().to_list() == ["", "0", "192"]
