import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from imuproc.dsp.medians import median

numbers = st.floats(-1e9, 1e9) | st.just(np.nan)


@given(arrays(np.float64, array_shapes(min_dims=1, max_dims=2, max_side=12), elements=numbers))
@pytest.mark.filterwarnings("ignore:All-NaN:RuntimeWarning")
def test_median_is_that_of_numpy_without_missing_values(x: np.ndarray) -> None:
    np.testing.assert_allclose(median(x), np.nanmedian(x, axis=0), rtol=1e-12, atol=0.0)


def test_median_of_nothing_is_missing() -> None:
    assert np.isnan(median(np.empty((0, 3)))).tolist() == [True, True, True]
