"""Drills: feet on the ground stay there, legs do what they are asked to."""

import numpy as np
import pytest

from imuproc.synth.drills import SHAPES, Drill, make_drill
from imuproc.synth.long import make_long_motion
from tests.synth.made_runs import athlete


@pytest.mark.parametrize("drill", list(SHAPES))
def test_a_foot_on_the_ground_rests_and_the_way_is_as_stated(drill: Drill) -> None:
    bones = make_drill(athlete(), drill, 5.0, np.random.default_rng(3))
    for side in ("left", "right"):
        track = bones[f"{side}_foot"]  # type: ignore[index]
        sole = track.compute_point_m(
            np.array([athlete().body.ball_from_heel_m, 0.0, athlete().body.sole_radius_m])
        )
        speed = np.linalg.norm(np.gradient(sole, track.time_s, axis=0), axis=1)
        down = sole[:, 2] < sole[:, 2].min() + 0.001
        assert np.quantile(speed[down], 0.5) < 0.05
        assert speed[: int(0.5 * track.rate_hz)].max() < 1e-6  # standing before and after
        assert speed[-int(0.5 * track.rate_hz) :].max() < 1e-3
    way = np.ptp(bones["left_foot"].position_m[:, 0])
    cycles = 5.0 / SHAPES[drill].cycle_s
    assert way == pytest.approx(cycles * SHAPES[drill].gain_m, rel=0.25, abs=0.6)


def test_heels_are_flicked_up_and_shanks_fold() -> None:
    bones = make_drill(athlete(), "heel-flicks", 5.0, np.random.default_rng(3))
    upright = bones["left_shank"].rotation[:, 2, 2]
    assert upright.min() < 0.3  # the shank lies flat
    assert bones["left_foot"].position_m[:, 2].max() > 0.4


def test_a_long_log_says_when_its_drills_were() -> None:
    motion = make_long_motion([athlete()], 3, ["squats", "high-knees"], 3.0)
    assert [drill for drill, _, _ in motion.drills] == ["squats", "high-knees"]
    (_, _, first_end), (_, start, end) = motion.drills
    assert motion.jump_landing_s < first_end < start < end < motion.truths[0].valid_from_s
