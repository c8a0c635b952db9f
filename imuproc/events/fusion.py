"""One event from several marks of it, each with its own standard uncertainty.

Marks whose errors are independent are worth more together than the best of them: their mean,
weighted by inverse variances, has the least variance (Gauss; GUM, JCGM 100:2008, and for results
that disagree the ratio of Birge 1932, Phys Rev 40:207, as NIST and the particle data group use it).
A mark may be wrong altogether, though (a shake that was not the touchdown): marks that lie further
from the mean than their uncertainties explain lose weight as those of a distribution with heavy
tails do (Lange, Little & Taylor 1989, J Am Stat Assoc 84:881), and what disagreement is left
widens the uncertainty. Two marks that cannot both be right leave the event anywhere between them:
the uncertainty is then at least half their distance.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.files.settings_model import StageSettings, number

FloatArray = NDArray[np.float64]
Evidence = Mapping[str, FloatArray]

_ROUNDS = 12
"""Of reweighting; the mean has settled by then."""


class FusionSettings(StageSettings):
    """How marks of one event that disagree are weighed."""

    tail: float = number(
        3.0,
        (1.0, 100.0),
        "Degrees of freedom of the heavy-tailed distribution of a mark's error; small means that "
        "outliers lose much.",
        unit="",
    )
    apart_ratio: float = number(
        3.0,
        (1.0, 20.0),
        "Distance of two marks, in its own standard uncertainty, beyond which one of them is "
        "wrong: the event then is uncertain by half of it at least.",
    )
    outvoted_share: float = number(
        0.01,
        (0.0001, 1.0),
        "Weight of a mark that others outvote, below which its distance tells less and less.",
    )
    credit_least: float = number(
        0.001,
        (1e-6, 1.0),
        "A mark that is far off one of several candidates of the same event leaves it this share "
        "of its credit at least.",
        unit="",
    )


@dataclass(frozen=True, eq=False)
class Fused:
    """Events from marks, shape (m,).

    Parameters
    ----------
    time_s, u_s : ndarray
        NaN where no mark is known.
    spread_s : ndarray
        Part of ``u_s`` that stands for disagreement beyond the marks' own uncertainties.
    share : ndarray, shape (k, m)
        Weight of each mark, 0 to 1.
    """

    time_s: FloatArray
    u_s: FloatArray
    spread_s: FloatArray
    share: FloatArray


def fuse_marks(
    time_s: FloatArray,
    u_s: FloatArray,
    settings: FusionSettings,
    correlation: float = 0.0,
    stray: tuple[int, ...] = (),
) -> Fused:
    """Mean of marks by inverse variances, with doubtful marks given less weight.

    Parameters
    ----------
    time_s, u_s : ndarray, shape (k, m)
        Marks of m events in s and their standard uncertainties; NaN where a mark is missing.
    settings : FusionSettings
    correlation : float
        Between the errors of any two marks.
    stray : tuple of int
        Marks that are known to go astray now and then: their distance from the others only costs
        them their weight.

    Returns
    -------
    Fused
    """
    known = np.isfinite(time_s) & np.isfinite(u_s)
    least = np.where(known, u_s, np.inf)
    prior = np.where(known, 1.0 / np.square(np.where(known, u_s, 1.0)), 0.0)
    marks = np.where(known, time_s, 0.0)
    some = known.any(axis=0)
    # The surest mark is where the search for a consistent mean starts.
    mean = np.take_along_axis(marks, least.argmin(axis=0)[None], axis=0)[0]
    weight = prior
    for _ in range(_ROUNDS):
        off = (marks - mean) ** 2 * prior
        weight = prior * (settings.tail + 1.0) / (settings.tail + off)
        mean = _divide_known((weight * marks).sum(axis=0), weight.sum(axis=0))
    total = weight.sum(axis=0)
    share = _divide_known(weight, total)
    own = (share**2 * np.where(known, u_s, 0.0) ** 2).sum(axis=0)
    linear = (share * np.where(known, u_s, 0.0)).sum(axis=0)
    # Between no correlation and full correlation the variance goes in a straight line.
    own += correlation * (linear**2 - own)
    apart = (share * (marks - mean) ** 2).sum(axis=0)
    usual = (share * (1.0 - share) * np.where(known, u_s, 0.0) ** 2).sum(axis=0)
    spread = np.sqrt(np.maximum(apart - usual, 0.0))
    firm = np.delete(np.arange(len(marks)), stray)
    firm_u = np.where(known, u_s, np.nan)[firm]
    wrong_s = _find_widest_gap(marks[firm], firm_u, share[firm], settings)
    spread = np.maximum(spread, 0.5 * wrong_s)
    return Fused(
        time_s=np.where(some, mean, np.nan),
        u_s=np.where(some, np.hypot(np.sqrt(own), spread), np.nan),
        spread_s=np.where(some, spread, np.nan),
        share=share,
    )


def _find_widest_gap(
    marks_s: FloatArray, u_s: FloatArray, share: FloatArray, settings: FusionSettings
) -> FloatArray:
    """Largest distance in s between two marks that cannot both be right; 0 where all can."""
    gap_s = np.abs(marks_s[:, None] - marks_s[None])
    wrong = gap_s > settings.apart_ratio * np.hypot(u_s[:, None], u_s[None])
    least = np.minimum(share[:, None], share[None])
    counts = np.minimum(least / settings.outvoted_share, 1.0)
    # Of two marks by themselves neither is outvoted.
    counts = np.where(np.isfinite(u_s).sum(axis=0) < 3, 1.0, counts)
    return np.asarray(np.max(np.where(wrong, gap_s * counts, 0.0), axis=(0, 1)))


def _divide_known(above: FloatArray, below: FloatArray) -> FloatArray:
    """Quotient, 0 where nothing is known."""
    return np.divide(above, below, out=np.zeros_like(above + below), where=below > 0.0)


def get_mark(evidence: Evidence, name: str) -> FloatArray:
    """A mark from the evidence; NaN where it was not looked for."""
    return evidence.get(name, np.full(len(next(iter(evidence.values()))), np.nan))
