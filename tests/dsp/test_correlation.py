"""Correlation against its definition and scipy."""

import numpy as np
import pytest
from scipy.signal import correlate

from imuproc.dsp.correlation import cross_correlate


@pytest.mark.parametrize(("n", "m"), [(1, 1), (7, 3), (3, 7), (1000, 250), (64, 64)])
def test_correlation_equals_that_of_scipy(n, m):
    rng = np.random.default_rng(n)
    x, y = rng.normal(size=n), rng.normal(size=m)
    np.testing.assert_allclose(cross_correlate(x, y), correlate(x, y, "full", "direct"), atol=1e-10)


def test_a_copy_is_found_where_it_was_taken_from():
    x = np.random.default_rng(3).normal(size=500)
    found = cross_correlate(x, x[120:180])
    assert np.argmax(found) - 59 == 120
