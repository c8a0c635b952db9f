"""Long logs: a jump, runs, and walking back."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from imuproc.synth.long import LongMotion, make_long_motion, record_long
from imuproc.synth.runs import make_rig
from imuproc.synth.sensors.ideal import Mount, compute_ideal_signals
from tests.synth.made_runs import athlete


@cache
def two_runs() -> LongMotion:
    """Two short runs of one athlete in one log."""
    first = replace(athlete(), distance_m=12.0, stand_before_s=2.0, stand_after_s=1.5)
    return make_long_motion([first, replace(first, start="standing", seed=9)], 3)


def test_each_run_has_its_truth_in_order() -> None:
    first, second = two_runs().truths
    assert first.valid_to_s + 10.0 < second.valid_from_s
    assert two_runs().jump_landing_s < first.valid_from_s
    pitch = two_runs().skin["left_foot"]
    for truth in (first, second):
        steps = truth.steps[(truth.steps["side"] == "left") & (truth.steps["gait"] == "run")]
        for _, step in steps.iterrows():
            axis = pitch.rotation[np.searchsorted(pitch.time_s, step["touchdown_s"]), :, 0]
            angle = np.degrees(np.arctan2(axis[2], axis[0]))
            assert angle == pytest.approx(step["foot_pitch_touchdown_deg"], abs=1.5)


def test_the_athlete_walks_back_to_where_the_next_run_starts() -> None:
    place = two_runs().skin["pelvis"]
    first, second = two_runs().truths
    way = np.interp(
        [first.valid_from_s, first.valid_to_s, second.valid_from_s, second.valid_to_s],
        place.time_s,
        place.position_m[:, 0],
    )
    assert way[1] - way[0] > 12.0
    assert abs(way[2] - way[0]) < 3.0
    assert way[3] - way[2] > 12.0


def test_pieces_are_joined_without_a_jerk() -> None:
    motion = two_runs()
    calm = motion.skin["left_shank"].time_s < motion.truths[1].valid_from_s
    gap = motion.skin["left_shank"].time_s > motion.truths[0].valid_to_s + 3.0
    for site in ("left_shank", "right_foot", "pelvis"):
        mount = Mount(np.eye(3), np.array([0.05, 0.0, 0.2]))
        accel, gyro = compute_ideal_signals(motion.skin[site], mount, 9.80665)  # type: ignore[index]
        force = np.linalg.norm(accel[calm & gap], axis=1)
        assert force.max() < 9.80665 * 12.0  # walking
        assert np.degrees(np.abs(gyro[calm & gap]).max()) < 700.0


def test_both_feet_land_at_once_from_the_jump() -> None:
    motion = two_runs()
    for site in ("left_foot", "right_foot"):
        mount = Mount(np.eye(3), np.array([0.13, 0.0, 0.07]))
        accel, _ = compute_ideal_signals(motion.skin[site], mount, 9.80665)  # type: ignore[index]
        time_s = motion.skin[site].time_s  # type: ignore[index]
        near = np.abs(time_s - motion.jump_landing_s) < 0.15
        peak = time_s[near][np.argmax(np.linalg.norm(accel[near], axis=1))]
        assert abs(peak - motion.jump_landing_s) < 0.03
        flight = (time_s > motion.jump_landing_s - 0.2) & (time_s < motion.jump_landing_s - 0.1)
        assert np.linalg.norm(accel[flight], axis=1).mean() < 6.0


def test_logs_and_truths_are_on_one_clock() -> None:
    rng = np.random.default_rng(1)
    rig = make_rig("ideal", 200.0, rng, ("left_foot",))
    logs, truths = record_long(two_runs(), rig, rng)
    start_s = next(iter(rig.stamps.values())).start_s
    assert truths[1].valid_from_s == pytest.approx(two_runs().truths[1].valid_from_s + start_s)
    assert logs["left_foot"].time_s[-1] > truths[1].valid_to_s


def test_a_curve_cannot_be_joined() -> None:
    with pytest.raises(ValueError, match="one run or more, all of them straight"):
        make_long_motion([replace(athlete(), curve_radius_m=36.5)], 1)
