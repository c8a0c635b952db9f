"""Toe-off from its marks: rise of the toes, lift of the ball, folding of the shank, fall of force.

What each stands for: the toes' rise for the end of the foot's roll-off; the ball's lift for the
same by a length instead of a speed; the shank's folding for the end of knee extension (peak knee
extension marks toe-off to 5 ms in running, Fellin et al. 2010, J Sci Med Sport 13:646); the fall of
the specific force off the sole for the force itself. Jerk of the forefoot (Handsaker et al. 2016,
J Biomech) was tried and left out: on the optical sets its peak scatters by 10 to 40 ms.
"""

import numpy as np
from numpy.typing import NDArray

from imuproc.events.foot_points import FORCE_PLATES
from imuproc.events.fusion import Evidence, Fused, FusionSettings, fuse_marks, get_mark
from imuproc.files.settings_model import JUDGEMENT, StageSettings, number

FloatArray = NDArray[np.float64]

TOE_OFF_MARKS = ("toe", "lift", "shank", "push")
"""The marks in the order in which they are weighed."""


class ToeOffSettings(StageSettings):
    """Marks of toe-off: their lags and standard uncertainties."""

    basis = FORCE_PLATES
    toe_u_s: float = number(0.002, (0.0001, 0.1), "Rise of the toes: a constant uncertainty.")
    toe_u_mps: float = number(
        0.07, (0.0, 5.0), "And an error of their speed, over how fast that grows."
    )
    lift_u_s: float = number(0.006, (0.0001, 0.1), "Lift of the ball: a constant uncertainty.")
    lift_u_m: float = number(
        0.01, (0.0, 0.2), "And an error of the height, over how fast it rises."
    )
    shank_lag_s: float = number(
        0.0095,
        (-0.1, 0.1),
        "Lag of the shank's folding back, when the knee's extension ends (half fall of its rate).",
    )
    shank_u_s: float = number(0.005, (0.0001, 0.1), "Its standard uncertainty.")
    shank_changing_u: float = number(
        0.010,
        (0.0, 1.0),
        "What adds to that where speed changes from stride to stride.",
        f"{JUDGEMENT}: no data cover it",
        unit="s per m/s",
    )
    push_lag_s: float = number(
        -0.0065, (-0.1, 0.1), "Lag of the steepest fall of the force off the sole."
    )
    push_u_s: float = number(0.007, (0.0001, 0.1), "Its standard uncertainty.")
    push_sprint_u_s: float = number(
        0.015,
        (0.0, 0.2),
        "What adds to that in sprints: a leg that swings so fast pulls the foot up without a gap.",
        JUDGEMENT,
    )
    sprint_cycle_s: float = number(
        0.40,
        (0.05, 2.0),
        "Where slowed swing and next swing are closer than this, that sets in.",
        JUDGEMENT,
    )
    sprint_ramp_s: float = number(0.08, (0.001, 1.0), "Over which range.", JUDGEMENT)
    slowing_u_share: float = number(
        0.1,
        (0.0, 5.0),
        "Part of what speed changes from stride to stride, over the growth of the toes' speed, "
        "that adds to the rise of the toes.",
        JUDGEMENT,
    )
    correlation: float = number(0.4, (0.0, 1.0), "Between the errors of any two marks.", unit="")
    rate_u: float = number(
        0.2, (0.0, 20.0), "What coarse sampling adds.", unit="sampling intervals"
    )
    reference_u_s: float = number(0.0045, (0.0, 0.1), "What data sets differ by.")


def find_toe_offs(evidence: Evidence, settings: ToeOffSettings, fusion: FusionSettings) -> Fused:
    """The rise of the toes, the lift of the ball, the shank folding back and the fall of force.

    Parameters
    ----------
    evidence : mapping from str to ndarray, shape (m,)
        Marks of :mod:`imuproc.events.leaving` and :mod:`imuproc.events.marks`.
    settings : ToeOffSettings
    fusion : FusionSettings

    Returns
    -------
    Fused
        Toe-offs and the weights of :data:`TOE_OFF_MARKS`; NaN where the foot's own motion does not
        tell.
    """
    speed_u = np.hypot(settings.toe_u_mps, settings.slowing_u_share * evidence["slowing_mps"])
    toe_u = np.hypot(settings.toe_u_s, speed_u / evidence["toe_growth_mps2"])
    lift_u = np.hypot(settings.lift_u_s, settings.lift_u_m / evidence["lift_mps"])
    short_s = settings.sprint_cycle_s - get_mark(evidence, "cycle_s")
    sprint = np.clip(short_s / settings.sprint_ramp_s, 0.0, 1.0)
    push_u = np.hypot(settings.push_u_s, settings.push_sprint_u_s * sprint)
    shank_u = np.hypot(settings.shank_u_s, settings.shank_changing_u * evidence["slowing_mps"])
    marks = (
        evidence["toe_s"],
        evidence["lift_s"],
        get_mark(evidence, "shank_off_s") - settings.shank_lag_s,
        get_mark(evidence, "push_off_s") - settings.push_lag_s,
    )
    # Without the foot's own marks the coarse event stays.
    known = np.isfinite(marks[0]) | np.isfinite(marks[1])
    return fuse_marks(
        np.where(known, np.stack(marks), np.nan),
        np.stack((toe_u, lift_u, shank_u, push_u)),
        fusion,
        settings.correlation,
    )
