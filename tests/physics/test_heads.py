import numpy as np
import pytest
from fluids.geometry import V_horiz_torispherical, V_vertical_torispherical
from scipy.integrate import quad

from nightgauge.physics.heads import TorisphericalHead, head


def test_a_torispherical_head_of_other_radii_agrees_with_fluids():
    # Another standard shape, crown 0.8 D and knuckle 0.154 D (DIN 28013).
    korbbogen = TorisphericalHead(crown=0.8, knuckle=0.154)
    levels = np.array([0.05, 0.3, 0.5, 0.8, 0.97])
    lying = [V_horiz_torispherical(D=1.0, L=0.0, f=0.8, k=0.154, h=level) for level in levels]
    np.testing.assert_allclose(korbbogen.lying_volume(levels), lying, rtol=1e-7)
    standing = [V_vertical_torispherical(D=1.0, f=0.8, k=0.154, h=level) for level in (0.02, 0.1, 0.2)]
    np.testing.assert_allclose(korbbogen.standing_volume(np.array([0.02, 0.1, 0.2])), standing, rtol=1e-9)


@pytest.mark.parametrize("level", [0.01, 0.04, 0.2, 0.5, 0.9])
def test_the_lying_plan_area_is_the_integral_of_the_heads_depth(level):
    # By adaptive quadrature straight from the profile: crown 1.0, knuckle 0.06, tangent at radius 0.44 / 0.94.
    edge, depth = 0.44 / 0.94, 1.0 - np.sqrt(0.94**2 - 0.44**2)

    def profile(radius):
        crown = np.sqrt(1.0 - radius**2) - 1.0 + depth
        return crown if radius < edge else np.sqrt(max(0.06**2 - (radius - 0.44) ** 2, 0.0))

    off = abs(level - 0.5)
    width = np.sqrt(0.25 - off**2)
    turn = np.sqrt(max(edge**2 - off**2, 0.0))
    area, _ = quad(lambda w: profile(np.hypot(off, w)), 0.0, width, points=[turn], epsabs=1e-12, limit=400)
    assert head("torispherical").lying_area(np.asarray(level)) == pytest.approx(4.0 * area, rel=1e-8)


def test_an_unknown_head_is_a_key_error():
    with pytest.raises(KeyError, match="dished"):
        head("dished")
