"""Landings and taps are found where they are, and matched across sensors."""

import numpy as np
import pytest

from imuproc.conditioning.clocks.events import (
    EventSettings,
    Match,
    _keep_on_one_line,
    find_moments,
    match_moments,
)
from imuproc.conditioning.clocks.grid import GRID_HZ, OwnGrid

G = 9.80665
USUAL = EventSettings()


def standing(span_s: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.array([0.0, 0.0, G]) + 0.05 * rng.standard_normal((round(span_s * GRID_HZ), 3))


def with_landing(accel: np.ndarray, at_s: float, peak_g: float = 3.0) -> np.ndarray:
    time_s = np.arange(len(accel)) / GRID_HZ - at_s
    out = accel.copy()
    out[(time_s > -0.4) & (time_s < 0.0)] *= 0.1
    hit = (time_s >= 0.0) & (time_s < 0.15)
    out[hit, 2] += (peak_g - 1.0) * G * np.exp(-time_s[hit] / 0.05)
    return out


def with_tap(accel: np.ndarray, at_s: float) -> np.ndarray:
    time_s = np.arange(len(accel)) / GRID_HZ - at_s
    out = accel.copy()
    hit = (time_s >= 0.0) & (time_s < 0.05)
    out[hit, 0] += 6.0 * G * np.exp(-time_s[hit] / 0.01)
    return out


def grid(accel: np.ndarray, start_s: float, turn_radps: float = 0.02) -> OwnGrid:
    gyro = np.full(accel.shape, turn_radps)
    level, none = np.full(len(accel) // 20, turn_radps), np.zeros(len(accel), dtype=bool)
    return OwnGrid(start_s, accel, gyro, level, none)


def test_a_landing_and_a_tap_are_told_apart() -> None:
    found = find_moments(grid(with_tap(with_landing(standing(12.0, 1), 4.0), 8.0), 100.0), USUAL)
    np.testing.assert_allclose(found.stamp_s, [104.0, 108.0], atol=0.03)
    assert found.tap.tolist() == [False, True]


def test_a_shock_in_motion_is_no_tap_and_a_fall_without_landing_no_jump() -> None:
    moving = grid(with_tap(standing(6.0, 2), 3.0), 0.0, turn_radps=2.0)
    assert len(find_moments(moving, USUAL).stamp_s) == 0
    assert len(find_moments(grid(with_landing(standing(6.0, 3), 3.0, 1.05), 0.0), USUAL).tap) == 0


@pytest.mark.parametrize("lag_s", [0.0, 0.0123, -0.021])
def test_the_lag_between_two_sensors_is_found_below_a_sample(lag_s: float) -> None:
    """Landings at 4 and 7 s; the second sensor's clock is 250 s and some ms ahead."""
    pairs = []
    for start_s, late_s, seed in ((100.0, 0.0, 4), (350.0, lag_s, 5)):
        accel = with_landing(with_landing(standing(11.0, seed), 4.0 + late_s), 7.0 + late_s)
        one = grid(accel, start_s)
        pairs.append((one, find_moments(one, USUAL)))
    found = match_moments(pairs[0], pairs[1], 250.3, 1.5, USUAL)
    assert len(found) == 2
    for match in found:
        assert match.lag_s == pytest.approx(250.0 + lag_s, abs=0.003)
        assert match.alike > 0.9


def test_of_several_jumps_those_that_belong_together_are_matched() -> None:
    """The first jump is missing in the second log: spacing tells which is which."""
    first = grid(_landings(standing(20.0, 6), (3.0, 8.0, 10.0)), 0.0)
    second = grid(_landings(standing(20.0, 7), (8.0, 10.0)), 0.0)
    pairs = [(one, find_moments(one, USUAL)) for one in (first, second)]
    found = match_moments(pairs[0], pairs[1], 0.0, 6.0, USUAL)
    np.testing.assert_allclose([match.stamp_s for match in found], [8.0, 10.0], atol=0.03)


def test_jumps_hours_apart_are_matched_though_the_clocks_run_differently() -> None:
    """Two hops at each end of two hours; 200 ppm are 1.4 s, more than from hop to hop."""
    hops = np.array([3.0, 3.9, 7203.0, 7203.9])
    first, second = (
        [Match(float(t), 10.0 + 2e-4 * float(t) + wrong, 0.95, False) for t in hops]
        for wrong in (0.0, 0.9)
    )
    # Each hop but the last may be taken for the one after it.
    found = _keep_on_one_line([*first, *(second[k] for k in (0, 2))], USUAL)
    assert found == first


def test_a_tap_does_not_match_a_landing() -> None:
    tapped, landed = (
        grid(with_tap(standing(8.0, 8), 4.0), 0.0),
        grid(with_landing(standing(8.0, 9), 4.0), 0.0),
    )
    pairs = [(one, find_moments(one, USUAL)) for one in (tapped, landed)]
    assert match_moments(pairs[0], pairs[1], 0.0, 1.5, USUAL) == []


def _landings(accel: np.ndarray, times_s: tuple[float, ...]) -> np.ndarray:
    for at_s in times_s:
        accel = with_landing(accel, at_s)
    return accel
