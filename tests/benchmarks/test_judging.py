"""The bench of judging still runs; its figures are no test."""

from pathlib import Path

from judging import run


def test_a_small_fleet_is_copied_judged_and_kept(tmp_path: Path) -> None:
    figures = run(5, 3, drawn=2, keep=tmp_path)
    assert figures["vessels"] == 5
    assert figures["night_processor_s"] > 0.0
    assert (tmp_path / "5x3of2.laid").exists()
