"""Left against right in a run whose figures change from step to step."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_OVERLAP_RATIO = 1.0 + 2.0 * (1.0 / 1.5) ** 2 + 2.0 * (0.25 / 1.5) ** 2
"""How many comparisons tell as much about the scatter as one that shares no step with others.

Welch-Satterthwaite on their correlations, -1/1.5 with the next and 0.25/1.5 with the one after.
"""


@dataclass(frozen=True)
class _NeighbourComparison:
    """Each step against the mean of its two neighbours, and which of them can be used."""

    against: FloatArray
    of_left: BoolArray
    of_right: BoolArray

    @property
    def has_both_sides(self) -> bool:
        return bool(self.of_left.any() and self.of_right.any())


def _compare_neighbours(
    values: FloatArray, step: NDArray[np.int64], left: BoolArray
) -> _NeighbourComparison:
    if len(values) < 4:
        none = np.zeros(0, dtype=np.bool_)
        return _NeighbourComparison(np.zeros(0), none, none)
    against = values[1:-1] - 0.5 * (values[:-2] + values[2:])
    usable = (
        np.isfinite(against)
        & (step[2:] - step[:-2] == 2)
        & (left[:-2] != left[1:-1])
        & (left[2:] != left[1:-1])
    )
    return _NeighbourComparison(against, usable & left[1:-1], usable & ~left[1:-1])


def left_minus_right(values: FloatArray, step: NDArray[np.int64], left: BoolArray) -> float:
    """Left minus right, each step against the mean of the steps just before and after it.

    Plain means of the two sides would mistake the change through an acceleration for a difference
    between legs: one of them starts a step later. Setting each step against its two neighbours
    takes out a steady change; giving steps of both sides the same weight takes out its curvature
    (own method, no source).

    Parameters
    ----------
    values : ndarray, shape (m,)
        A figure, any unit; NaN where it is missing.
    step : ndarray of int, shape (m,)
        Step numbers, rising.
    left : ndarray of bool, shape (m,)
        Whether the step is one of the left foot.

    Returns
    -------
    float
        In the unit of ``values``; NaN unless at least one step of each side stands between two
        of the other side.
    """
    seen = _compare_neighbours(values, step, left)
    if not seen.has_both_sides:
        return float("nan")
    return 0.5 * float(seen.against[seen.of_left].mean() - seen.against[seen.of_right].mean())


def compute_scatter_u(values: FloatArray, step: NDArray[np.int64], left: BoolArray) -> float:
    """Standard uncertainty that the scatter from step to step leaves in left minus right.

    The scatter is that of the comparisons about the mean of their side, so a change that is not
    steady counts as scatter. For few comparisons it is enlarged as a t-distribution is wider than
    a normal one (JCGM 101:2008, 6.4.9.4, from memory).

    Parameters
    ----------
    values, step, left : ndarray, shape (m,)
        As for :func:`left_minus_right`.

    Returns
    -------
    float
        In the unit of ``values``; NaN with fewer than six comparisons, which needs eight steps in
        a row.
    """
    seen = _compare_neighbours(values, step, left)
    sides = (seen.of_left, seen.of_right)
    counts = [int(side.sum()) for side in sides]
    freedom = (sum(counts) - 2) / _OVERLAP_RATIO
    if not seen.has_both_sides or freedom <= 2.0:
        return float("nan")
    squares = expected = 0.0
    for side, count in zip(sides, counts, strict=True):
        of_side = seen.against[side]
        squares += float(((of_side - of_side.mean()) ** 2).sum())
        # Of steps with variance 1: comparisons two steps apart share one of their neighbours.
        expected += 1.5 * (count - 1) - 0.5 * int((side[:-2] & side[2:]).sum()) / count
    weights = _compute_weights(seen, len(values))
    variance = squares / expected * float((weights**2).sum())
    return float(np.sqrt(variance * freedom / (freedom - 2.0)))


def _compute_weights(seen: _NeighbourComparison, count: int) -> FloatArray:
    """Weight of each step in left minus right, shape (m,)."""
    share = 0.5 * (seen.of_left / seen.of_left.sum() - seen.of_right / seen.of_right.sum())
    weights = np.zeros(count)
    weights[1:-1] += share
    weights[:-2] -= 0.5 * share
    weights[2:] -= 0.5 * share
    return weights


TRADED: Final[tuple[str, ...]] = ("step_time_s", "step_frequency_hz", "step_length_m", "speed_mps")
"""Figures from one touchdown to the next, or shared out from strides: what one side's step is short
of, the other side's has too much."""

ALIKE_SHARE: Final = 0.6
"""How much of the stated uncertainties does not average out over the steps of a side.

Measured: over 33 runs of optically recorded motion with sensor signals made from it, at 100 and
500 Hz, the errors of left minus right were those of the scatter plus at most 0.54 of the stated
uncertainties (lengths; 0.38 and less for times, 0.22 and less for angles). The rest is for runs
that are unlike those.
"""


def compute_stated_u(u: FloatArray, left: BoolArray, traded: bool) -> float:
    """Standard uncertainty of left minus right by errors that all steps of a side share.

    The step table does not tell how much of a stated uncertainty is shared; :data:`ALIKE_SHARE` of
    it is taken to be. What is not shared shows as scatter, see :func:`compute_scatter_u`.

    Parameters
    ----------
    u : ndarray, shape (m,)
        Standard uncertainty of each step's figure; NaN where it is missing.
    left : ndarray of bool, shape (m,)
    traded : bool
        Whether what one side's figure is short of, the other side's has too much: then errors of
        the two sides add up, otherwise they are taken for independent.

    Returns
    -------
    float
        In the unit of ``u``; NaN where a side has none.
    """
    known = np.isfinite(u)
    of_left, of_right = u[known & left], u[known & ~left]
    if not (of_left.size and of_right.size):
        return float("nan")
    pair = (float(of_left.mean()), float(of_right.mean()))
    return ALIKE_SHARE * (sum(pair) if traded else float(np.hypot(*pair)))


def compute_side_means(values: FloatArray, left: BoolArray) -> tuple[float, float]:
    """Mean over the steps of the left foot and over those of the right, missing ones left out.

    Parameters
    ----------
    values : ndarray, shape (m,)
    left : ndarray of bool, shape (m,)

    Returns
    -------
    left, right : float
        NaN where a side has none.
    """
    known = np.isfinite(values)
    of_left, of_right = values[known & left], values[known & ~left]
    nothing = float("nan")
    return (
        float(of_left.mean()) if of_left.size else nothing,
        float(of_right.mean()) if of_right.size else nothing,
    )


def symmetry_index_pct(left: float, right: float) -> float:
    """Symmetry index 200 (left - right) / (left + right) in %; positive: left is larger.

    Only for figures with a true zero (times, frequency, lengths), never for angles. NaN unless
    both are above zero. Source: Robinson, Herzog & Nigg 1987, J Manip Physiol Ther 10:172 (from
    memory).
    """
    if not (left > 0.0 and right > 0.0):
        return float("nan")
    return 200.0 * (left - right) / (left + right)


def symmetry_angle_pct(left: float, right: float) -> float:
    """Symmetry angle (45° - atan(left / right)) / 90° in %; **negative: left is larger**.

    Its sign is the other way round from the symmetry index. Where the bracket is above 90°, 180°
    is subtracted. Only for figures with a true zero (times, frequency, lengths), never for angles.
    NaN where both are zero. Source: Zifchock et al. 2008, Gait Posture 27:622,
    10.1016/j.gaitpost.2007.08.006 (from memory).
    """
    if left == 0.0 and right == 0.0:
        return float("nan")
    slope = left / right if right != 0.0 else float(np.copysign(np.inf, left))
    bracket_deg = 45.0 - float(np.degrees(np.arctan(slope)))
    if bracket_deg > 90.0:
        bracket_deg -= 180.0
    return bracket_deg / 90.0 * 100.0
