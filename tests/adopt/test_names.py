import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.adopt.belief import believed
from nightgauge.adopt.evidence import Kinds
from nightgauge.adopt.names import Name

# First letters after ISA-5.1-2009, table 4.1: F flow rate, L level, P pressure, T temperature, Z position; Q behind
# it integrates. From secondary copies of the standard, from memory.
ISA = {
    "PIT-7": "vessel_pressure", "LT-7": "interface_level", "TI-7": "temperature", "FQI-7W": "water_total",
    "FIT-7G": "gas_rate", "ZSO-7W": "water_dump_open", "ZT-7W": "water_dump_position",
}  # fmt: skip


def said(tag: str) -> set[str]:
    return {signal for _, means in Name(tag).says for signal in means}


def test_letters_after_isa_speak_for_their_signals() -> None:
    for tag, signal in ISA.items():
        assert signal in said(tag), tag


def test_letters_speak_wherever_they_stand_and_in_small_letters() -> None:
    assert "vessel_pressure" in said("101.PIT.H")
    assert "vessel_pressure" in said("v101_pit")


def test_words_go_before_letters() -> None:
    # TEST would be a temperature by its letters alone.
    assert "temperature" not in said("TEST-7")


def test_an_area_code_that_means_nothing_here_does_not_hide_the_letters() -> None:
    name = Name("AR1_PIT_07", frozenset({"pit"}))
    assert [part for part, _ in name.says] == ["PIT"]


@given(st.text())
def test_any_text_is_a_name(tag: str) -> None:
    name = Name(tag)
    assert all(0 <= place < len(name.parts) for place in name.places)
    assert "".join(name.parts) in "".join(c for c in tag if c.isascii() and c.isalnum())


def test_an_areas_code_that_reads_as_letters_of_a_measurement_is_not_believed() -> None:
    """AR would be an analysis that is recorded; here it stands before pressures and meters alike."""
    tags = [f"AR1_PIT_{at:02d}" for at in range(20)] + [f"AR1_FQI_{at:02d}" for at in range(5)]
    counts = np.arange(25) >= 20
    none = np.zeros(25, dtype=bool)
    names = believed(tags, Kinds(none, none, counts, none), none)
    assert {name.tag[:7]: [part for part, _ in name.says] for name in names} == {"AR1_PIT": ["PIT"], "AR1_FQI": ["FQI"]}
