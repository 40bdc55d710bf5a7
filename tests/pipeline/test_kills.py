"""Nights killed at random moments and started again leave what undisturbed ones do; `benchmarks/kills.py` says how.

A small run of it, for every day; the figures of the large one stand in DEVELOPERS.md.
"""

import os
from pathlib import Path

import kills
import pytest


@pytest.mark.parametrize("home", ["duckdb", "lake"])
def test_nights_killed_in_every_step_leave_what_undisturbed_ones_do(
    tmp_path: Path, home: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PYTHONPATH", os.environ.get("PYTHONPATH", ""))  # put back after the test
    outcome = kills.run(5, 0, tmp_path, home)
    assert outcome.kills >= 5
    assert len(outcome.by_step.keys() & set(kills.STEPS)) >= 3
