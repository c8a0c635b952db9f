"""An angle through every swing: from toe-off to the touchdown that the swing prepares."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from imuproc.core.sites import Side

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Swing:
    """An angle through the swing that ends at a step's touchdown.

    Parameters
    ----------
    step : int
    side : str
    share : ndarray, shape (n,)
        Of the swing, 0 at toe-off, 1 at touchdown.
    angle_deg : ndarray, shape (n,)
    """

    step: int
    side: str
    share: FloatArray
    angle_deg: FloatArray


def find_swings(
    steps: "pd.DataFrame", angle: str, time_s: FloatArray, curves: Mapping[Side, NDArray[Any]]
) -> tuple[Swing, ...]:
    """Swings that have both ends and an angle that is not withheld, in order of steps.

    Parameters
    ----------
    steps : DataFrame
        Step table of one run.
    angle : {"foot_pitch", "dorsiflexion"}
    time_s : ndarray, shape (n,)
        Clock of the curves.
    curves : mapping from Side to ndarray, shape (n,)
        In deg.

    Returns
    -------
    tuple of Swing
        Thinned to what a drawing can show.
    """
    found: list[Swing] = []
    for side, angle_deg in curves.items():
        of_side = steps[steps["side"] == side]
        known = np.isfinite(of_side[f"{angle}_touchdown_deg"].to_numpy(dtype=np.float64))
        trusted = set(of_side.loc[known, "step"])
        swings = _cut_swings(of_side, time_s, np.asarray(angle_deg, dtype=np.float64))
        found += [swing for swing in swings if swing.step in trusted]
    return tuple(sorted(found, key=lambda swing: swing.step))


def _cut_swings(steps: "pd.DataFrame", time_s: FloatArray, angle_deg: FloatArray) -> list[Swing]:
    share = np.linspace(0.0, 1.0, 41)
    toe_off = steps["toe_off_s"].to_numpy(dtype=np.float64)[:-1]
    touchdown = steps["touchdown_s"].to_numpy(dtype=np.float64)[1:]
    numbers = steps["step"].to_numpy(dtype=np.int64)
    out = []
    for k, number in enumerate(numbers[1:]):
        if number - numbers[k] != 2 or not np.isfinite(touchdown[k] - toe_off[k]):
            continue
        at = toe_off[k] + share * (touchdown[k] - toe_off[k])
        angle = np.interp(at, time_s, angle_deg, left=np.nan, right=np.nan)
        if np.isfinite(angle).any():
            out.append(Swing(int(number), str(steps["side"].iloc[0]), share, angle))
    return out
