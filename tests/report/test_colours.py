"""Contrast of the pages' colours, computed by WCAG 2.2's own definition; the ratio checked on W3C's known pairs."""

import pytest

from nightgauge.report.colours import DARK, LIGHT, MARK_ON_GROUND, PRINT, TEXT_ON_GROUND, contrast, variable

SETS = {"light": LIGHT, "dark": DARK, "print": PRINT}


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [
        ("#000000", "#FFFFFF", 21.0),  # WCAG 2.2, note to "contrast ratio": 1 to 21
        ("#777777", "#FFFFFF", 4.48),  # W3C, Understanding 1.4.3: #777777 on white is 4.48:1 and does not pass
        ("#767676", "#FFFFFF", 4.54),  # the next darker grey passes
    ],
)
def test_contrast_is_that_of_the_standard(one: str, other: str, ratio: float) -> None:
    assert contrast(one, other) == pytest.approx(ratio, abs=0.005)
    assert contrast(other, one) == contrast(one, other)


@pytest.mark.parametrize("name", SETS)
@pytest.mark.parametrize("pair", TEXT_ON_GROUND, ids="-".join)
def test_text_stands_out_from_its_ground(name: str, pair: tuple[str, str]) -> None:
    ink, ground = pair
    assert contrast(SETS[name][ink], SETS[name][ground]) >= 4.5  # WCAG 2.2, 1.4.3 (AA)


@pytest.mark.parametrize("name", SETS)
@pytest.mark.parametrize("pair", MARK_ON_GROUND, ids="-".join)
def test_marks_stand_out_from_their_ground(name: str, pair: tuple[str, str]) -> None:
    ink, ground = pair
    assert contrast(SETS[name][ink], SETS[name][ground]) >= 3.0  # WCAG 2.2, 1.4.11 (AA)


def test_every_colour_has_all_three_grounds() -> None:
    assert set(LIGHT) == set(DARK) == set(PRINT)


def test_an_unknown_colour_is_a_bug() -> None:
    with pytest.raises(KeyError, match="mauve"):
        variable("mauve")
