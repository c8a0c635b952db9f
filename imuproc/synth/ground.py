"""How made-up feet land on the ground and leave it.

Nothing here was read off a detector, and no setting of a detector refers to it. The usual ranges
are those that open data of running with force plates leave open once the clocks of markers and
force are put in step; :func:`draw_any_landing` and :func:`draw_any_leaving` draw from far wider
ones, in which a detector may be wrong but must not be sure.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np


@dataclass(frozen=True)
class Ground:
    """How the feet of one athlete land and leave in one run.

    Parameters
    ----------
    strike_mps : float or None
        Downward speed of the striking point at touchdown; None: what hip, thigh and shank give.
    stop_s : tuple of (float, float)
        Shortest and longest time in which the ground stops the fall of the ball.
    slip_s : float
        Time in which it stops the ball's slip forward.
    sink_deg, sink_s : float or None, float
        By how much the heel sinks after the ball has landed (None: as the usual posture has it),
        and in what time.
    shock_late_s : float
        From touchdown to the shock of the impact.
    peel_s : float
        From when the ball leaves the ground to when the toes do.
    toe_speed_share : float
        Upward speed of the line of the sole, 6 cm ahead of the ball's pivot, when the toes leave,
        as a share of the running speed.
    step_sd : float
        Step-to-step scatter of these, as a share.
    """

    strike_mps: float | None = None
    stop_s: tuple[float, float] = (0.018, 0.028)
    slip_s: float = 0.024
    sink_deg: float | None = None
    sink_s: float = 0.028
    shock_late_s: float = 0.0
    peel_s: float = 0.024
    toe_speed_share: float = 0.27
    step_sd: float = 0.06


_STRIKE_MPS: Final = (0.05, 3.0)
_SINK_DEG: Final = (0.0, 25.0)
_SINK_S: Final = (0.020, 0.100)
_STOP_S: Final = (0.006, 0.040)
_SLIP_S: Final = (0.010, 0.040)
_LATE_S: Final = (0.0, 0.010)
_PEEL_S: Final = (0.012, 0.035)
_TOE_SHARE: Final = (0.15, 0.55)
_BALL_FRACTION: Final = (0.60, 0.75)


def draw_usual_ground(rng: np.random.Generator) -> Ground:
    """An athlete's ground contact within what data with force plates show.

    When the force ends (20 N) the toes rise with 0.22 to 0.35 of the running speed by data set (SD
    within sets 0.04), 2.5 to 6.6 m/s; the ball has then risen 2 to 5 cm (Fukuchi et al. 2017, with
    the lag of its markers taken off; Goncalves et al. 2021).

    Parameters
    ----------
    rng : numpy Generator
    """
    return Ground(
        peel_s=float(rng.uniform(0.021, 0.027)),
        toe_speed_share=float(rng.uniform(0.22, 0.32)),
    )


def draw_any_landing(rng: np.random.Generator, ground: Ground) -> Ground:
    """An athlete landing as feet may at all.

    Parameters
    ----------
    rng : numpy Generator
    ground : Ground
        What it does not draw.
    """
    shortest = float(np.exp(rng.uniform(*np.log(_STOP_S))))
    return replace(
        ground,
        strike_mps=float(np.exp(rng.uniform(*np.log(_STRIKE_MPS)))),
        stop_s=(shortest, min(1.3 * shortest, _STOP_S[1])),
        slip_s=float(rng.uniform(*_SLIP_S)),
        sink_deg=float(rng.uniform(*_SINK_DEG)),
        sink_s=float(rng.uniform(*_SINK_S)),
        shock_late_s=float(rng.uniform(*_LATE_S)),
    )


def draw_any_leaving(rng: np.random.Generator, ground: Ground) -> Ground:
    """An athlete leaving the ground as feet may at all.

    Parameters
    ----------
    rng : numpy Generator
    ground : Ground
        What it does not draw.
    """
    return replace(
        ground,
        peel_s=float(rng.uniform(*_PEEL_S)),
        toe_speed_share=float(rng.uniform(*_TOE_SHARE)),
    )


def draw_any_lever(rng: np.random.Generator) -> float:
    """Heel to ball as a share of the foot's length, as feet and shoes may be at all.

    Parameters
    ----------
    rng : numpy Generator
    """
    return float(rng.uniform(*_BALL_FRACTION))


def scatter_ground(ground: Ground, rng: np.random.Generator) -> Ground:
    """The ground contact of one step.

    Parameters
    ----------
    ground : Ground
    rng : numpy Generator
    """
    z = 1.0 + ground.step_sd * np.clip(rng.standard_normal(5), -2.2, 2.2)
    return replace(
        ground,
        strike_mps=None if ground.strike_mps is None else float(ground.strike_mps * z[0]),
        sink_deg=None if ground.sink_deg is None else float(ground.sink_deg * z[1]),
        sink_s=float(ground.sink_s * z[2]),
        peel_s=float(ground.peel_s * z[3]),
        toe_speed_share=float(ground.toe_speed_share * z[4]),
    )
