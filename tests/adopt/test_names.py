from hypothesis import given
from hypothesis import strategies as st

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
