"""Nights killed at random moments and started again leave what undisturbed ones do; `benchmarks/kills.py` says how.

A small run of it, for every day; the figures of the large one stand in DEVELOPERS.md.
"""

import os
import subprocess
import sys
from pathlib import Path

import kills
import pytest

FLOWS = Path(__file__).parents[2] / "flows"


def test_importing_the_night_computes_nothing_so_that_it_can_be_forked() -> None:
    code = (
        "import pathlib, nightly\n"
        "print([name for task in pathlib.Path('/proc/self/task').iterdir()"
        " if (name := (task / 'comm').read_text()).startswith('polars-0')])"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=FLOWS)
    assert told.stdout == "[]\n"


@pytest.mark.parametrize("home", ["duckdb", "lake"])
def test_nights_killed_in_every_step_leave_what_undisturbed_ones_do(
    tmp_path: Path, home: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PYTHONPATH", os.environ.get("PYTHONPATH", ""))  # put back after the test
    outcome = kills.run(5, 0, tmp_path, home)
    assert outcome.kills >= 5
    assert len(outcome.by_step.keys() & set(kills.STEPS)) >= 3
