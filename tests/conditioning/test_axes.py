"""Segment axes of one sensor, whatever its mounting."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from imuproc.conditioning.axes.segment_axes import (
    SensorRecord,
    estimate_gyro_bias,
    find_segment_axes,
    measure_zero_shift,
)
from imuproc.core.recording import Interval
from tests.conditioning.made_legs import RATE_HZ, RUN, STAND, made
from tests.usual import METHOD

MARGIN = 0.08
turns = st.tuples(*[st.floats(-3.1, 3.1)] * 3).map(lambda v: Rotation.from_rotvec(v).as_matrix())


def stretch(site="left_shank", turn=None, standing=True):
    """A sensor turned in some way, with its standing, its run and nothing else."""
    signals = made([STAND, RUN, STAND], [site])
    turn = np.eye(3) if turn is None else turn
    run = signals.run(1)
    still = signals.time_s < signals.spans[0].end_s - 0.3
    running = (signals.time_s > run.start_s) & (signals.time_s < run.end_s)
    accel, gyro = signals.accel_mps2[site] @ turn.T, signals.gyro_radps[site] @ turn.T
    return SensorRecord(signals.time_s, RATE_HZ, accel, gyro, running, still if standing else None)


def angle_deg(a, b) -> float:
    return float(np.degrees(np.arccos(np.clip(a @ b, -1.0, 1.0))))


@pytest.mark.parametrize("site", ["left_shank", "right_foot"])
@settings(max_examples=15, deadline=None)
@given(turn=turns)
def test_axes_are_found_in_any_mounting(site, turn) -> None:
    axes = find_segment_axes(stretch(site, turn), MARGIN, METHOD.calibration.axes)
    assert axes.sign_sure
    assert angle_deg(axes.up, turn @ [0.0, 0.0, 1.0]) < 0.05
    assert angle_deg(axes.forward, turn @ [1.0, 0.0, 0.0]) < 0.5
    assert axes.up @ axes.forward == pytest.approx(0.0, abs=1e-9)
    assert np.degrees(axes.axis_u_rad) < 2.0


@pytest.mark.parametrize(
    "turn",
    [np.diag([1.0, -1.0, -1.0]), np.diag([-1.0, 1.0, -1.0]), np.diag([-1.0, -1.0, 1.0])],
    ids=["upside down", "upside down, back to front", "back to front"],
)
def test_axes_are_found_upside_down(turn) -> None:
    axes = find_segment_axes(stretch(turn=turn), MARGIN, METHOD.calibration.axes)
    assert angle_deg(axes.forward, turn @ [1.0, 0.0, 0.0]) < 0.5
    assert axes.sign_sure


def test_a_shank_without_standing_still_knows_its_forward() -> None:
    turn = Rotation.from_rotvec([0.4, -1.9, 0.7]).as_matrix()
    axes = find_segment_axes(stretch(turn=turn, standing=False), MARGIN, METHOD.calibration.axes)
    assert not axes.sign_sure  # from its rate alone
    assert angle_deg(axes.forward, turn @ [1.0, 0.0, 0.0]) < 60.0  # the vertical is a stand-in
    side = np.cross(axes.up, axes.forward)
    assert angle_deg(side, turn @ [0.0, 1.0, 0.0]) < 2.0


def test_a_segment_that_swings_alike_to_both_sides_is_unsure_of_its_forward() -> None:
    """Mean elevation near zero says nothing about forward and backward."""
    given_signals = stretch()
    elapsed = np.cumsum(given_signals.running) / given_signals.running.sum()
    balanced = 0.5 * np.sin(2.0 * np.pi * 10.0 * elapsed)
    gyro = np.zeros_like(given_signals.gyro_radps)
    gyro[:, 1] = -np.gradient(balanced, 1.0 / RATE_HZ)
    flat = SensorRecord(
        given_signals.time_s,
        RATE_HZ,
        given_signals.accel_mps2,
        gyro,
        given_signals.running,
        given_signals.still,
    )
    assert not find_segment_axes(flat, MARGIN, METHOD.calibration.axes).sign_sure


@settings(max_examples=20, deadline=None)
@given(
    bias=st.tuples(*[st.floats(-0.1, 0.1)] * 3),
    durations=st.lists(st.floats(0.6, 4.0), min_size=1, max_size=3),
)
def test_gyro_bias_is_what_the_sensor_reads_at_rest(bias, durations) -> None:
    rng = np.random.default_rng(5)
    time_s = np.arange(0.0, 16.0, 0.005)
    gyro = np.tile(bias, (len(time_s), 1)) + 0.002 * rng.normal(size=(len(time_s), 3))
    starts = np.cumsum([0.5, *durations[:-1]]) + np.arange(len(durations))
    rests = tuple(Interval(a, a + d) for a, d in zip(starts, durations, strict=True))
    moving = ~np.any([(time_s >= r.start_s) & (time_s <= r.end_s) for r in rests], axis=0)
    gyro[moving] += 5.0
    found, u = estimate_gyro_bias(time_s, gyro, rests, METHOD.calibration.axes)
    np.testing.assert_allclose(found, bias, atol=4.0 * u)
    assert u < np.radians(0.6)


def test_longer_rests_make_the_bias_surer() -> None:
    time_s = np.arange(0.0, 20.0, 0.005)
    gyro = np.zeros((len(time_s), 3))
    u = [
        estimate_gyro_bias(time_s, gyro, (Interval(0.0, d),), METHOD.calibration.axes)[1]
        for d in (0.7, 2.0, 8.0)
    ]
    assert u[0] > u[1] > u[2]


def test_without_rest_the_bias_is_not_known() -> None:
    found, u = estimate_gyro_bias(np.arange(10.0), np.ones((10, 3)), (), METHOD.calibration.axes)
    assert found.tolist() == [0.0, 0.0, 0.0]
    assert np.degrees(u) == pytest.approx(1.0)


def zero_moved_degps(rate_degps: np.ndarray, rests: tuple[Interval, ...]) -> float:
    """As told of ten seconds, of which those from 4 to 6 s are the run."""
    time_s = np.arange(0.0, 10.0, 0.01)
    gyro = np.radians(np.outer(rate_degps, [0.0, 0.6, 0.8]))
    running = (time_s > 4.0) & (time_s < 6.0)
    return float(
        np.degrees(measure_zero_shift(time_s, gyro, rests, running, METHOD.calibration.axes))
    )


@pytest.mark.parametrize(("moved", "told"), [(0.5, 0.0), (3.0, 3.0), (15.0, 15.0)])
def test_a_zero_that_moves_in_the_run_is_told(moved: float, told: float) -> None:
    rate = np.where(np.arange(0.0, 10.0, 0.01) < 5.0, 0.3, 0.3 + moved)
    rests = (Interval(1.0, 1.6), Interval(2.0, 4.0), Interval(7.0, 9.0))
    assert zero_moved_degps(rate, rests) == pytest.approx(told, abs=0.01)


@pytest.mark.parametrize(("moved", "is_told"), [(0.0, False), (20.0, True)])
def test_a_limb_that_comes_to_rest_has_no_zero_that_moved(moved: float, is_told: bool) -> None:
    """It sinks at 13 deg/s and less for half a second, as a pelvis into the set position."""
    time_s = np.arange(0.0, 10.0, 0.01)
    rate = 13.0 * np.clip(4.0 - 2.0 * time_s, 0.0, 1.0) + moved * (time_s > 5.0)
    told = zero_moved_degps(rate, (Interval(1.5, 2.0), Interval(7.0, 9.0)))
    assert (told > 0.0) == is_told
