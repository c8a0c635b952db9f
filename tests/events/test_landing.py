"""Touchdown by the foot's motion, on landings that can be counted by hand."""

import numpy as np
import pytest
from numpy.typing import NDArray

from imuproc.events.foot_points import FootPoints
from imuproc.events.landing import Landing, LandingSettings, find_landing

FloatArray = NDArray[np.float64]
RATE_HZ = 1000.0
TIME_S = np.arange(600) / RATE_HZ
CONTACT_S, TOE_OFF_S = 0.3, 0.45
SETTINGS = LandingSettings()


def ramp(from_s: float, to_s: float) -> FloatArray:
    """From 0 to 1, smooth at both ends."""
    w = np.clip((TIME_S - from_s) / (to_s - from_s), 0.0, 1.0)
    return np.asarray(w**3 * (10.0 - 15.0 * w + 6.0 * w**2))


def foot(ball_mps: FloatArray, pitch_deg: FloatArray | float = -5.0) -> FootPoints:
    """A foot whose heel moves as its ball does."""
    accel = np.gradient(ball_mps, TIME_S)
    pitch = np.radians(np.broadcast_to(pitch_deg, TIME_S.shape))
    return FootPoints(
        time_s=TIME_S,
        rate_hz=RATE_HZ,
        pivot_mps=ball_mps,
        ball_mps=ball_mps,
        heel_mps=ball_mps,
        toe_mps=ball_mps,
        heel_accel_mps2=accel,
        ball_accel_mps2=accel,
        pitch_rad=np.array(pitch),
    )


def stopped(fall_mps: float, stop_s: float = 0.016) -> FloatArray:
    """A ball that falls evenly, and is stopped from touchdown on."""
    return -fall_mps * (1.0 - ramp(CONTACT_S, CONTACT_S + stop_s))


def landing(points: FootPoints) -> Landing:
    return find_landing(points, CONTACT_S + 0.004, TOE_OFF_S, SETTINGS)


def test_a_ball_is_on_the_ground_some_ms_before_its_fall_is_gone() -> None:
    found = landing(foot(stopped(2.0)))
    (ball_s,) = found.ball_s
    # 65 % of a smooth step over 16 ms are gone after 9.0 ms.
    assert ball_s == pytest.approx(CONTACT_S + 0.0090 - SETTINGS.ball_lag_s, abs=5e-4)
    assert found.fall_mps[0] == pytest.approx(2.0, rel=0.1)
    assert found.heel_weight < 0.01


@pytest.mark.parametrize("fall_mps", [0.05, 0.3, 1.0, 3.0])
def test_a_slow_landing_is_read_like_a_fast_one(fall_mps: float) -> None:
    usual = landing(foot(stopped(2.0))).ball_s[0]
    assert landing(foot(stopped(fall_mps))).ball_s[0] == pytest.approx(usual, abs=1e-4)


def test_a_heel_that_sinks_afterwards_is_a_candidate_and_not_the_landing() -> None:
    """A drive step: the ball lands with 0.5 m/s, and the sinking heel presses it down once more."""
    sinking = -0.35 * (ramp(0.315, 0.33) - ramp(0.345, 0.36))
    found = landing(foot(stopped(0.5) + sinking))
    assert len(found.ball_s) == 2
    assert found.ball_s[0] == pytest.approx(landing(foot(stopped(0.5))).ball_s[0], abs=0.002)
    assert found.ball_s[1] > found.ball_s[0] + 0.03


def test_a_foot_braked_in_the_air_keeps_its_landing_among_the_candidates() -> None:
    braked = -1.0 * (1.0 - ramp(0.255, 0.27)) + stopped(0.8)
    found = landing(foot(braked))
    usual = landing(foot(stopped(0.8))).ball_s[0]
    assert min(abs(s - usual) for s in found.ball_s) < 0.001


def test_a_soft_stop_is_no_early_landing() -> None:
    """What lasts longer begins as early: part of the later mark is not taken for later contact."""
    stiff, soft = (landing(foot(stopped(2.0, stop_s))).ball_s[0] for stop_s in (0.016, 0.04))
    assert abs(soft - stiff) < 0.0125  # the mark itself comes 13.5 ms later


def test_a_foot_that_does_not_fall_has_no_landing() -> None:
    assert landing(foot(np.zeros(len(TIME_S)))) == Landing()


def test_a_heel_that_comes_down_softly_is_told_as_near_the_ground() -> None:
    """Toe up by 10 deg: the heel is down from 0.26 s on, the ball slaps down at 0.3 s."""
    points = foot(stopped(2.0), pitch_deg=10.0 * (1.0 - ramp(0.27, 0.31)))
    heel = -1.0 * (1.0 - ramp(0.24, 0.26))
    still = FootPoints(**{**vars(points), "heel_mps": heel, "heel_accel_mps2": 0.0 * heel})
    found = landing(still)
    assert found.heel_down_s == pytest.approx(0.25, abs=0.01)
    level = landing(foot(stopped(2.0), pitch_deg=0.0))
    assert np.isnan(level.heel_down_s)
