import numpy as np
import pytest
from hypothesis import settings

settings.register_profile("untimed", deadline=None)  # a busy machine is no fault
settings.load_profile("untimed")

# Montgomery, Introduction to Statistical Quality Control, tabular CUSUM example: target 10, spread 1; points 21-30 were
# drawn with mean 11. Seen in many public copies.
MONTGOMERY = (
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08,
    9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
)  # fmt: skip

# NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.3.
NIST_CUSUM = (
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
    324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
)  # fmt: skip


@pytest.fixture
def montgomery():
    return np.array(MONTGOMERY)


@pytest.fixture
def nist_cusum():
    return np.array(NIST_CUSUM)


@pytest.fixture
def rng():
    return np.random.default_rng(20260518)


@pytest.fixture
def autoregressions(rng):
    """Return a builder of many first-order autoregressions of unit spread, one per row."""

    def build(series, points, correlation):
        noise = rng.standard_normal((series, points))
        rows = np.empty_like(noise)
        rows[:, 0] = noise[:, 0]
        for point in range(1, points):
            rows[:, point] = correlation * rows[:, point - 1] + np.sqrt(1 - correlation**2) * noise[:, point]
        return rows

    return build


LOOPS = ("flow sticks", "level sticks", "sine", "other valve", "sharp", "load wanders", "slugs", "follows", "steady")


@pytest.fixture(scope="session")
def control_loops():
    """Return a maker of loops of one kind: `make(kind, count, seed)` gives demand, measured, set point, turns.

    First-order or integrating process, dead time, controller of proportion and integral, a stem with a stick band and
    a jump. Percent everywhere, 720 samples of 10 s, each in five steps. `turns`: how often the stem was torn loose the
    other way, which is what makes a limit cycle.
    """
    return _control_loops


def _control_loops(kind, count, seed, samples=720, step_s=10.0):
    rng = np.random.default_rng([seed, LOOPS.index(kind)])
    total = samples + 60  # the first 60 are let pass

    def between(low, high):
        return np.exp(rng.uniform(np.log(low), np.log(high), count))

    sticks = kind.endswith("sticks")
    level = np.full(count, kind == "level sticks") if sticks else rng.random(count) < 0.35
    gain = between(0.3, 3.0) * rng.choice([-1.0, 1.0], count)
    lag_s = np.where(level, between(100.0, 2000.0), between(3.0, 300.0))
    dead_s = np.minimum(between(1.0, 60.0), np.where(level, 60.0, lag_s))
    reset = dead_s + step_s
    proportion = np.where(level, 2 * lag_s / (6 * reset), lag_s / (np.maximum(lag_s, 3 * reset) + reset))
    proportion *= between(0.3, 2.0) * np.where(level, between(0.2, 1.0), 1.0) / np.abs(gain)
    integral_s = np.where(level, 8 * reset, np.maximum(lag_s, step_s)) * between(0.5, 2.0)
    if kind == "sharp":
        proportion, integral_s = proportion * between(2.5, 6.0), integral_s * between(0.3, 1.0)
    band = between(0.6, 12.0) if sticks else np.full(count, 0.01)
    jump = band * rng.uniform(0.1, 1.0, count) if sticks else np.full(count, 0.01)
    height = (0.5 * jump if sticks else 1.0) * between(0.02, 0.3)
    load = height[:, None] * _wander(rng, count, total, 0.97)
    swing = between(8.0, 90.0)[:, None]
    turn = np.arange(total)[None, :] / swing + rng.random(count)[:, None]
    outside = between(0.5, 8.0)[:, None]
    target = np.zeros((count, total))
    if kind == "sine":
        load += outside * np.sin(2 * np.pi * turn)
    if kind == "other valve":  # a rectangle or triangle from upstream, rounded on its way
        triangle = 4 * np.abs(turn % 1.0 - 0.5) - 1
        shape = np.where(rng.random(count)[:, None] < 0.5, np.sign(triangle), triangle)
        load += outside * _lagged(shape, 1 - np.exp(-1 / (swing[:, 0] * rng.uniform(0.03, 0.4, count))))
    if kind == "load wanders":
        load += outside * _wander(rng, count, total, 0.995)
    if kind == "slugs":
        ends = rng.random((count, total)) < 2 / swing
        load += outside * np.take_along_axis(rng.standard_normal((count, total)), np.cumsum(ends, axis=1), axis=1)
    if kind == "follows":
        target += 2 * np.abs(gain)[:, None] * _wander(rng, count, total, 0.9)
    size = np.abs(gain) * np.where(level, 0.3, 1.0) * (jump if sticks else 1.5)
    noise = rng.standard_normal((count, total)) * (size * between(0.01, 0.25) * (4 if kind == "steady" else 1))[:, None]
    step = np.where(rng.random(count) < 0.25, size * between(0.02, 0.2), 1e-9)  # resolution of the reading
    dead = np.round(dead_s * 5 / step_s).astype(int)
    way = np.zeros((dead.max() + 1, count))
    everyone = np.arange(count)
    demand, stem, direction, last, value, integral = (np.zeros(count) for _ in range(6))
    demands, values, turns = np.empty((count, total)), np.empty((count, total)), np.zeros(count)
    slides_on = rng.random(count) < 0.6
    for at in range(total):
        for part in range(5):
            now = at * 5 + part
            way[now % len(way)] = stem
            inflow = way[(now - dead) % len(way), everyone] + load[:, at]
            value = value + np.where(level, gain * inflow, gain * inflow - value) * -np.expm1(-step_s / 5 / lag_s)
        reading = np.round((value + noise[:, at]) / step) * step
        error = (target[:, at] - reading) * np.sign(gain)
        before = demand
        integral = np.clip(integral + proportion * step_s / integral_s * error, -50.0, 50.0)
        demand = np.clip(integral + proportion * error, -50.0, 50.0)
        slides = slides_on & (direction == np.sign(demand - before)) & (direction != 0)
        away = demand - stem
        torn = ~slides & (np.abs(away) > (band + jump) / 2)
        turns += torn & (np.sign(away) == -last) & (at >= 60)
        last = np.where(torn, np.sign(away), last)
        direction = np.where(torn, np.sign(away), np.where(slides, direction, 0.0))
        stem = np.where(slides | torn, demand - last * (band - jump) / 2, stem)
        demands[:, at], values[:, at] = demand, reading
    return demands[:, 60:], values[:, 60:], target[:, 60:], turns


def _wander(rng, count, total, correlation):
    walk = _lagged(rng.standard_normal((count, total)), np.full(count, 1 - correlation))
    return walk / walk.std(axis=1, keepdims=True)


def _lagged(rows, share):
    told = np.zeros_like(rows)
    for at in range(1, rows.shape[1]):
        told[:, at] = told[:, at - 1] + share * (rows[:, at] - told[:, at - 1])
    return told
