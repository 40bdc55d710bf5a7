"""The drawn vessel is to scale, keeps what it writes apart, and says in words what it shows."""

import re
from collections.abc import Callable
from itertools import pairwise

import pytest

from nightgauge.field.settings import Vessel
from nightgauge.report.drawing import Levels, drawn_vessel

MakeVessel = Callable[..., Vessel]
INCH_M = 0.0254


def _svg(vessel: Vessel, interface: Levels | None = None, oil: Levels | None = None) -> str:
    return str(drawn_vessel(vessel, interface or Levels(), oil or Levels(), "oilfield", "one"))


def _box(svg: str) -> tuple[float, float]:
    """Return width and height of the outline, from its path's own relative moves."""
    (path,) = re.findall(r'class="wall" d="([^"]+)"', svg)
    arcs = [tuple(map(float, arc)) for arc in re.findall(r"a([\d.]+),([\d.]+) 0 0 1 (-?[\d.]+),(-?[\d.]+)", path)]
    straight = [abs(float(move)) for move in re.findall(r"[hv](-?[\d.]+)", path)]
    radius_x, radius_y, across, along = arcs[0]
    if across == 0:  # lying: the arc is a head of depth radius_x
        return straight[0] + 2 * radius_x, abs(along)
    return across, straight[0] + 2 * radius_y


def test_a_lying_vessel_keeps_the_proportions_of_its_dimensions(make_vessel: MakeVessel) -> None:
    # 8 ft inside, 20 ft seam to seam, 2:1 heads a quarter of the diameter deep: 20 + 2 x 2 = 24 ft long, 8 ft high.
    width, height = _box(_svg(make_vessel("V")))
    assert width / height == pytest.approx(24 / 8, rel=0.01)


def test_a_standing_vessel_stands(make_vessel: MakeVessel) -> None:
    width, height = _box(_svg(make_vessel("V", orientation="vertical", heads="hemispherical", baffle_at_m=None)))
    assert height / width == pytest.approx(28 / 8, rel=0.01)  # 20 ft + two heads of 4 ft, 8 ft wide


def test_water_is_filled_to_its_median_level(make_vessel: MakeVessel) -> None:
    svg = _svg(make_vessel("V"), Levels(24 * INCH_M))
    heights = {
        fluid: float(height)
        for fluid, height in re.findall(r'class="(\w+)" x="[\d.]+" y="[\d.]+" width="[\d.]+" height="([\d.]+)"', svg)
    }
    assert heights["water"] / heights["gas"] == pytest.approx(24 / 96, rel=0.01)
    assert heights["oil"] / heights["gas"] == pytest.approx(66 / 96, rel=0.01)  # no oil level: drawn at its setting


def test_a_level_that_is_only_a_setting_is_called_one(make_vessel: MakeVessel) -> None:
    svg = _svg(make_vessel("V"), Levels(44.2 * INCH_M, 42 * INCH_M, 46 * INCH_M))
    assert "interface 44.2 in" in svg
    assert "oil level set 66.0 in" in svg
    assert svg.count("url(#one-hatch)") == 1  # a band for the interface, none for a level not measured


def test_words_never_lie_over_each_other(make_vessel: MakeVessel) -> None:
    places = sorted(
        float(y) for y in re.findall(r'<text x="[\d.]+" y="([\d.]+)"', _svg(make_vessel("V"), Levels(44 * INCH_M)))
    )
    assert len(places) == 4
    assert min(after - before for before, after in pairwise(places)) >= 13.9
    assert places[0] > 0


def test_the_text_alternative_tells_size_and_levels_and_escapes_names(make_vessel: MakeVessel) -> None:
    svg = _svg(make_vessel('<b>"V"'))
    assert "<b>" not in svg
    (said,) = re.findall(r'aria-label="([^"]+)"', svg)
    assert "inside diameter 8 ft, length 20 ft, 2:1 ellipsoidal heads" in said
    assert "opens 46.0 in" in said


def test_without_dimensions_there_is_no_drawing(make_vessel: MakeVessel) -> None:
    assert drawn_vessel(make_vessel("V", heads=None), Levels(), Levels(), "oilfield", "one") is None


def _stubs(svg: str) -> dict[str, tuple[float, float]]:
    """Return where each nozzle's flange begins, by its name."""
    found = re.findall(r'class="stub" d="M([\d.]+),([\d.]+)[^"]*"/><text class="nozzle" [^>]*>(\w+)<', svg)
    return {name: (float(x), float(y)) for x, y, name in found}


@pytest.mark.parametrize("orientation", ["horizontal", "vertical"])
def test_gas_leaves_at_the_top_water_at_the_bottom_and_oil_at_its_level(
    make_vessel: MakeVessel, orientation: str
) -> None:
    svg = _svg(make_vessel("V", orientation=orientation), Levels(24 * INCH_M), Levels(60 * INCH_M))
    stubs = _stubs(svg)
    (oil_level,) = re.findall(r'class="oil" x="[\d.]+" y="([\d.]+)"', svg)
    assert stubs.keys() == {"in", "oil", "gas", "water"}
    assert stubs["gas"][1] < stubs["oil"][1] < stubs["water"][1]
    assert stubs["oil"][1] == pytest.approx(float(oil_level) - 5.5, abs=0.11)  # the flange is 11 high about it


def test_the_far_end_of_a_lying_vessel_has_its_outlets(make_vessel: MakeVessel) -> None:
    stubs = _stubs(_svg(make_vessel("V")))
    assert stubs["in"][0] < min(stubs[name][0] for name in ("gas", "water", "oil"))


def test_a_standing_vessel_full_of_oil_keeps_its_inlet_apart_from_the_oil_outlet(make_vessel: MakeVessel) -> None:
    stubs = _stubs(_svg(make_vessel("V", orientation="vertical"), oil=Levels(270 * INCH_M)))
    assert stubs["oil"][1] - stubs["in"][1] > 11


def test_all_words_lie_inside_the_drawing(make_vessel: MakeVessel) -> None:
    svg = _svg(make_vessel("V"), Levels(44 * INCH_M))
    (width, height) = map(float, *re.findall(r'viewBox="0 0 (\d+) (\d+)"', svg))
    for x, y in re.findall(r'<text(?: class="nozzle")? x="([\d.]+)" y="([\d.]+)"', svg):
        assert 0 < float(x) < width
        assert 0 < float(y) < height
