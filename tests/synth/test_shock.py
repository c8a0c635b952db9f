"""Ringing of a sensor at touchdown."""

from dataclasses import replace

import numpy as np

from imuproc.synth.plan import Impact
from imuproc.synth.sensors.ideal import Mount, compute_ideal_signals
from imuproc.synth.sensors.shock import make_skin_track
from tests.synth.made_runs import athlete, motion


def peak_g(impact: Impact) -> float:
    """Greatest specific force of a shank sensor around one touchdown."""
    plan = replace(athlete(), impact=impact, soft_tissue_deg=0.3)
    bone = motion().bones["left_shank"]
    stance = next(s for s in motion().schedule.select_side("left")[8:] if s.kind == "run")
    skin = make_skin_track(bone, {stance.touchdown_s: 2.0}, plan, "left_shank")
    accel, _ = compute_ideal_signals(skin, Mount(np.eye(3), np.array([0.04, 0.0, 0.2])), 9.80665)
    near = np.abs(skin.time_s - stance.touchdown_s) < 0.03
    return float(np.linalg.norm(accel[near], axis=1).max() / 9.80665)


def test_a_stronger_impact_shakes_more() -> None:
    none, weak, strong = peak_g("none"), peak_g("weak"), peak_g("strong")
    assert none < weak < strong
    assert strong < none + 30.0


def test_the_sensor_comes_back_to_where_it_was() -> None:
    bone = motion().bones["left_foot"]
    stance = motion().schedule.select_side("left")[5]
    skin = make_skin_track(bone, {stance.touchdown_s: 2.0}, athlete(), "left_foot")
    moved = np.linalg.norm(skin.position_m - bone.position_m, axis=1)
    before = bone.time_s <= stance.touchdown_s
    late = bone.time_s > stance.touchdown_s + 0.2
    assert moved[before].max() == 0.0
    assert 1e-5 < moved.max() < 0.005
    assert moved[late].max() < 1e-5
