"""What change can be seen: typical error, smallest detectable and smallest worthwhile change."""

import numpy as np
from numpy.typing import ArrayLike

from imuproc.agreement.statistics.limits import FEWEST_PAIRS_COUNT, select_finite


def typical_error(difference: ArrayLike) -> float:
    """SD of differences over √2 (Hopkins 2000, Sports Med 30:1).

    Of a test and its repeat it is the error of one measurement; of two methods, the error that
    each would have if they shared it equally. NaN with fewer than three differences.
    """
    d = select_finite(difference)
    return float(d.std(ddof=1) / np.sqrt(2.0)) if len(d) >= FEWEST_PAIRS_COUNT else np.nan


def smallest_detectable_change(error: float) -> float:
    """Change of one athlete that exceeds error 19 times in 20: 1.96 √2 error (Hopkins 2000)."""
    return float(1.96 * np.sqrt(2.0) * error)


def smallest_worthwhile_change(athlete_means: ArrayLike, error: float) -> float:
    """A fifth of the true SD between athletes: 0.20 √(observed SD² - error²).

    Hopkins, sportscience list; the error of measurement is taken out of the observed SD.

    Parameters
    ----------
    athlete_means : array
        One value for each athlete, all measured with ``error``.
    error : float
        Typical error of such a value.

    Returns
    -------
    float
        NaN with fewer than three athletes, or where error explains all of the spread.
    """
    means = select_finite(athlete_means)
    if len(means) < FEWEST_PAIRS_COUNT:
        return np.nan
    true = float(means.var(ddof=1)) - error**2
    return float(0.20 * np.sqrt(true)) if true > 0.0 else np.nan
