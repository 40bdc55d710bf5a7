"""Landing an export: every row accounted for, the later file wins, only changes are marked."""

from typing import Any

from nightgauge.store import Store


def test_new_samples_are_stored_and_read_back(store: Store, make: Any) -> None:
    with store.writing() as w:
        counts = w.land(make.export(), make.parsed([(1, 0, 1.0, "good"), (1, 5, None, "bad")]), make.read_at)
    assert (counts.rows_read, counts.rows_stored) == (2, 2)
    with store.reading() as r:
        samples = r.vessel_samples("V-1", make.at(0), make.at(10))
    assert samples["value"].to_list() == [1.0, None]
    assert samples["flag"].to_list() == ["good", "bad"]
