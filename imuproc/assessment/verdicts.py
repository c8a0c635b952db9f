"""Each figure of each step held against its band: on target, off target, or too close to call.

The verdict comes from value, band and uncertainty, never from the value alone: a figure is called
on or off target when that is right with 95 % probability, its error taken as normal with the stated
standard uncertainty (conformance probability, JCGM 106:2012, clause 7).
"""

from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtr

from imuproc.assessment.targets import TargetSet
from imuproc.core.columns import repeat_name, uncertainty_name

if TYPE_CHECKING:
    from imuproc.assessment.targets import Band

FloatArray = NDArray[np.float64]

ON_TARGET: Final = "on target"
ABOVE: Final = "above"
BELOW: Final = "below"
TOO_CLOSE: Final = "too close to call"
NOT_MEASURED: Final = "not measured"
IN_DOUBT: Final = "in doubt"
VERDICTS: Final = (ON_TARGET, ABOVE, BELOW, TOO_CLOSE, NOT_MEASURED, IN_DOUBT)
NO_VERDICT: Final = (NOT_MEASURED, IN_DOUBT)
SURE: Final = 0.95

COLUMNS: Final = (
    "run",
    "step",
    "side",
    "phase",
    "figure",
    "value",
    "u",
    "u_repeat",
    "low",
    "high",
    "verdict",
    "excess",
    "least_excess",
)


def find_verdicts(steps: "pd.DataFrame", targets: TargetSet) -> "pd.DataFrame":
    """Verdict of every figure that has a band, for every step.

    Parameters
    ----------
    steps : DataFrame
        Step table of one or several runs.
    targets : TargetSet

    Returns
    -------
    DataFrame
        One row per step and band of its phase: ``run, step, side, phase, figure, value, u,
        u_repeat, low, high, verdict, excess, least_excess``. ``verdict`` is one of
        :data:`VERDICTS`; ``excess`` is how far the value lies outside its band (above positive,
        below negative, inside 0), in its unit. Not judged: steps of ``slowing``, and steps that
        are slower than any speed the band is for. Where a step may as well belong to the
        neighbouring phase it is off target where it is in both, and on target where it is in both;
        ``low`` and ``high`` are then the wider ends.
    """
    runs = steps["run"].to_numpy(dtype=object)
    order = {name: place for place, name in enumerate(dict.fromkeys(runs))}
    figures = sorted({band.figure for band in targets.bands})
    phase = steps["phase"].to_numpy(dtype=object)
    parts = [
        _judge_band(steps, band, targets, np.flatnonzero(phase == band.phase))
        for band in targets.bands
    ]
    columns = {name: np.concatenate([part[name] for part in parts]) for name in COLUMNS}
    place = np.array([order[run] for run in columns["run"]], dtype=np.int64)
    rank = np.array([figures.index(figure) for figure in columns["figure"]], dtype=np.int64)
    sort = np.lexsort((rank, columns["step"], place))
    return pd.DataFrame({name: values[sort] for name, values in columns.items()})


def put_in_doubt(judged: "pd.DataFrame", doubted: Mapping[str, Collection[str]]) -> "pd.DataFrame":
    """Verdicts taken back where a figure is there but must not be trusted.

    Parameters
    ----------
    judged : DataFrame
        From :func:`find_verdicts`.
    doubted : mapping from str to collection of str
        By figure the sides on which it is in doubt.

    Returns
    -------
    DataFrame
        ``verdict`` is :data:`IN_DOUBT` there, but for figures that were not measured.
    """
    pairs = {(figure, side) for figure, sides in doubted.items() for side in sides}
    rows = zip(judged["figure"], judged["side"], judged["verdict"], strict=True)
    taken = [
        IN_DOUBT if (figure, side) in pairs and verdict != NOT_MEASURED else verdict
        for figure, side, verdict in rows
    ]
    return judged.assign(verdict=np.array(taken, dtype=object))


def _judge_band(
    steps: "pd.DataFrame", band: "Band", targets: TargetSet, rows: NDArray[np.int64]
) -> dict[str, NDArray[Any]]:
    """Columns of the verdicts on some rows of the step table."""
    (low, high), (other_low, other_high) = _ends_in_both(steps, band, targets, rows)
    judgeable = ~np.isnan(low) & ~np.isnan(other_low) & (np.isfinite(low) | np.isfinite(high))
    rows = rows[judgeable]
    outer = np.minimum(low, other_low)[judgeable], np.maximum(high, other_high)[judgeable]
    inner = np.maximum(low, other_low)[judgeable], np.minimum(high, other_high)[judgeable]
    value = steps[band.figure].to_numpy(dtype=np.float64)[rows]
    u = steps[uncertainty_name(band.figure)].to_numpy(dtype=np.float64)[rows]
    verdict = judge_values(value, u, *outer)
    verdict[(verdict == ON_TARGET) & (judge_values(value, u, *inner) != ON_TARGET)] = TOO_CLOSE
    outside = np.maximum(value - outer[1], 0.0) - np.maximum(outer[0] - value, 0.0)
    return {
        "run": steps["run"].to_numpy(dtype=object)[rows],
        "step": steps["step"].to_numpy(dtype=np.int64)[rows],
        "side": steps["side"].to_numpy(dtype=object)[rows],
        "phase": steps["phase"].to_numpy(dtype=object)[rows],
        "figure": np.full(len(rows), band.figure, dtype=object),
        "value": value,
        "u": u,
        "u_repeat": steps[repeat_name(band.figure)].to_numpy(dtype=np.float64)[rows],
        "low": outer[0],
        "high": outer[1],
        "verdict": verdict,
        "excess": np.where(np.isfinite(value), outside, np.nan),
        "least_excess": np.full(len(rows), band.least_excess),
    }


def _ends_in_both(
    steps: "pd.DataFrame", band: "Band", targets: TargetSet, rows: NDArray[np.int64]
) -> tuple[tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
    """Low and high end in the phase of each step, and in the one that it may belong to; NaN where
    a step is not judged."""
    number = steps["step"].to_numpy(dtype=np.int64)[rows]
    speed_mps = steps["speed_mps"].to_numpy(dtype=np.float64)[rows]
    low, high = band.get_limits(number, speed_mps)
    other_low, other_high = low.copy(), high.copy()
    alternative = _get_alternatives(steps)[rows]
    for phase in set(alternative) - {""}:
        there = alternative == phase
        other = targets.get_band(band.figure, phase)
        # Slowing is not judged, and neither is a phase without a target.
        ends = other.get_limits(number[there], speed_mps[there]) if other else (np.nan, np.nan)
        other_low[there], other_high[there] = ends
    return (low, high), (other_low, other_high)


def _get_alternatives(steps: "pd.DataFrame") -> NDArray[Any]:
    """The other phase of each step; tables of former versions have none, files an empty cell."""
    if "phase_alternative" not in steps:
        return np.full(len(steps), "", dtype=object)
    return steps["phase_alternative"].fillna("").to_numpy(dtype=object)


def judge_values(
    value: FloatArray, u: FloatArray, low: FloatArray, high: FloatArray
) -> NDArray[np.object_]:
    """Verdict of each value.

    Parameters
    ----------
    value, u : ndarray, shape (m,)
        Value and its standard uncertainty.
    low, high : ndarray, shape (m,)
        Ends of the band; may be infinite.

    Returns
    -------
    ndarray of str, shape (m,)
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        under, over = ndtr((low - value) / u), ndtr((value - high) / u)
    out = np.full(len(value), TOO_CLOSE, dtype=object)
    out[under >= SURE] = BELOW
    out[over >= SURE] = ABOVE
    out[1.0 - under - over >= SURE] = ON_TARGET
    out[~(np.isfinite(value) & (u > 0.0))] = NOT_MEASURED
    return out
