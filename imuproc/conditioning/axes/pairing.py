"""Do shank and foot of one leg move together? Swapped or misnamed logs do not."""

import numpy as np
from numpy.typing import NDArray

from imuproc.core.errors import RunError
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import ConditionedRecording, Interval
from imuproc.core.sites import SIDES, foot_of, shank_of
from imuproc.dsp.filters import average_blocks, choose_block, low_pass
from imuproc.files.settings_model import StageSettings, number

FloatArray = NDArray[np.float64]

_ENOUGH_HZ = 200.0
"""Faster signals are averaged down to about this rate."""


class PairingSettings(StageSettings):
    """When shank and foot of one leg do not move together."""

    cutoff_hz: float = number(10.0, (1.0, 50.0), "Low-pass of the rates that are compared.")
    least_contrast: float = number(
        0.4,
        (0.0, 2.0),
        "Both legs must correlate better crosswise than each by itself by this much.",
        "in running both lie more than 1 apart; in a jump they are alike",
        unit="",
    )


def require_paired_legs(
    conditioned: ConditionedRecording, run: Interval, settings: PairingSettings
) -> None:
    """Refuse a run in which the shank of one leg moves with the foot of the other.

    Sagittal rates of shank and foot of one leg rise and fall together; those of opposite legs are
    half a stride apart. Where both legs move alike (a jump, a squat) nothing can be said.

    Parameters
    ----------
    conditioned : ConditionedRecording
        All four leg sensors; with fewer nothing can be said.
    run : Interval
    settings : PairingSettings

    Raises
    ------
    RunError
        If both legs fit better crosswise; the text names the logs.
    """
    sites = [shank_of(side) for side in SIDES] + [foot_of(side) for side in SIDES]
    if any(site not in conditioned.segments for site in sites):
        return
    inside = slice(*np.searchsorted(conditioned.time_s, [run.start_s, run.end_s]))
    block = choose_block(conditioned.rate_hz, _ENOUGH_HZ)
    rate_hz = conditioned.rate_hz / block
    rates = {
        site: low_pass(
            average_blocks(conditioned.segments[site].gyro_radps[inside, 1], block),
            min(settings.cutoff_hz, 0.4 * rate_hz),
            rate_hz,
        )
        for site in sites
    }
    own = [_correlate_turning(rates[shank_of(side)], rates[foot_of(side)]) for side in SIDES]
    crossed = [
        _correlate_turning(rates["left_shank"], rates["right_foot"]),
        _correlate_turning(rates["right_shank"], rates["left_foot"]),
    ]
    if min(crossed) - max(own) > settings.least_contrast:
        logs = conditioned.recording.logs
        swapped = RaisedFlag("sides_swapped", {"crossed": crossed[0], "own": own[0]})
        raise RunError(
            f"run {conditioned.recording.run.id}: left and right logs look swapped: left_shank "
            f"({logs['left_shank'].source}) swings with right_foot ({logs['right_foot'].source}) "
            f"(correlation {crossed[0]:.2f}, with left_foot {own[0]:.2f}), and right_shank with "
            "left_foot. Correct the site names in the session file",
            (swapped,),
        )


def _correlate_turning(a: FloatArray, b: FloatArray) -> float:
    return float(np.corrcoef(a, b)[0, 1])
