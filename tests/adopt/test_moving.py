import numpy as np
import pytest

from nightgauge.adopt.moving import looks_of, together

MINUTES = 6 * 1440


def test_products_of_looks_are_correlations() -> None:
    rng = np.random.default_rng(3)
    looks = looks_of(rng.standard_normal((4, MINUTES)))
    for look in (looks.value, looks.change, looks.slow):
        assert np.square(look).sum(axis=1) == pytest.approx(1.0, abs=1e-3)
        assert look.mean(axis=1) == pytest.approx(0.0, abs=1e-5)


def test_a_tag_that_never_moves_has_no_bond() -> None:
    rng = np.random.default_rng(4)
    values = np.vstack([np.full(MINUTES, 7.0), rng.standard_normal((5, MINUTES))])
    assert together(looks_of(values)).strength[0].max() == 0.0


def test_what_comes_every_day_at_the_same_hour_makes_no_pair() -> None:
    rng = np.random.default_rng(5)
    day = np.sin(2.0 * np.pi * np.arange(MINUTES) / 1440.0)
    values = 5.0 * day + rng.standard_normal((6, MINUTES))
    assert together(looks_of(values)).strength.max() < 11.0


def test_two_tags_of_one_process_stand_out_from_chance_and_others_do_not() -> None:
    rng = np.random.default_rng(6)
    noise = rng.standard_normal((8, MINUTES))
    noise[1] = 0.5 * noise[0] + noise[1]
    strength = together(looks_of(noise)).strength
    assert strength[0, 1] > 11.0
    strength[0, 1] = strength[1, 0] = 0.0
    assert strength.max() < 11.0


def test_one_accident_makes_no_pair_beyond_doubt_of_tags_that_share_nothing_else() -> None:
    rng = np.random.default_rng(7)
    quiet = rng.standard_normal((6, MINUTES))
    shut_in = quiet.copy()
    shut_in[:2, 2000:2100] -= 4.0
    everywhere = quiet.copy()
    everywhere[:2, ::40] -= 4.0
    assert together(looks_of(shut_in)).strength[0, 1] < together(looks_of(everywhere)).strength[0, 1]
