from datetime import UTC, date, datetime

import numpy as np

from nightgauge.derive.tables import NO_TIME, build
from nightgauge.vocabulary.frames import DUMP_CYCLES, VESSEL_DAYS


def test_columns_of_several_parts_become_one_frame():
    parts = [
        {
            "vessel": ["A"],
            "opened_utc": np.array([2_000_000]),
            "shut_utc": np.array([NO_TIME]),
            "fill_s": np.array([np.nan]),
        },
        {
            "vessel": ["A"],
            "opened_utc": np.array([1_000_000]),
            "shut_utc": np.array([1_500_000]),
            "drain_s": np.array([0.5]),
        },
    ]
    found = DUMP_CYCLES.check(build(DUMP_CYCLES, parts))
    assert found["opened_utc"].to_list() == [datetime(1970, 1, 1, 0, 0, s, tzinfo=UTC) for s in (1, 2)]
    assert found["shut_utc"].to_list()[1] is None
    assert found["drain_s"].to_list() == [0.5, None]
    assert found["evidence"].to_list() == [None, None]


def test_parts_without_rows_are_passed_over():
    assert build(DUMP_CYCLES, [{"vessel": [], "opened_utc": np.zeros(0, dtype=np.int64)}]).equals(DUMP_CYCLES.empty())
    assert build(DUMP_CYCLES, []).equals(DUMP_CYCLES.empty())


def test_counts_that_are_not_known_are_null():
    found = build(
        VESSEL_DAYS, [{"vessel": ["A", "A"], "day": [date(2026, 3, 2), date(2026, 3, 3)], "dumps": [3.0, np.nan]}]
    )
    assert found["dumps"].to_list() == [3, None]
