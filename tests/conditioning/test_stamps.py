"""Every defect of time stamps is repaired and said, or refused with its place."""

import numpy as np
import pytest

from imuproc.conditioning.timebase import to_common_clock
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


def test_jitter_is_flagged_only_when_large():
    rng = np.random.default_rng(1)
    even = np.arange(2000) / 500.0
    small, large = (even + rng.uniform(-share, share, 2000) / 500.0 for share in (0.05, 0.3))
    assert names(to_common_clock(make_recording(make_log(small)), *ON_CLOCK)) == []
    based = to_common_clock(make_recording(make_log(large)), *ON_CLOCK)
    assert names(based) == ["irregular_stamps"]
    # SD of a uniform law of width 0.6 and of the difference of two of them, in % of the period.
    assert values_of(based, "irregular_stamps")["spread_pct"] == pytest.approx(
        100.0 * 0.6 * np.sqrt(2.0 / 12.0), rel=0.05
    )


def test_stamps_rounded_to_milliseconds_do_not_shift_the_rate():
    time_s = np.round(np.arange(2000) / 400.0, 3)
    based = to_common_clock(make_recording(make_log(time_s)), *ON_CLOCK)
    assert based.rate_hz == pytest.approx(400.0, rel=1e-3)


def test_one_stamp_per_packet_is_spread_over_its_samples():
    elapsed_s = np.arange(2000) / 500.0
    log = make_log(np.arange(2000) // 8 * 0.016, elapsed_s=elapsed_s)
    based = to_common_clock(make_recording(log), *ON_CLOCK)
    assert names(based) == ["duplicate_stamps"]
    assert based.rate_hz == pytest.approx(500.0, rel=1e-6)
    assert error_at_measured(based, "left_shank", 0.0) < interpolation_bound(0.002, 500.0)


def test_packets_of_varying_size_leave_no_gaps():
    elapsed_s = np.arange(2000) / 500.0
    sizes = np.random.default_rng(2).choice([7, 8, 9], 300)
    packet = np.repeat(np.cumsum(sizes) - sizes, sizes)[:2000]
    # The clock of the packets runs on evenly, as when a radio sends at fixed times.
    stamps = 0.016 * np.unique(packet, return_inverse=True)[1]
    based = to_common_clock(make_recording(make_log(stamps, elapsed_s=elapsed_s)), *ON_CLOCK)
    assert "gap" not in names(based)
    assert "samples_dropped" not in names(based)
    assert based.sites["left_shank"].measured.all()


def test_one_repeated_stamp_is_put_back_where_it_belongs():
    elapsed_s = np.arange(1000) / 500.0
    stamps = elapsed_s.copy()
    stamps[500] = stamps[499]
    based = to_common_clock(make_recording(make_log(stamps, elapsed_s=elapsed_s)), *ON_CLOCK)
    assert values_of(based, "duplicate_stamps")["samples"] == 1
    assert error_at_measured(based, "left_shank", 0.0) < interpolation_bound(0.002, 500.0)


def test_rows_written_twice_count_once():
    log = make_log(np.repeat(np.arange(1000) / 500.0, 2))
    based = to_common_clock(make_recording(log), *ON_CLOCK)
    assert names(based) == ["duplicate_stamps"]
    assert based.rate_hz == pytest.approx(500.0, rel=1e-6)
    assert len(based.time_s) == 1000


@pytest.mark.parametrize(
    ("at", "wrong_s"),
    [
        ([500], [0.0]),  # one back to the start
        ([500, 501, 502], [0.1, 0.102, 0.104]),  # three back
        ([500], [9e9]),  # one far ahead
        ([0], [-1e9]),  # first stamp before the clock was set
        ([999], [1e9]),  # last one far ahead
        ([999], [0.0]),  # last one back
        ([200, 600], [0.0, 77.0]),
    ],
)
def test_a_few_wrong_stamps_are_dropped_and_said(at, wrong_s):
    elapsed_s = np.arange(1000) / 500.0
    stamps = elapsed_s.copy()
    stamps[at] = wrong_s
    based = to_common_clock(make_recording(make_log(stamps, elapsed_s=elapsed_s)), *ON_CLOCK)
    assert "bad_stamps" in names(based)
    assert set(names(based)) <= {"bad_stamps", "samples_dropped"}
    assert values_of(based, "bad_stamps")["samples"] == len(at)
    assert len(based.time_s) in (999, 1000)
    assert error_at_measured(based, "left_shank", 0.0) < interpolation_bound(0.008, 500.0)


def test_swapped_rows_lose_one_sample_only():
    elapsed_s = np.arange(1000) / 500.0
    elapsed_s[[400, 401]] = elapsed_s[[401, 400]]
    based = to_common_clock(make_recording(make_log(elapsed_s)), *ON_CLOCK)
    assert values_of(based, "bad_stamps")["samples"] == 1
    assert error_at_measured(based, "left_shank", 0.0) < interpolation_bound(0.004, 500.0)


def test_stamps_that_are_no_numbers_lose_their_samples():
    elapsed_s = np.arange(1000) / 500.0
    stamps = elapsed_s.copy()
    stamps[[10, 700, 701]] = np.nan
    based = to_common_clock(make_recording(make_log(stamps, elapsed_s=elapsed_s)), *ON_CLOCK)
    dropped = values_of(based, "bad_stamps")
    assert (dropped["samples"], dropped["stretches"]) == (3, 2)
    assert dropped["why"] == "without a stamp"
    assert error_at_measured(based, "left_shank", 0.0) < interpolation_bound(0.006, 500.0)


EVEN_S = np.arange(1000) / 500.0


@pytest.mark.parametrize(
    ("stamps", "words"),
    [
        (
            np.concatenate((EVEN_S, EVEN_S)),
            r"logs/left_shank.csv \(left_shank\): time runs backwards at sample 1001, from 1.998 s "
            r"to 0 s.*Split the log there",
        ),
        # Set back by 7 ms: dropping samples would leave all later stamps wrong.
        (
            np.concatenate((EVEN_S, EVEN_S + 1.993)),
            r"time runs backwards at sample 1001, from 1.998 s to 1.993 s.*was set back",
        ),
        (EVEN_S[::-1], "time runs backwards at 999 of 1000 samples.*in the order"),
        (np.zeros(1000), "fewer than two usable time stamps in 1000 samples"),
        (np.full(1000, np.nan), "fewer than two usable time stamps in 1000 samples"),
        (EVEN_S[:1], "fewer than two usable time stamps in 1 sample"),
        (EVEN_S[:0], "fewer than two usable time stamps in 0 samples"),
        (
            np.concatenate((EVEN_S, EVEN_S + 1e6)),
            "time leaps from 1.998 s to 1000000 s.*unit of the time column",
        ),
        (
            np.repeat(np.arange(0.0, 4.0, 0.016), 8) + np.tile(np.arange(8) * 1e-4, 250),
            "stamps come in bursts.*State rate_hz in the layout",
        ),
    ],
    ids=["restart", "set-back", "reversed", "still", "nan", "one", "empty", "leap", "bursts"],
)
def test_stamps_that_cannot_be_used_are_refused_with_the_place(stamps, words):
    log = make_log(stamps, elapsed_s=np.arange(len(stamps)) / 500.0)
    with pytest.raises(RunError, match=words):
        to_common_clock(make_recording(log), *ON_CLOCK)


def test_stamps_that_err_are_evened_where_the_samples_were_taken_evenly():
    elapsed_s = np.arange(2000) / 500.0
    noise_s = np.random.default_rng(4).normal(0.0, 0.3, 2000) / 500.0
    stamps = np.maximum.accumulate(elapsed_s + noise_s)
    based = to_common_clock(make_recording(make_log(stamps, elapsed_s=elapsed_s)), *ON_CLOCK)
    assert values_of(based, "irregular_stamps")["evened"] is True
    # As stamped, single samples are more than a period off; half of one is left at most.
    assert error_at_measured(based, "left_shank", 0.0) < 0.5 * 0.002 * steepness(1)


def test_samples_that_were_really_taken_unevenly_keep_their_stamps():
    jitter_s = np.random.default_rng(5).uniform(-0.3, 0.3, 2000) / 500.0
    based = to_common_clock(make_recording(make_log(np.arange(2000) / 500.0 + jitter_s)), *ON_CLOCK)
    assert values_of(based, "irregular_stamps")["evened"] is False
