"""Clocks that are not one are tied as they really lie, with the uncertainty that this has."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.conditioning.clocks.lag import LagSettings, prepare_joint_signals, solve_joint_lag
from imuproc.conditioning.clocks.tying import tie_clocks
from imuproc.core.sites import SITES
from tests.conditioning.made_clocks import RATE_HZ, Clock, drawn, made, stamped
from tests.usual import TIED

LEGS = {"left_shank": "left_foot", "right_shank": "right_foot"}


def errors_of(one, clocks, tied):
    """Error in s of each tie at the run, and its stated uncertainty."""
    out = {}
    for site, tie in tied.clocks.ties.items():
        stamps = [
            tied.to_root(name, np.array([clocks[name].of(one.run_s)])) for name in (site, tie.to)
        ]
        u_s = tied.clocks.compute_u_s(site, tie.to, stamps[1])
        out[site, tie.to] = float(stamps[0][0] - stamps[1][0]), float(u_s[0])
    return out


def is_leg(pair) -> bool:
    return pair[0].split("_")[0] == pair[1].split("_")[0]


def test_jumps_at_both_ends_put_all_sensors_on_one_clock() -> None:
    rng = np.random.default_rng(11)
    legs, between = [], []
    for _ in range(6):
        one = made(2, 1)
        clocks = drawn(rng)
        tied = tie_clocks(stamped(one.logs, clocks), True, *TIED)
        assert tied.groups == (SITES[:4],)
        for pair, found in errors_of(one, clocks, tied).items():
            (legs if is_leg(pair) else between).append(found)
    for found in (np.array(legs), np.array(between)):
        assert np.std(found[:, 0]) < 0.0015
        assert np.mean(np.abs(found[:, 0]) < 2.0 * found[:, 1]) >= 0.9
    assert np.max(np.array(legs)[:, 1]) < 0.003


def test_feet_that_land_apart_are_within_the_stated_uncertainty() -> None:
    found = []
    for seed in range(3):
        one = made(1, 1, apart_s=0.004, seed=20 + seed)
        clocks = drawn(np.random.default_rng(seed))
        tied = tie_clocks(stamped(one.logs, clocks), True, *TIED)
        found += [e for p, e in errors_of(one, clocks, tied).items() if not is_leg(p)]
    assert len(found) == 3
    assert np.max(np.abs(found), axis=0)[0] > 0.0005  # they do land apart
    assert all(abs(error) < 2.5 * u for error, u in found)


def test_far_from_a_single_jump_the_clocks_of_the_legs_are_less_certain() -> None:
    one = made(1, 0)
    clocks = {site: Clock(0.0, 0.0) for site in SITES[:4]}
    known = tie_clocks(stamped(one.logs, clocks), True, *TIED).clocks
    pair = next((site, tie.to) for site, tie in known.ties.items() if not is_leg((site, tie.to)))
    near, far = known.compute_u_s(*pair, np.array([one.run_s, one.run_s + 600.0]))
    assert near < 0.008
    assert far == pytest.approx(600.0 * 70e-6, rel=0.1)  # two clocks of 50 ppm


def test_a_tap_ties_the_legs_better_than_a_jump() -> None:
    one = made(0, 0, taps=True)
    clocks = drawn(np.random.default_rng(5))
    tied = tie_clocks(stamped(one.logs, clocks), True, *TIED)
    (error, u) = next(e for p, e in errors_of(one, clocks, tied).items() if not is_leg(p))
    assert u < 0.0035
    assert abs(error) < 2.0 * u


def test_without_a_common_moment_each_leg_is_by_itself() -> None:
    one = made(0, 0)
    clocks = drawn(np.random.default_rng(6))
    for by_events in (True, False):
        tied = tie_clocks(stamped(one.logs, clocks), by_events, *TIED)
        assert tied.groups == (("left_shank", "left_foot"), ("right_shank", "right_foot"))
        for error, u in errors_of(one, clocks, tied).values():
            assert abs(error) < 2.0 * u < 0.004
    assert "no two" not in tied.entry.what


def test_jumps_do_not_tie_legs_that_are_said_to_be_separate() -> None:
    one = made(2, 1)
    tied = tie_clocks(stamped(one.logs, drawn(np.random.default_rng(7))), False, *TIED)
    assert len(tied.groups) == 2


def test_logs_of_two_people_are_not_tied() -> None:
    """The right leg is another athlete's, who ran another distance at another time."""
    logs = dict(made(0, 0).logs)
    other = made(1, 1, apart_s=0.004, seed=20).logs
    for site in ("right_shank", "left_foot"):
        logs[site] = replace(other[site], time_s=other[site].time_s + 500.0)
    tied = tie_clocks(logs, False, *TIED)
    assert "left_foot" not in tied.own


@pytest.mark.parametrize("shift", [0, 3, -5, 12])
def test_the_ankle_tells_how_far_shank_and_foot_are_apart(shift: int) -> None:
    one = made(0, 0)
    first = 20 + np.searchsorted(one.logs["left_shank"].time_s, one.run_s - 1.0)
    for shank, foot in LEGS.items():
        signals = []
        for site, begin in ((shank, first), (foot, first - shift)):
            log, rows = one.logs[site], slice(begin, begin + int(4.0 * RATE_HZ))
            none = np.zeros(rows.stop - rows.start, dtype=bool)
            signals.append(
                prepare_joint_signals(
                    log.accel_mps2[rows], log.gyro_radps[rows], none, RATE_HZ, LagSettings()
                )
            )
        lag = solve_joint_lag(signals[0], signals[1], LagSettings())
        assert lag is not None
        assert lag.lag_s == pytest.approx(shift / RATE_HZ, abs=0.003)
        assert lag.misfit < 0.15


def clipped_leg(share: float, marked: bool) -> float:
    """Lag in s of a left foot behind its shank whose gyroscopes end at a share of their peaks."""
    one = made(0, 0)
    first = int(np.searchsorted(one.logs["left_shank"].time_s, one.run_s - 1.0))
    signals = []
    for site in ("left_shank", "left_foot"):
        log, rows = one.logs[site], slice(first, first + int(4.0 * RATE_HZ))
        limit = share * np.abs(log.gyro_radps[rows]).max()
        gyro = np.clip(log.gyro_radps[rows], -limit, limit)
        clipped = (np.abs(gyro) >= limit).any(axis=1) & marked
        signals.append(
            prepare_joint_signals(log.accel_mps2[rows], gyro, clipped, RATE_HZ, LagSettings())
        )
    lag = solve_joint_lag(signals[0], signals[1], LagSettings())
    return np.nan if lag is None else lag.lag_s


def test_what_was_clipped_does_not_move_the_lag() -> None:
    plain = clipped_leg(1.01, marked=True)
    assert clipped_leg(0.5, marked=True) == pytest.approx(plain, abs=0.001)
    assert abs(clipped_leg(0.5, marked=False) - plain) > 0.002  # it would
    assert np.isnan(clipped_leg(0.2, marked=True))  # nothing is left to tell it by


def test_sensors_at_rest_tell_nothing() -> None:
    still = np.tile([0.0, 0.0, 9.8], (2000, 1)) + 0.02 * np.random.default_rng(1).normal(
        size=(2000, 3)
    )
    none = np.zeros(len(still), dtype=bool)
    signals = prepare_joint_signals(still, 0.01 * still, none, RATE_HZ, LagSettings())
    assert solve_joint_lag(signals, signals, LagSettings()) is None
