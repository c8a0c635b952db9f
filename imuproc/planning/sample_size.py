"""How many steps or runs it takes to show a change of a given size."""

from math import ceil, inf, isfinite, sqrt
from typing import Final

from scipy.stats import nct, norm, t

MOST_COUNT: Final = 100_000
"""More than so many are given as infinite: no study has them."""


def compute_needed_count(
    change: float, sd: float, alpha: float = 0.05, power: float = 0.8
) -> float:
    """Least number in each of two conditions that shows a difference of their means.

    Two-sided t test of two independent samples of equal size and SD. Near
    ``2 (z(1 - alpha/2) + z(power))² sd² / change²``, the textbook form with the normal distribution
    (for a typical error as SD and the usual 5 % and 80 % some 16 sd²/change²; Hopkins 2000, Sports
    Med 30:1 reckons like this from the typical error); taken here with the noncentral t
    distribution, which asks for a little more where samples are small.

    Parameters
    ----------
    change : float
        Difference of the means to show, of either sign, in the unit of ``sd``.
    sd : float
        Standard deviation within each condition.
    alpha : float
        Probability of showing a difference where there is none, between 0 and 1.
    power : float
        Probability of showing the difference where it is there, between ``alpha`` and 1.

    Returns
    -------
    float
        A whole number, 2 or more; infinite above :data:`MOST_COUNT`, NaN where ``change`` or
        ``sd`` is.

    Raises
    ------
    ValueError
        If ``change`` is 0, ``sd`` below 0, or a probability outside its range.

    See Also
    --------
    compute_power : the other way round.

    Examples
    --------
    Half an SD takes 64 in each group (Cohen 1988, Statistical Power Analysis, table 2.4.1; value
    from memory).

    >>> int(compute_needed_count(0.5, 1.0))
    64
    """
    if change == 0.0 or sd < 0.0:
        raise ValueError(f"change is {change:g} and sd {sd:g}; allowed: not 0, and 0 or more")
    if not 0.0 < alpha < power < 1.0:
        raise ValueError(f"alpha is {alpha:g}, power {power:g}; allowed: 0 < alpha < power < 1")
    if not (isfinite(change) and isfinite(sd)):
        return float("nan")
    effect = abs(change) / sd if sd > 0.0 else inf
    both = float(norm.ppf(1.0 - alpha / 2.0) + norm.ppf(power))
    if effect == inf or 2.0 * (both / effect) ** 2 < 1.0:
        low = 2
    else:
        low = max(2, ceil(2.0 * (both / effect) ** 2) - 1)  # the t test never needs less
    if low > MOST_COUNT:
        return inf
    while low <= MOST_COUNT and compute_power(low, effect, alpha) < power:
        low += 1
    return float(low) if low <= MOST_COUNT else inf


def compute_power(count: int, effect: float, alpha: float) -> float:
    """Power of the two-sided t test of two samples.

    Parameters
    ----------
    count : int
        In each sample, 2 or more.
    effect : float
        Difference of the means over the SD.
    alpha : float
        Probability of showing a difference where there is none.
    """
    if effect == inf:
        return 1.0
    freedom = 2 * (count - 1)
    shift = effect * sqrt(count / 2.0)
    limit = float(t.ppf(1.0 - alpha / 2.0, freedom))
    upper = float(nct.sf(limit, freedom, shift))
    lower = float(nct.cdf(-limit, freedom, shift))
    # Far in its tail the distribution function gives NaN for what is 0.
    return (1.0 if upper != upper else upper) + (0.0 if lower != lower else lower)
