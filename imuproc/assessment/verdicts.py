"""Each figure of each step held against its band: on target, off target, or too close to call.

The verdict comes from value, band and uncertainty, never from the value alone: a figure is called
on or off target when that is right with 95 % probability, its error taken as normal with the stated
standard uncertainty (conformance probability, JCGM 106:2012, clause 7).
"""

from typing import TYPE_CHECKING, Final

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
VERDICTS: Final = (ON_TARGET, ABOVE, BELOW, TOO_CLOSE, NOT_MEASURED)
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
    tables = [_of_band(steps[steps["phase"] == band.phase], band) for band in targets.bands]
    filled = [table for table in tables if len(table)]
    if not filled:
        return pd.DataFrame({name: [] for name in COLUMNS})
    order = {name: place for place, name in enumerate(dict.fromkeys(steps["run"]))}
    joined = pd.concat(filled, ignore_index=True)
    return joined.sort_values(
        ["run", "step", "figure"],
        key=lambda column: column.map(order) if column.name == "run" else column,
        ignore_index=True,
    )


def _of_band(steps: "pd.DataFrame", band: "Band") -> "pd.DataFrame":
    low, high = band.at(steps["step"].to_numpy(dtype=np.int64))
    value = steps[band.figure].to_numpy(dtype=np.float64)
    u = steps[uncertainty_name(band.figure)].to_numpy(dtype=np.float64)
    return pd.DataFrame(
        {
            **{name: steps[name].to_numpy() for name in ("run", "step", "side", "phase")},
            "figure": band.figure,
            "value": value,
            "u": u,
            "low": low,
            "high": high,
            "verdict": judged(value, u, low, high),
            "excess": np.where(
                np.isfinite(value),
                np.maximum(value - high, 0.0) - np.maximum(low - value, 0.0),
                np.nan,
            ),
        }
    )


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
