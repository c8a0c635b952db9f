"""From columns of numbers to a sensor log in SI units; shared by all readers."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.core.errors import LogError
from imuproc.core.recording import SensorLog
from imuproc.core.units import ACCEL_TO_MPS2, GYRO_TO_RADPS, PER_SECOND
from imuproc.readers.request import LogRequest

FloatArray = NDArray[np.float64]

LEAST_SAMPLES: Final = 2


def sensor_log(
    request: LogRequest, stamps: FloatArray | None, accel: FloatArray, gyro: FloatArray
) -> SensorLog:
    """One sensor's log in SI units.

    Parameters
    ----------
    request : LogRequest
        Whose layout states units, ranges, and the rate where there are no stamps.
    stamps : ndarray, shape (n,), or None
        Time column in the layout's unit; None where the layout states a rate.
    accel, gyro : ndarray, shape (n, 3)
        In the layout's units; missing values NaN or infinite.

    Returns
    -------
    SensorLog
        Missing values NaN; stamps as they are, even where they are NaN or run backwards.

    Raises
    ------
    LogError
        Fewer than two samples, or no stamp is a number.
    """
    layout, n = request.layout, len(accel)
    if n < LEAST_SAMPLES:
        raise LogError(f"found {n} sample{'s' * (n != 1)}; allowed: {LEAST_SAMPLES} or more")
    if layout.time is not None and stamps is not None:
        time_s = _finite(stamps) / PER_SECOND[layout.time.unit]
        if np.isnan(time_s).all():
            raise LogError(f"time column {layout.time.column!r}: found no stamp that is a number")
    else:
        time_s = np.arange(n) / _rate(request)
    to_mps2 = ACCEL_TO_MPS2[layout.accel.unit]
    to_radps = GYRO_TO_RADPS[layout.gyro.unit]
    return SensorLog(
        site=request.site,
        time_s=time_s,
        accel_mps2=_finite(accel) * to_mps2,
        gyro_radps=_finite(gyro) * to_radps,
        source=request.source,
        accel_range_mps2=None if layout.accel.range is None else layout.accel.range * to_mps2,
        gyro_range_radps=None if layout.gyro.range is None else layout.gyro.range * to_radps,
    )


def _rate(request: LogRequest) -> float:
    if request.layout.rate_hz is None:
        raise LogError("the layout states neither a time column nor rate_hz")
    return request.layout.rate_hz


def _finite(values: FloatArray) -> FloatArray:
    return np.where(np.isfinite(values), values, np.nan)
