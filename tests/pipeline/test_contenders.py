"""Ten nights at once on one field, half of them waiting, while others read: `benchmarks/contenders.py` says how."""

import os
from pathlib import Path

import contenders
import pytest


def test_of_ten_nights_at_once_one_runs_and_the_others_wait_or_are_told_who(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PYTHONPATH", os.environ.get("PYTHONPATH", ""))  # put back after the test
    ended, seen = contenders.run(10, 2, tmp_path)
    assert [end for end in ended[1::2] if end != ("ended", "0")] == []
    told = [words for how, words in ended if how == "busy"]
    assert len(told) >= 1
    assert [words for words in told if "another night is running" not in words or "(process " not in words] == []
    for by_one in seen:
        assert set(by_one) <= {"whole", "none yet"}
        assert by_one["whole"] > 0
