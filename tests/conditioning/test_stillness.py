"""Still stretches: rest is found, and neither motion nor a slow sink passes for it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from imuproc.conditioning.axes.stillness import (
    StillnessSettings,
    find_common_rests,
    find_rests,
)
from imuproc.core.recording import Interval
from tests.conditioning.made_legs import RATE_HZ, SET, STAND, Hold, made

SITE = "left_shank"
USUAL = StillnessSettings()


def stretches(holds, turn=None, bias_radps=0.0, gone=None):
    """Still stretches of one sensor, and the holds' own spans."""
    signals = made(holds, [SITE])
    turn = np.eye(3) if turn is None else turn
    accel, gyro = signals.accel_mps2[SITE] @ turn.T, signals.gyro_radps[SITE] @ turn.T
    gyro = gyro + bias_radps
    if gone is not None:
        hole = (signals.time_s > gone[0]) & (signals.time_s < gone[1])
        accel[hole] = gyro[hole] = np.nan
    found = find_rests(signals.time_s, accel, gyro, RATE_HZ, USUAL)
    return found, signals


def gravity_moved_deg(signals, stretch):
    inside = (signals.time_s >= stretch.start_s) & (signals.time_s <= stretch.end_s)
    force = signals.accel_mps2[SITE][inside]
    tilt = np.degrees(np.arctan2(force[:, 0], force[:, 2]))
    smooth = np.convolve(tilt, np.ones(40) / 40.0, mode="valid")
    return np.ptp(smooth)


def test_each_hold_is_one_stretch_and_the_moves_between_are_none() -> None:
    found, signals = stretches([STAND, SET, STAND])
    assert len(found) == 3
    for stretch, span in zip(found, signals.spans, strict=True):
        # Half a window is cut at the ends next to motion; the smooth moves begin slowly.
        assert stretch.start_s == pytest.approx(span.start_s, abs=0.35)
        assert stretch.end_s == pytest.approx(span.end_s, abs=0.35)


@pytest.mark.parametrize(("sink_deg", "duration_s"), [(6.0, 3.0), (4.0, 2.0), (-8.0, 4.0)])
def test_a_slow_sink_is_never_one_stretch(sink_deg: float, duration_s: float) -> None:
    """2 deg/s hides in any threshold of rate; gravity tells."""
    sinking = Hold(duration_s, shank_deg=-40.0, sink_deg=sink_deg)
    found, signals = stretches([STAND, sinking, STAND])
    assert found[0].duration_s == pytest.approx(3.0, abs=0.5)
    for stretch in found:
        assert gravity_moved_deg(signals, stretch) < 2.2


def test_a_run_holds_no_rest() -> None:
    found, signals = stretches([STAND, Hold(4.0, running=True), STAND])
    run = signals.spans[1]
    assert len(found) == 2
    assert found[0].end_s < run.start_s
    assert found[1].start_s > run.end_s - 0.2


def test_a_gap_is_not_rest() -> None:
    found, _ = stretches([STAND], gone=(51.4, 51.6))
    assert len(found) == 2
    assert found[0].end_s <= 51.4
    assert found[1].start_s >= 51.6


def test_a_sensor_that_never_rests_gives_nothing() -> None:
    found, _ = stretches([Hold(5.0, running=True)])
    assert found == ()


@settings(max_examples=12, deadline=None)
@given(
    turn=st.tuples(*[st.floats(-3.0, 3.0)] * 3),
    bias_degps=st.tuples(*[st.floats(-5.0, 5.0)] * 3),
)
def test_neither_mounting_nor_gyro_bias_matter(turn, bias_degps) -> None:
    plain, _ = stretches([STAND, SET, STAND])
    other, _ = stretches(
        [STAND, SET, STAND], Rotation.from_rotvec(turn).as_matrix(), np.radians(bias_degps)
    )
    assert len(other) == len(plain)
    for a, b in zip(plain, other, strict=True):
        assert b.start_s == pytest.approx(a.start_s, abs=0.03)
        assert b.end_s == pytest.approx(a.end_s, abs=0.03)


intervals = st.lists(st.floats(0.0, 50.0), min_size=2, max_size=12, unique=True).map(
    lambda x: tuple(Interval(a, b) for a, b in zip(sorted(x)[::2], sorted(x)[1::2], strict=False))
)


@settings(max_examples=40, deadline=None)
@given(st.lists(intervals, min_size=1, max_size=4))
def test_common_stretches_are_where_all_are_still(sensors) -> None:
    common = find_common_rests(sensors, 0.5)
    for part in common:
        assert part.duration_s >= 0.5
        for own in sensors:
            assert any(a.start_s <= part.start_s and part.end_s <= a.end_s for a in own)
    # Nothing is lost: an instant well inside a long common stretch is in one of them.
    for t in np.arange(0.0, 50.0, 0.25):
        inside = [next((a for a in own if a.start_s <= t <= a.end_s), None) for own in sensors]
        if all(inside):
            start, end = max(a.start_s for a in inside), min(a.end_s for a in inside)
            if end - start >= 0.5:
                assert Interval(start, end) in common


def test_no_sensor_no_stretch() -> None:
    assert find_common_rests([], 0.5) == ()
