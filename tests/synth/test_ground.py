"""How made-up feet land and leave: what is stated is what they do."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.synth.ground import (
    Ground,
    draw_any_landing,
    draw_any_leaving,
    draw_any_lever,
    draw_usual_ground,
)
from imuproc.synth.plan import draw_plan
from imuproc.synth.runs import RunMotion, make_motion
from imuproc.synth.stances import Stance

SEED = 611


def run(ground: Ground) -> RunMotion:
    plan = draw_plan(np.random.default_rng(SEED), "crouch", 15.0)
    technique = replace(plan.technique, ground=ground)
    return make_motion(replace(plan, technique=technique, impact="none", stand_after_s=2.5))


def fast(motion: RunMotion, side: str) -> list[Stance]:
    """Contacts of one foot in the effort."""
    return [s for s in motion.schedule.select_side(side) if s.kind == "run"][:4]  # type: ignore[arg-type]


def toe_share(motion: RunMotion, side: str, stance: Stance) -> float:
    """Upward speed of the line of the sole 6 cm ahead of the ball over running speed, toe-off."""
    body, foot = motion.plan.body, motion.bones[f"{side}_foot"]  # type: ignore[index]
    toe = foot.compute_point_m(np.array([body.ball_from_heel_m + 0.06, 0.0, body.sole_radius_m]))
    rise = np.gradient(toe[:, 2], foot.time_s)
    speed = motion.course.interpolate_speed(stance.toe_off_s)
    return float(np.interp(stance.toe_off_s, foot.time_s, rise)) / speed


@pytest.mark.parametrize("strike_mps", [0.1, 0.5, 2.5])
def test_a_foot_strikes_as_fast_as_is_stated(strike_mps: float) -> None:
    motion = run(Ground(strike_mps=strike_mps, step_sd=0.0))
    body, foot = motion.plan.body, motion.bones["left_foot"]
    for stance in fast(motion, "left"):
        outer = np.array([body.ball_from_heel_m, body.ball_half_width_m, body.sole_radius_m])
        fall = -np.gradient(foot.compute_point_m(outer)[:, 2], foot.time_s)
        turning = np.interp(stance.touchdown_s - 0.001, foot.time_s, fall)
        # The edge of a turning foot moves a little faster or slower than the foot itself.
        assert turning == pytest.approx(strike_mps, abs=0.45)


def test_a_heel_sinks_as_far_as_is_stated() -> None:
    motion = run(Ground(sink_deg=12.0, sink_s=0.05, step_sd=0.0))
    foot = motion.bones["right_foot"]
    pitch = np.degrees(np.arcsin(foot.rotation[:, 2, 0]))
    stance = fast(motion, "right")[0]
    early, low = (
        np.interp(stance.touchdown_s + lag_s, foot.time_s, pitch) for lag_s in (0.0, 0.06)
    )
    assert low - early == pytest.approx(12.0, abs=2.5)


@pytest.mark.parametrize("share", [0.15, 0.35, 0.55])
def test_toes_leave_with_the_share_of_speed_that_is_stated(share: float) -> None:
    motion = run(Ground(toe_speed_share=share, peel_s=0.014, step_sd=0.0))
    found = [toe_share(motion, side, s) for side in ("left", "right") for s in fast(motion, side)]
    assert np.median(found) == pytest.approx(share, abs=0.08)


def test_ranges_are_as_wide_as_feet_may_be() -> None:
    rng = np.random.default_rng(7)
    landings = [draw_any_landing(rng, draw_usual_ground(rng)) for _ in range(400)]
    strikes = np.array([g.strike_mps for g in landings], dtype=float)
    assert strikes.min() < 0.08
    assert strikes.max() > 2.5
    assert max(g.sink_deg or 0.0 for g in landings) > 22.0
    assert max(g.shock_late_s for g in landings) > 0.009
    leavings = [draw_any_leaving(rng, draw_usual_ground(rng)) for _ in range(400)]
    shares = [g.toe_speed_share for g in leavings]
    assert min(shares) < 0.17
    assert max(shares) > 0.53
    levers = [draw_any_lever(rng) for _ in range(400)]
    assert min(levers) < 0.61
    assert max(levers) > 0.74


def test_what_a_sweep_does_not_draw_stays_as_it_was() -> None:
    rng = np.random.default_rng(8)
    usual = draw_usual_ground(rng)
    assert draw_any_landing(rng, usual).toe_speed_share == usual.toe_speed_share
    assert draw_any_leaving(rng, usual).strike_mps == usual.strike_mps
