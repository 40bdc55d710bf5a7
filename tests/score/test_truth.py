import pytest

from nightgauge.errors import SettingError
from nightgauge.score.truth import known_faults, read_truth


def test_alternatives_ends_and_the_named_signal_are_read(tmp_path):
    path = tmp_path / "truth.csv"
    path.write_text(
        "vessel,kind,start,end,detail\n"
        "A,instrument_drift|interface_setpoint_drift,2026-05-02T06:00:00-06:00,,reading of interface_level\n"
        "B,data_gap,2026-05-03T00:00:00Z,2026-05-04T00:00:00Z,\n"
    )
    first, second = known_faults(read_truth(path))
    assert first.kinds == ("instrument_drift", "interface_setpoint_drift")
    assert first.end is None
    assert first.of_signal == "interface_level"
    assert second.end is not None
    assert (second.end - second.start).days == 1


def test_a_missing_file_and_a_missing_column_say_so(tmp_path):
    with pytest.raises(SettingError, match="found no such file"):
        read_truth(tmp_path / "truth.csv")
    (tmp_path / "truth.csv").write_text("vessel,start\nA,2026-05-02T06:00:00Z\n")
    with pytest.raises(SettingError, match="expected also kind"):
        read_truth(tmp_path / "truth.csv")


def test_a_fault_without_start_is_refused(tmp_path):
    (tmp_path / "truth.csv").write_text("vessel,kind,start,end\nA,data_gap,,\n")
    with pytest.raises(SettingError, match="line 2, start: found nothing"):
        known_faults(read_truth(tmp_path / "truth.csv"))
