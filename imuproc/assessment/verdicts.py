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
from imuproc.core.columns import uncertainty_name

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
    "low",
    "high",
    "verdict",
    "excess",
)


def verdicts(steps: "pd.DataFrame", targets: TargetSet) -> "pd.DataFrame":
    """Verdict of every figure that has a band, for every step.

    Parameters
    ----------
    steps : DataFrame
        Step table of one or several runs.
    targets : TargetSet

    Returns
    -------
    DataFrame
        One row per step and band of its phase: ``run, step, side, phase, figure, value, u, low,
        high, verdict, excess``. ``verdict`` is one of :data:`VERDICTS`; ``excess`` is how far the
        value lies outside its band (above positive, below negative, inside 0), in its unit. Steps
        of ``slowing`` are not judged.
    """
    runs = steps["run"].to_numpy(dtype=object)
    order = {name: place for place, name in enumerate(dict.fromkeys(runs))}
    figures = sorted({band.figure for band in targets.bands})
    phase = steps["phase"].to_numpy(dtype=object)
    parts = [_of_band(steps, band, np.flatnonzero(phase == band.phase)) for band in targets.bands]
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
        From :func:`verdicts`.
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


def _of_band(
    steps: "pd.DataFrame", band: "Band", rows: NDArray[np.int64]
) -> dict[str, NDArray[Any]]:
    """Columns of the verdicts on some rows of the step table."""
    number = steps["step"].to_numpy(dtype=np.int64)[rows]
    low, high = band.at(number)
    value = steps[band.figure].to_numpy(dtype=np.float64)[rows]
    u = steps[uncertainty_name(band.figure)].to_numpy(dtype=np.float64)[rows]
    outside = np.maximum(value - high, 0.0) - np.maximum(low - value, 0.0)
    return {
        "run": steps["run"].to_numpy(dtype=object)[rows],
        "step": number,
        "side": steps["side"].to_numpy(dtype=object)[rows],
        "phase": steps["phase"].to_numpy(dtype=object)[rows],
        "figure": np.full(len(rows), band.figure, dtype=object),
        "value": value,
        "u": u,
        "low": low,
        "high": high,
        "verdict": judged(value, u, low, high),
        "excess": np.where(np.isfinite(value), outside, np.nan),
    }


def judged(
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
