"""How fast the fastest part of a run was."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from imuproc.core.columns import uncertainty_name

if TYPE_CHECKING:
    import pandas as pd

TOP_SPEED_STEPS: Final = 4
"""Two strides: the largest of single steps would mostly show the largest error."""


@dataclass(frozen=True)
class TopSpeed:
    """Highest mean speed and its standard uncertainty in m/s; NaN where it is not known."""

    value_mps: float
    u_mps: float


def find_top_speed(effort: "pd.DataFrame") -> TopSpeed:
    """Highest mean speed over four steps in a row: their lengths over their times.

    Parameters
    ----------
    effort : DataFrame
        Step table without the steps of ``slowing``.

    Returns
    -------
    TopSpeed
        Its uncertainty is the mean of the steps' own, as if their errors were all alike; NaN
        where no four steps in a row have length and time.
    """
    nothing = TopSpeed(float("nan"), float("nan"))
    if len(effort) < TOP_SPEED_STEPS:
        return nothing
    step = _slide_windows(effort, "step")
    speed = _slide_windows(effort, "step_length_m").sum(axis=1) / _slide_windows(
        effort, "step_time_s"
    ).sum(axis=1)
    speed[step[:, -1] - step[:, 0] != TOP_SPEED_STEPS - 1] = np.nan
    if not np.isfinite(speed).any():
        return nothing
    fastest = int(np.nanargmax(speed))
    u = _slide_windows(effort, uncertainty_name("speed_mps"))[fastest]
    return TopSpeed(float(speed[fastest]), float(u.mean()))


def _slide_windows(effort: "pd.DataFrame", column: str) -> NDArray[np.float64]:
    values = effort[column].to_numpy(dtype=np.float64)
    windows: NDArray[np.float64] = sliding_window_view(values, TOP_SPEED_STEPS)
    return windows
