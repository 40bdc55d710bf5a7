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
