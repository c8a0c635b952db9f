"""Toe-off from its marks: rise of the toes, lift of the ball, folding of the shank, fall of force.

What each stands for: the toes' rise for the end of the foot's roll-off; the ball's lift for the
same by a length instead of a speed; the shank's folding for the end of knee extension (peak knee
extension marks toe-off to 5 ms in running, Fellin et al. 2010, J Sci Med Sport 13:646); the fall of
the specific force off the sole for the force itself. Jerk of the forefoot (Handsaker et al. 2016,
J Biomech) was tried and left out: on the optical sets its peak scatters by 10 to 40 ms.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.events.fusion import Evidence, Fused, fused, mark_of

FloatArray = NDArray[np.float64]

TOE_OFF_MARKS = ("toe", "lift", "shank", "push")
"""The marks in the order in which they are weighed."""


@dataclass(frozen=True)
class ToeOffSettings:
    """Marks of toe-off: lags in s, standard uncertainties in s.

    Parameters
    ----------
    toe_u_s, toe_u_mps : float
        Rise of the toes: a constant, and an error of their speed over how fast it grows.
    lift_u_s, lift_u_m : float
        Lift of the ball: a constant, and an error of the height over how fast it rises.
    shank_lag_s, shank_u_s : float
        Knee's extension ends and the shank folds back (half fall of its rate).
    shank_changing_u : float
        What adds to that where speed changes, in s per m/s from stride to stride (no data cover
        it; judgement).
    push_lag_s, push_u_s : float
        Steepest fall of the force off the sole.
    push_sprint_u_s : float
        What adds to that in sprints: a leg that swings so fast pulls the foot up without a gap.
    sprint_cycle_s, sprint_ramp_s : float
        Where slowed swing and next swing are closer than this, over which range that sets in.
    slowing_u_share : float
        Part of what speed changes from stride to stride, over the growth of the toes' speed, that
        adds to the rise of the toes.
    correlation : float
        Between the errors of any two marks.
    rate_u : float
        What coarse sampling adds, in sampling intervals.
    reference_u_s : float
        What data sets differ by.
    """

    toe_u_s: float = 0.002
    toe_u_mps: float = 0.07
    lift_u_s: float = 0.006
    lift_u_m: float = 0.01
    shank_lag_s: float = 0.0095
    shank_u_s: float = 0.005
    shank_changing_u: float = 0.010
    push_lag_s: float = -0.0065
    push_u_s: float = 0.007
    push_sprint_u_s: float = 0.015
    sprint_cycle_s: float = 0.40
    sprint_ramp_s: float = 0.08
    slowing_u_share: float = 0.1
    correlation: float = 0.4
    rate_u: float = 0.2
    reference_u_s: float = 0.0045


def toe_offs(evidence: Evidence, settings: ToeOffSettings) -> Fused:
    """The rise of the toes, the lift of the ball, the shank folding back and the fall of force.

    Parameters
    ----------
    evidence : mapping from str to ndarray, shape (m,)
        Marks of :mod:`imuproc.events.leaving` and :mod:`imuproc.events.marks`.
    settings : ToeOffSettings

    Returns
    -------
    Fused
        Toe-offs and the weights of :data:`TOE_OFF_MARKS`; NaN where the foot's own motion does not
        tell.
    """
    speed_u = np.hypot(settings.toe_u_mps, settings.slowing_u_share * evidence["slowing_mps"])
    toe_u = np.hypot(settings.toe_u_s, speed_u / evidence["toe_growth_mps2"])
    lift_u = np.hypot(settings.lift_u_s, settings.lift_u_m / evidence["lift_mps"])
    short_s = settings.sprint_cycle_s - mark_of(evidence, "cycle_s")
    sprint = np.clip(short_s / settings.sprint_ramp_s, 0.0, 1.0)
    push_u = np.hypot(settings.push_u_s, settings.push_sprint_u_s * sprint)
    shank_u = np.hypot(settings.shank_u_s, settings.shank_changing_u * evidence["slowing_mps"])
    marks = (
        evidence["toe_s"],
        evidence["lift_s"],
        mark_of(evidence, "shank_off_s") - settings.shank_lag_s,
        mark_of(evidence, "push_off_s") - settings.push_lag_s,
    )
    # Without the foot's own marks the coarse event stays.
    known = np.isfinite(marks[0]) | np.isfinite(marks[1])
    return fused(
        np.where(known, np.stack(marks), np.nan),
        np.stack((toe_u, lift_u, shank_u, push_u)),
        settings.correlation,
    )
