"""Verdicts and figures of the check, for sensors that lie, are worn in standing, and in runs."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.checks.findings import CheckReport
from imuproc.checks.recording import LogToCheck, check_recording, check_sensor_logs
from imuproc.checks.settings import CheckSettings
from imuproc.core.errors import LogError
from imuproc.core.flag_list import FLAGS
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.synth.sensors.imperfect import GRADES
from imuproc.synth.sensors.repeated_samples import repeat_in_swing
from tests.checks.made import (
    all_reasons,
    lying,
    running,
    sensor,
    serious,
    spoiled,
    standing,
    with_log,
)

MICRO_G = 1e-6 * STANDARD_GRAVITY_MPS2


@pytest.mark.parametrize("grade", ["mid", "low"])
def test_noise_of_sensors_that_lie_is_the_one_they_were_made_with(grade: str) -> None:
    report = check_recording(lying(grade))
    assert report.runs == ()
    for one in report.sensors:
        assert one.still.kind == "lying"
        assert one.still.still_s == pytest.approx(30.0, abs=0.2)
        gyro = np.degrees(one.still.gyro_noise_radps_rthz)
        assert gyro == pytest.approx(GRADES[grade].gyro_noise_dps_rthz, rel=0.1)
        accel = one.still.accel_noise_mps2_rthz / MICRO_G
        assert accel == pytest.approx(GRADES[grade].accel_noise_ug_rthz, rel=0.1)
        by_allan = np.degrees(one.still.gyro_allan.white_noise)
        assert by_allan == pytest.approx(GRADES[grade].gyro_noise_dps_rthz, rel=0.1)


def test_mid_sensors_that_lie_are_fit() -> None:
    report = check_recording(lying("mid"))
    assert report.verdict == "fit"
    assert serious(report) == []
    assert all(one.sampling.rate_hz == pytest.approx(400.0, rel=1e-6) for one in report.sensors)


def test_bias_instability_waits_for_a_longer_log() -> None:
    reading = sensor(check_recording(lying("mid")), "left_foot").still.gyro_allan
    assert np.isnan(reading.bias_instability)
    assert np.degrees(reading.bias_instability_at_most) * 3600.0 < 100.0


def test_low_sensors_are_told_their_small_range_and_their_offset() -> None:
    report = check_recording(lying("low"))
    assert report.verdict == "fit with limits"
    texts = [reason.text for reason in sensor(report, "left_foot").reasons]
    assert any("range of 16 g is small for sprinting on a foot" in text for text in texts)


def test_standing_is_told_from_lying_and_its_sway_is_not_taken_for_noise() -> None:
    report = check_recording(standing())
    assert report.verdict == "fit"
    for one in report.sensors:
        assert one.still.kind != "lying"
        assert np.degrees(one.still.gyro_noise_radps_rthz) == pytest.approx(0.01, rel=0.3)
        assert np.isnan(one.still.gyro_allan.white_noise)


def test_a_run_with_good_sensors_is_fit_and_seen() -> None:
    report = check_recording(running())
    assert len(report.runs) == 1
    assert [r for r in serious(report) if r.flag_name != "accel_clipped"] == []
    for one in report.sensors:
        assert one.still.kind == "worn"
        # Bias of 15 mg and scale of 0.5 % (both SD) on three axes.
        assert one.still.gravity_mps2 == pytest.approx(9.81, abs=0.6)
        assert np.degrees(one.standing_differs_rad) < 4.0
    foot = sensor(report, "left_foot")
    assert foot.clock.against == "left_shank"
    assert abs(foot.clock.offset_s) < 0.005


@pytest.mark.parametrize(("grade", "seed"), [("ideal", 5), ("mid", 6), ("low", 7)])
def test_no_run_with_sensors_in_order_is_called_not_fit(grade: str, seed: int) -> None:
    assert check_recording(running(grade, seed)).verdict != "not fit"


@pytest.mark.parametrize(
    ("kind", "level", "flag", "verdict"),
    [
        ("accel_clipping", 2, "accel_clipped", "fit with limits"),
        ("gyro_clipping", 1, "gyro_clipped", "fit with limits"),
        ("gyro_clipping_unstated", 1, "gyro_clipped", "fit with limits"),
        ("gaps", 2, "gap", "fit with limits"),
        ("drops", 1, "gap", "fit with limits"),
        ("drops", 0, "samples_dropped", None),
        ("jitter", 1, "irregular_stamps", "fit with limits"),
        ("duplicates", 2, "duplicate_stamps", None),
        ("low_rate", 1, "low_rate", "fit with limits"),
        ("spikes", 2, "spikes", "fit with limits"),
        ("stuck", 2, "stuck_channel", "not fit"),
        ("slow_clock", 2, "clock_differs", "not fit"),
        ("slip", 2, "sensor_slipped", "fit with limits"),
        ("wrong_names", 0, "segments_swapped", "not fit"),
        ("wrong_names", 1, "sides_swapped", "not fit"),
    ],
)
def test_each_trouble_is_named(kind: str, level: int, flag: str, verdict: str | None) -> None:
    report = check_recording(spoiled(kind, level, running()))
    named = {reason.flag_name for reason in all_reasons(report)}
    assert flag in named
    assert flag in FLAGS
    assert named - {""} <= set(FLAGS)
    assert all(r.text[0] == r.text[0].upper() and r.text.endswith(".") for r in all_reasons(report))
    if verdict is not None:
        own = [r.severity for r in all_reasons(report) if r.flag_name == flag]
        assert ("unfit" in own) == (verdict == "not fit")
        assert report.verdict in (verdict, "not fit")


def test_exchanged_logs_of_a_leg_are_both_not_fit_and_the_other_leg_is() -> None:
    report = check_recording(spoiled("wrong_names", 0, running()))
    swapped = [s for s in report.sensors if "segments_swapped" in {r.flag_name for r in s.reasons}]
    assert {one.site for one in swapped} in (
        {"left_shank", "left_foot"},
        {"right_shank", "right_foot"},
    )
    assert {one.verdict for one in swapped} == {"not fit"}
    assert "not fit" not in {one.verdict for one in report.sensors if one not in swapped}


def test_a_wrong_unit_is_not_fit_and_says_which_was_meant() -> None:
    log = lying().logs["left_foot"]
    accel = log.accel_mps2 / STANDARD_GRAVITY_MPS2
    report = check_recording(with_log(lying(), "left_foot", accel_mps2=accel))
    bad = sensor(report, "left_foot")
    assert bad.verdict == "not fit"
    assert "probably in g, but were read as m/s^2" in bad.reasons[0].text
    assert {one.verdict for one in report.sensors if one.site != "left_foot"} == {"fit"}


def test_gravity_that_is_a_little_off_is_a_limit() -> None:
    accel = lying().logs["right_shank"].accel_mps2 * 1.1
    one = sensor(check_recording(with_log(lying(), "right_shank", accel_mps2=accel)), "right_shank")
    assert (one.verdict, one.reasons[0].flag_name) == ("fit with limits", "gravity_off")


@pytest.mark.parametrize(
    ("noise_dps_rthz", "verdict", "words"),
    [
        (0.1, "fit with limits", "gyroscope's noise at rest is 0.1 deg/s/√Hz"),
        (0.21, "not fit", "gyroscope's noise at rest is 0.2"),
        (1.0, "fit with limits", "never still for long"),
    ],
)
def test_a_noisy_gyroscope_is_named(noise_dps_rthz: float, verdict: str, words: str) -> None:
    log = lying().logs["left_shank"]
    noise = np.radians(noise_dps_rthz) * np.sqrt(400.0)
    gyro = log.gyro_radps + noise * np.random.default_rng(1).normal(size=log.gyro_radps.shape)
    one = sensor(check_recording(with_log(lying(), "left_shank", gyro_radps=gyro)), "left_shank")
    assert one.verdict == verdict
    assert words in one.reasons[0].text


def test_one_log_under_two_names_is_not_fit() -> None:
    recording = lying()
    twice = replace(recording.logs["left_foot"], site="right_foot")
    report = check_recording(replace(recording, logs={**recording.logs, "right_foot": twice}))
    assert report.verdict == "not fit"
    assert "hold the same samples" in report.reasons[0].text


def test_an_axis_that_keeps_its_value_while_nothing_moves_is_asked_about() -> None:
    accel = lying().logs["left_foot"].accel_mps2.copy()
    accel[:, 1] = accel[0, 1]
    one = sensor(check_recording(with_log(lying(), "left_foot", accel_mps2=accel)), "left_foot")
    assert one.verdict == "fit with limits"
    assert "axis y kept one value while nothing moved" in one.reasons[0].text


def test_a_sensor_that_was_off_is_not_fit() -> None:
    gyro = np.zeros_like(lying().logs["left_foot"].gyro_radps)
    one = sensor(check_recording(with_log(lying(), "left_foot", gyro_radps=gyro)), "left_foot")
    assert one.verdict == "not fit"
    assert "reads zero throughout" in one.reasons[0].text


def test_an_accelerometer_that_was_off_is_not_called_a_gap() -> None:
    accel = np.zeros_like(lying().logs["left_foot"].accel_mps2)
    one = sensor(check_recording(with_log(lying(), "left_foot", accel_mps2=accel)), "left_foot")
    assert one.reasons[0].text.startswith("Accelerometer reads zero throughout")
    assert "(1e+02 %)" in one.reasons[1].text or "(100 %)" in one.reasons[1].text


def test_a_log_without_values_is_not_said_to_have_no_stamps() -> None:
    none = np.full_like(lying().logs["left_foot"].accel_mps2, np.nan)
    one = sensor(check_recording(with_log(lying(), "left_foot", accel_mps2=none)), "left_foot")
    assert "No sample has all its values, of 12000." in one.reasons[0].text


def test_a_log_that_is_too_short_is_told_its_duration() -> None:
    logs = {site: log.take(slice(40)) for site, log in lying().logs.items()}
    report = check_recording(replace(lying(), logs=logs))
    assert {one.verdict for one in report.sensors} == {"not fit"}
    assert all("0.1 s of samples; at least 1 s" in reason.text for reason in serious(report))


def test_logs_that_do_not_overlap_are_told() -> None:
    late = lying().logs["left_foot"].time_s + 500.0
    report = check_recording(with_log(lying(), "left_foot", time_s=late))
    assert report.verdict == "not fit"
    assert "do not overlap in time" in report.reasons[0].text


def test_a_rate_that_is_wrong_for_all_is_not_fit() -> None:
    logs = {s: replace(log, time_s=1.06 * log.time_s) for s, log in running().logs.items()}
    report = check_recording(replace(running(), logs=logs))
    assert report.verdict == "not fit"
    assert "rate_differs" in {reason.flag_name for reason in all_reasons(report)}


def test_a_clock_that_ran_backwards_costs_its_own_sensor_only() -> None:
    time_s = lying().logs["left_foot"].time_s.copy()
    time_s[6000:] -= 12.0
    report = check_recording(with_log(lying(), "left_foot", time_s=time_s))
    assert sensor(report, "left_foot").verdict == "not fit"
    assert "runs backwards" in sensor(report, "left_foot").reasons[0].text
    assert sensor(report, "right_foot").verdict == "fit"


def test_a_log_that_is_cut_short_is_told_by_its_own_sensor() -> None:
    report = check_recording(with_log(lying(), "left_foot", cut_short="line 9 breaks off"))
    (reason,) = [r for r in sensor(report, "left_foot").reasons if r.flag_name == "log_cut_short"]
    assert reason.severity == "limit"
    assert "(line 9 breaks off)" in reason.text
    flags = {r.flag_name for s in report.sensors if s.site != "left_foot" for r in s.reasons}
    assert "log_cut_short" not in flags


def with_broken_off(error: Exception) -> CheckReport:
    """Two logs, of which one raises an error after its first piece."""
    recording = lying()

    def broken():
        yield recording.logs["left_foot"]
        raise error

    logs = [
        LogToCheck("left_foot", "logs/x.csv", broken),
        LogToCheck("right_foot", "right_foot", lambda: iter([recording.logs["right_foot"]])),
    ]
    return check_sensor_logs(replace(recording, logs={}), logs)


def test_a_log_that_breaks_off_with_an_error_has_its_reason_and_the_others_go_on() -> None:
    error = LogError("logs/x.csv (left_foot): line 9: found nothing; allowed: numbers")
    report = with_broken_off(error)
    assert [one.verdict for one in report.sensors] == ["not fit", "fit"]
    assert report.sensors[0].reasons[0].text == "Line 9: found nothing; allowed: numbers."


def test_a_fault_of_our_own_costs_one_log_and_says_where_it_is() -> None:
    report = with_broken_off(ZeroDivisionError("no such\nnumber"))
    assert [one.verdict for one in report.sensors] == ["not fit", "fit"]
    reason = report.sensors[0].reasons[0]
    said = "The check stopped with an unexpected ZeroDivisionError: no such number (test_recording"
    assert reason.text.startswith(said)
    assert "report it" in reason.advice


def test_a_fault_of_our_own_behind_the_logs_costs_one_run(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise KeyError("left_foot")

    monkeypatch.setattr("imuproc.checks.recording.check_together", broken)
    report = check_recording(lying())
    assert report.verdict == "not fit"
    assert report.reasons[0].text.startswith("The check stopped with an unexpected KeyError: 'left")


def test_pieces_give_the_same_as_the_whole() -> None:
    whole = check_recording(running())
    pieces = check_recording(running(), settings=CheckSettings(piece_samples=1777))
    for a, b in zip(whole.sensors, pieces.sensors, strict=True):
        assert a.sampling == b.sampling
        assert (a.accel, a.gyro, a.verdict) == (b.accel, b.gyro, b.verdict)
        assert a.still.still_s == pytest.approx(b.still.still_s, abs=0.02)


@pytest.mark.parametrize("kind", ["spikes", "stuck"])
def test_all_pieces_are_told_of_what_was_left_out(kind: str) -> None:
    recording = spoiled(kind, 2, running())
    told = []
    for settings in (CheckSettings(), CheckSettings(piece_samples=1777)):
        reasons = all_reasons(check_recording(recording, settings=settings))
        told.append({r.text for r in reasons if r.flag_name in ("spikes", "stuck_channel")})
    assert told[0] == told[1]
    assert len(told[0]) > 0


@pytest.mark.parametrize("piece_samples", [400_000, 1777])
def test_samples_that_are_only_repeated_are_lost(piece_samples: int) -> None:
    log = running().logs["left_foot"]
    held = repeat_in_swing(log, 0.06, np.random.default_rng(6))
    repeated = int(np.count_nonzero((held.gyro_radps != log.gyro_radps).any(axis=1)))
    report = check_recording(
        with_log(running(), "left_foot", gyro_radps=held.gyro_radps, accel_mps2=held.accel_mps2),
        settings=CheckSettings(piece_samples=piece_samples),
    )
    before = sensor(check_recording(running()), "left_foot").sampling.missing
    assert repeated > 10
    assert sensor(report, "left_foot").sampling.missing == before + repeated


def test_a_stated_rate_is_said_to_be_unchecked() -> None:
    report = check_recording(lying(), stated_rate_hz={"left_foot": 400.0})
    one = sensor(report, "left_foot")
    assert one.sampling.stated_rate_hz == 400.0
    assert any("no time column" in reason.text for reason in one.reasons)


def test_separate_clocks_without_a_jump_leave_a_leg_alone() -> None:
    recording = running()
    run = replace(recording.run, clock="separate")
    shifted = {
        site: replace(log, time_s=log.time_s + (33.0 if site.startswith("right") else 0.0))
        for site, log in recording.logs.items()
    }
    report = check_recording(replace(recording, run=run, logs=shifted))
    assert report.verdict == "fit with limits"
    assert {r.flag_name for r in sensor(report, "right_foot").reasons} >= {"clock_separate"}
    assert "clock_separate" not in {r.flag_name for r in sensor(report, "left_foot").reasons}


def test_a_clock_that_is_a_minute_off_is_told_in_seconds() -> None:
    late = running().logs["left_foot"].time_s + 60.0
    report = check_recording(with_log(running(), "left_foot", time_s=late))
    texts = [r.text for r in sensor(report, "left_foot").reasons if r.flag_name == "clock_differs"]
    assert len(texts) == 1
    assert texts[0].startswith("Its clock is not that of left shank: +60.0 s")
