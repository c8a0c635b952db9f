"""Runs in a log, told from standing, jumping and walking by how soon fast swings follow."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from imuproc.core.recording import Interval
from imuproc.core.sites import Site
from imuproc.events.progress import Track
from imuproc.events.runs import RunSettings, find_runs

FloatArray = NDArray[np.float64]

RATE_HZ = 200.0
LEGS: tuple[Site, ...] = ("left_shank", "left_foot", "right_shank", "right_foot")


def swings(
    time_s: FloatArray, start_s: float, end_s: float, stride_s: float, peak_radps: float
) -> FloatArray:
    """Sagittal rate of a leg that swings forward and back once a stride between two instants."""
    phase = 2.0 * np.pi * (time_s - start_s) / stride_s
    inside = (time_s >= start_s) & (time_s < end_s)
    return np.where(inside, peak_radps * np.sin(phase), 0.0)


def logged(
    time_s: FloatArray, rate_radps: FloatArray, mount: Rotation | None = None
) -> dict[Site, FloatArray]:
    """The same rate about the y axis of four sensors, each turned by a mounting."""
    gyro = np.stack((np.zeros_like(time_s), rate_radps, np.zeros_like(time_s)), axis=1)
    turned = gyro if mount is None else mount.apply(gyro)
    return dict.fromkeys(LEGS, turned)


def clock(duration_s: float) -> FloatArray:
    return np.arange(int(duration_s * RATE_HZ)) / RATE_HZ


def tracks(time_s: FloatArray, gyro: dict[Site, FloatArray]) -> dict[Site, list[Track]]:
    """Tracks that tell of swings only: without accelerations nothing is known of the way."""
    return {
        site: [Track(time_s, RATE_HZ, own, np.full_like(own, np.nan))] for site, own in gyro.items()
    }


def found(time_s: FloatArray, gyro: dict[Site, FloatArray]) -> tuple[Interval, ...]:
    return find_runs(tracks(time_s, gyro), RunSettings())


def test_a_sprint_is_found_with_room_for_its_start_and_its_end() -> None:
    time_s = clock(20.0)
    runs = found(time_s, logged(time_s, swings(time_s, 8.0, 12.0, 0.45, 18.0)))
    assert len(runs) == 1
    assert 6.5 < runs[0].start_s < 7.5
    assert 12.5 < runs[0].end_s < 13.5


def test_a_slow_jog_is_a_run_and_walking_with_the_same_swings_is_not() -> None:
    time_s = clock(20.0)
    # 7.5 rad/s: the slowest foot swing of 33 trials at 2.5 to 4.5 m/s (Fukuchi, Fukuchi & Duarte
    # 2017, PeerJ 5:e3298); strides of 0.8 s there, 1.1 s in walking (from memory).
    jog = logged(time_s, swings(time_s, 5.0, 15.0, 0.8, 7.5))
    walk = logged(time_s, swings(time_s, 5.0, 15.0, 1.1, 7.5))
    assert len(found(time_s, jog)) == 1
    assert found(time_s, walk) == ()


def test_runs_with_walking_back_between_them_are_two() -> None:
    time_s = clock(60.0)
    rate = (
        swings(time_s, 5.0, 10.0, 0.45, 18.0)
        + swings(time_s, 12.0, 40.0, 1.1, 7.5)
        + swings(time_s, 45.0, 50.0, 0.45, 18.0)
    )
    runs = found(time_s, logged(time_s, rate))
    assert [round(run.start_s) for run in runs] == [4, 44]
    assert [round(run.end_s) for run in runs] == [11, 51]


def test_standing_and_a_jump_are_no_run() -> None:
    time_s = clock(20.0)
    assert found(time_s, logged(time_s, np.zeros_like(time_s))) == ()
    # Down, up and landing: each way fast once.
    jump = swings(time_s, 10.0, 10.6, 0.6, 9.0)
    assert found(time_s, logged(time_s, jump)) == ()


def test_runs_close_to_each_other_share_the_time_between_them() -> None:
    time_s = clock(30.0)
    rate = swings(time_s, 5.0, 10.0, 0.45, 18.0) + swings(time_s, 11.8, 16.0, 0.45, 18.0)
    first, second = found(time_s, logged(time_s, rate))
    assert first.end_s == pytest.approx(second.start_s)
    assert 10.0 < first.end_s < 11.8


def test_a_run_at_the_edge_of_the_log_ends_with_the_log() -> None:
    time_s = clock(6.0)
    (run,) = found(time_s, logged(time_s, swings(time_s, 0.0, 6.0, 0.5, 15.0)))
    assert (run.start_s, run.end_s) == (time_s[0], time_s[-1])


def test_a_pelvis_alone_or_no_sensor_at_all_has_no_run() -> None:
    time_s = clock(10.0)
    gyro = logged(time_s, swings(time_s, 2.0, 8.0, 0.5, 15.0))
    assert found(time_s, {"pelvis": gyro["left_foot"]}) == ()
    assert found(time_s, {}) == ()


def test_missing_samples_do_not_hide_a_run() -> None:
    time_s = clock(20.0)
    gyro = logged(time_s, swings(time_s, 8.0, 12.0, 0.45, 18.0))
    holed = gyro["left_foot"].copy()
    holed[(time_s > 9.0) & (time_s < 9.4)] = np.nan
    whole, holey = found(time_s, gyro), found(time_s, {**gyro, "left_foot": holed})
    assert len(whole) == len(holey) == 1
    assert holey[0].start_s == pytest.approx(whole[0].start_s, abs=0.1)


@settings(max_examples=20, deadline=None)
@given(
    turn=st.tuples(*[st.floats(-3.0, 3.0)] * 3),
    stride_s=st.floats(0.4, 0.85),
    peak_radps=st.floats(7.5, 25.0),
)
def test_mounting_does_not_matter(
    turn: tuple[float, float, float], stride_s: float, peak_radps: float
) -> None:
    time_s = clock(15.0)
    rate = swings(time_s, 4.0, 11.0, stride_s, peak_radps)
    straight = found(time_s, logged(time_s, rate))
    turned = found(time_s, logged(time_s, rate, Rotation.from_rotvec(turn)))
    assert len(straight) == len(turned) == 1
    assert turned[0].start_s == pytest.approx(straight[0].start_s)
    assert turned[0].end_s == pytest.approx(straight[0].end_s)


def test_the_margin_is_a_setting() -> None:
    time_s = clock(20.0)
    gyro = logged(time_s, swings(time_s, 8.0, 12.0, 0.45, 18.0))
    near = find_runs(tracks(time_s, gyro), RunSettings(margin_s=0.2))
    far = find_runs(tracks(time_s, gyro), RunSettings(margin_s=1.0))
    assert near[0].start_s - far[0].start_s == pytest.approx(0.8)
