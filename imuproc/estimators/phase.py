"""Phase of each step: drive, transition, upright, slowing.

The rule uses the start and how much speed a step gains, as a share of the run's top speed, and
never an angle or a time that is judged by phase. Step numbers stand in where speed is missing.
The bounds follow coaching use (common practice, no source): with an exponential rise of speed
(time constant 1.1 to 1.4 s) drive ends near the 8th step and transition near the 16th.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from imuproc.dsp.filters import smooth_binomially
from imuproc.files.settings_model import JUDGEMENT, StageSettings, number

FloatArray = NDArray[np.float64]

_FEWEST_SPEEDS = 4
"""With fewer a rise of speed is not told."""

PHASES = ("drive", "transition", "upright", "slowing")


class PhaseSettings(StageSettings):
    """Bounds of the phases."""

    basis = "coaching use (common practice, no source), with an exponential rise of speed"
    drive_gain: float = number(
        0.03,
        (0.0, 1.0),
        "Least gain of speed per step in the drive phase, as a share of the run's top speed.",
        unit="",
    )
    transition_gain: float = number(
        0.0075, (0.0, 1.0), "The same in the transition phase.", unit=""
    )
    slowing_share: float = number(
        0.96,
        (0.1, 1.0),
        "Steps after the last one that reaches this share of top speed are slowing.",
    )
    drive_steps: int = number(8, (0, 100), "Last step of the drive phase where speed is missing.")
    transition_steps: int = number(
        16, (0, 200), "Last step of the transition phase where speed is missing."
    )
    known_share: float = number(
        0.6,
        (0.0, 1.0),
        "Speed is missing where fewer steps than this share of them have one.",
        JUDGEMENT,
    )

    ordered = (("transition_gain", "drive_gain"), ("drive_steps", "transition_steps"))


def phases(speed_mps: FloatArray, has_drive: bool, settings: PhaseSettings) -> NDArray[Any]:
    """Phase of each step.

    Parameters
    ----------
    speed_mps : ndarray, shape (m,)
        Speed of each step; NaN where missing.
    has_drive : bool
        False for rolling starts and treadmills, which have no drive phase.
    settings : PhaseSettings

    Returns
    -------
    ndarray of str, shape (m,)
    """
    count = len(speed_mps)
    number = np.arange(1, count + 1)
    known = np.isfinite(speed_mps)
    if known.sum() < max(_FEWEST_SPEEDS, settings.known_share * count):
        drive_end, transition_end, slowing_start = (
            settings.drive_steps,
            settings.transition_steps,
            count + 1,
        )
        if not has_drive:
            drive_end = transition_end = 0
    else:
        # Over neighbours, so that left-right differences cancel.
        smooth = smooth_binomially(np.interp(number, number[known], speed_mps[known]))
        drive_end, transition_end, slowing_start = _bounds(smooth, settings)
        if not has_drive:
            drive_end = 0
    out = np.full(count, "upright", dtype="<U10")
    out[number <= transition_end] = "transition"
    out[number <= drive_end] = "drive"
    out[number >= slowing_start] = "slowing"
    return out


def _bounds(speed: FloatArray, settings: PhaseSettings) -> tuple[int, int, int]:
    """Last drive step, last transition step, first slowing step (numbers from 1)."""
    top = float(speed.max())
    fastest = int(np.argmax(speed))
    gain = np.gradient(speed) / top
    until_top = np.arange(len(speed)) <= fastest
    drive_end = _leading(gain >= settings.drive_gain, until_top)
    transition_end = max(drive_end, _leading(gain >= settings.transition_gain, until_top))
    # From the last fast step on: a step measured slow amid fast ones is not the end of the effort.
    fast = np.flatnonzero(until_top | (speed >= settings.slowing_share * top))
    return drive_end, transition_end, int(fast[-1]) + 2


def _leading(condition: NDArray[np.bool_], allowed: NDArray[np.bool_]) -> int:
    """How many steps from the first one on meet a condition."""
    stop = np.flatnonzero(~(condition & allowed))
    return int(stop[0]) if len(stop) else len(condition)
