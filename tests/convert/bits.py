"""Logs and arrays compared bit by bit."""

import numpy as np

from imuproc.core.recording import SensorLog

ARRAYS = ("time_s", "accel_mps2", "gyro_radps")


def assert_same_bits(found: np.ndarray, wanted: np.ndarray) -> None:
    """Equal to the last bit, signs of zero too; NaN where NaN is."""
    assert found.shape == wanted.shape
    assert found.dtype == wanted.dtype == np.float64
    missing = np.isnan(wanted)
    np.testing.assert_array_equal(np.isnan(found), missing)
    bits = [np.ascontiguousarray(values[~missing]).view(np.int64) for values in (found, wanted)]
    np.testing.assert_array_equal(*bits)


def assert_same_log(found: SensorLog, wanted: SensorLog) -> None:
    """Same samples, stamps, ranges and zero; the source may have another name."""
    for name in ARRAYS:
        assert_same_bits(getattr(found, name), getattr(wanted, name))
    assert found.site == wanted.site
    assert found.accel_range_mps2 == wanted.accel_range_mps2
    assert found.gyro_range_radps == wanted.gyro_range_radps
    assert found.zero_at == wanted.zero_at
    if wanted.zero_at is not None:
        assert found.zero_at.utcoffset() == wanted.zero_at.utcoffset()
