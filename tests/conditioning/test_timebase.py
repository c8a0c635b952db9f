"""Logs on one clock: right where measured, silent where not."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imuproc.conditioning.timebase import TimeBaseSettings, to_common_clock
from imuproc.core.errors import RunError
from tests.conditioning.made_up import (
    error_at_measured,
    interpolation_bound,
    make_log,
    make_recording,
    names,
    steepness,
    values_of,
)
from tests.usual import ON_CLOCK

EVEN_S = np.arange(1000) / 500.0
BRIDGE = TimeBaseSettings().max_bridge_samples


def test_regular_log_comes_back_sample_by_sample():
    time_s = 12.5 + np.arange(1000) / 500.0
    log = make_log(time_s)
    based = to_common_clock(make_recording(log), *ON_CLOCK)
    signals = based.sites["left_shank"]
    assert based.rate_hz == pytest.approx(500.0, abs=1e-6)
    assert based.time_s[0] == 12.5
    np.testing.assert_allclose(based.time_s, time_s, atol=1e-9)
    np.testing.assert_allclose(signals.accel_mps2, log.accel_mps2, atol=1e-6)
    np.testing.assert_allclose(signals.gyro_radps, log.gyro_radps, atol=1e-6)
    assert signals.measured.all()
    assert not signals.accel_clipped.any()
    assert not signals.gyro_clipped.any()
    assert based.flags == ()
    assert based.history[-1].stage == "conditioning.timebase"
    assert based.history[-1].parameters["max_bridge_samples"] == 3


@settings(deadline=None, max_examples=60)
@given(
    seed=st.integers(0, 9999),
    rate_hz=st.floats(100.0, 1000.0),
    jitter=st.floats(0.0, 0.2),
    drop=st.sampled_from([0.0, 0.01, 0.04]),
    nan_rows=st.integers(0, 5),
    start_s=st.sampled_from([0.0, -3.2, 1234.5678, 1.7e9]),
    gaps=st.lists(st.tuples(st.integers(0, 7), st.integers(1, 60)), max_size=3),
)
def test_any_log_is_right_where_measured_and_silent_where_not(
    seed, rate_hz, jitter, drop, nan_rows, start_s, gaps
):
    rng = np.random.default_rng(seed)
    n = 1000
    elapsed_s = (np.arange(n) + rng.uniform(-jitter, jitter, n)) / rate_hz
    keep = rng.random(n) >= drop
    for place, length in gaps:
        keep[100 + 100 * place : 100 + 100 * place + length] = False
    keep[[0, -1]] = True
    elapsed_s = elapsed_s[keep]
    log = make_log(start_s + elapsed_s, elapsed_s=elapsed_s)
    real = np.ones(len(elapsed_s), dtype=bool)
    if nan_rows:
        broken = rng.integers(50, len(elapsed_s) - 50, nan_rows)
        log.accel_mps2[broken, rng.integers(0, 3, nan_rows)] = np.nan
        real[broken] = False

    based = to_common_clock(make_recording(log), *ON_CLOCK)
    signals, period_s = based.sites["left_shank"], 1.0 / rate_hz

    assert based.rate_hz == pytest.approx(rate_hz, rel=0.01)
    assert np.std(np.diff(based.time_s)) * rate_hz < 1e-3
    assert based.time_s[0] == start_s + elapsed_s[0]  # the first stamp, as the log counts
    # Values: as good as the local cubic can be, from samples at most BRIDGE periods apart.
    longest_s = (BRIDGE + 1.5 + 2 * jitter) * 1.01 * period_s
    steps = np.diff(elapsed_s[real])
    bound = interpolation_bound(steps[steps < longest_s].max(), rate_hz)
    stamp_rounding = 5e-7 * steepness(1) if start_s > 1e9 else 1e-9
    assert error_at_measured(based, "left_shank", start_s) < bound + stamp_rounding
    # Mask: every grid time against every real sample, leaving out what is a matter of rounding.
    at_s = based.time_s - start_s
    right = np.searchsorted(elapsed_s[real], at_s).clip(1, real.sum() - 1)
    around_s = steps[right - 1] / period_s
    nearest = np.abs(at_s[:, None] - elapsed_s[real][None]).min(axis=1) / period_s
    filled = np.isfinite(signals.accel_mps2).all(axis=1) & np.isfinite(signals.gyro_radps).all(1)
    must_be_empty = (around_s > BRIDGE + 1.6) & (nearest > 0.01)
    assert not filled[must_be_empty].any()
    assert not signals.measured[must_be_empty | (nearest > 1.55)].any()
    must_be_there = (around_s < BRIDGE + 1.4) & (nearest < 1.45)
    assert signals.measured[must_be_there].all()
    assert filled[signals.measured].all()
    assert ("gap" in names(based)) == bool((np.rint(steps / period_s) - 1 > BRIDGE).any())


@settings(deadline=None, max_examples=25)
@given(
    rates=st.lists(st.sampled_from([100.0, 200.0, 500.0, 512.0]), min_size=2, max_size=4),
    late=st.lists(st.floats(-1.5, 1.5), min_size=4, max_size=4),
    start_s=st.sampled_from([0.0, 1.7e9]),
)
def test_logs_of_different_rate_and_span_share_one_clock(rates, late, start_s):
    sites = ("right_foot", "left_shank", "pelvis", "left_foot")
    logs = []
    for site, rate_hz, late_s in zip(sites, rates, late, strict=False):
        elapsed_s = late_s + np.arange(int(5.0 * rate_hz)) / rate_hz
        logs.append(make_log(start_s + elapsed_s, site, elapsed_s))
    based = to_common_clock(make_recording(*logs), *ON_CLOCK)
    assert based.rate_hz == pytest.approx(max(rates), rel=1e-4)
    period_s = 1.0 / based.rate_hz
    # Union: nothing of any log is lost, and a point of the clock lies on the first log's first.
    assert based.time_s[0] < min(log.time_s[0] for log in logs) + period_s
    assert based.time_s[-1] > max(log.time_s[-1] for log in logs) - period_s
    assert np.abs(based.time_s - logs[0].time_s[0]).min() < 3e-7
    for log in logs:
        signals = based.sites[log.site]
        own_s = 1.0 / signals.rate_hz
        bound = interpolation_bound(own_s, signals.rate_hz) + 5e-7 * steepness(1)
        assert error_at_measured(based, log.site, start_s) < bound
        outside = (based.time_s < log.time_s[0] - 0.01 * own_s) | (
            based.time_s > log.time_s[-1] + 0.01 * own_s
        )
        assert not signals.measured[outside].any()
        assert np.isnan(signals.gyro_radps[outside]).all()
        inside = (based.time_s > log.time_s[0] + own_s) & (based.time_s < log.time_s[-1] - own_s)
        assert signals.measured[inside].all()


def test_sensor_that_ran_only_in_part_is_flagged():
    whole, part = np.arange(3000) / 500.0, 2.0 + np.arange(1000) / 500.0
    based = to_common_clock(make_recording(make_log(whole), make_log(part, "left_foot")), *ON_CLOCK)
    assert names(based, "left_foot") == ["partly_covered"]
    assert names(based, "left_shank") == []
    covered = values_of(based, "partly_covered")
    assert covered == {"covered_from_s": 2.0, "covered_to_s": pytest.approx(3.998)}


def test_dropped_samples_are_bridged_and_counted():
    time_s = np.delete(np.arange(1000) / 500.0, [100, 300, 301, 302])
    based = to_common_clock(make_recording(make_log(time_s)), *ON_CLOCK)
    assert names(based) == ["samples_dropped"]
    dropped = values_of(based, "samples_dropped")
    assert (dropped["samples"], dropped["stretches"]) == (4, 2)
    signals = based.sites["left_shank"]
    assert np.isfinite(signals.gyro_radps).all()
    assert signals.measured[100]
    np.testing.assert_array_equal(np.flatnonzero(~signals.measured), [301])


def test_long_gap_stays_empty_and_is_placed():
    time_s = np.delete(np.arange(2000) / 500.0, np.arange(500, 700))
    based = to_common_clock(make_recording(make_log(time_s)), *ON_CLOCK)
    assert names(based) == ["gap"]
    gap = values_of(based, "gap")
    assert (gap["samples"], gap["stretches"]) == (200, 1)
    assert (gap["longest_s"], gap["longest_at_s"]) == pytest.approx((0.402, 0.998))
    signals = based.sites["left_shank"]
    np.testing.assert_array_equal(np.flatnonzero(~signals.measured), np.arange(500, 700))
    assert np.isnan(signals.accel_mps2[500:700]).all()
    assert np.isnan(signals.gyro_radps[500:700]).all()


@pytest.mark.parametrize("filler", [np.nan, 0.0])
def test_rows_of_nan_and_rows_of_zeros_are_missing_samples(filler):
    log = make_log(np.arange(1000) / 500.0)
    log.accel_mps2[400:420] = filler
    log.gyro_radps[400:420] = filler
    based = to_common_clock(make_recording(log), *ON_CLOCK)
    assert names(based) == ["gap"]
    np.testing.assert_array_equal(
        np.flatnonzero(~based.sites["left_shank"].measured), np.arange(400, 420)
    )


def test_logs_that_do_not_overlap_are_refused():
    logs = (make_log(EVEN_S), make_log(EVEN_S + 10.0, "left_foot"))
    words = (
        r"R07-01: logs do not overlap: logs/left_shank.csv \(left_shank\) covers 0 to 1.998 s and "
        r"logs/left_foot.csv \(left_foot\) covers 10 to 11.998 s"
    )
    with pytest.raises(RunError, match=words):
        to_common_clock(make_recording(*logs), *ON_CLOCK)


@pytest.mark.parametrize("clock", ["jump", "separate"])
def test_clocks_that_are_not_shared_are_refused_by_name(clock):
    logs = (make_log(EVEN_S), make_log(EVEN_S, "left_foot"))
    with pytest.raises(
        RunError, match=f'clock = "{clock}": the logs have to be brought onto one clock'
    ):
        to_common_clock(make_recording(*logs, clock=clock), *ON_CLOCK)
    # One log is on its own clock whatever the word.
    assert len(to_common_clock(make_recording(logs[0], clock=clock), *ON_CLOCK).time_s) == 1000


def test_a_run_without_logs_is_refused():
    with pytest.raises(RunError, match="run R07-01 names no log"):
        to_common_clock(make_recording(), *ON_CLOCK)
