"""How far a sensor gets from stride to stride: in sprints, on a belt, in drills on the spot."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from imuproc.core.recording import SensorLog
from imuproc.core.sites import SITES, Site
from imuproc.events.progress import ProgressSettings, Track, measure_stride_lengths
from imuproc.events.runs import RunSettings, find_runs
from imuproc.synth.drills import Drill, make_drill
from imuproc.synth.runs import make_rig
from imuproc.synth.sensors.imperfect import sample_log
from tests.events.real_runs import EVERY_FIFTH, real_run
from tests.shared_data import SHARED_DATA, needs_shared_data
from tests.simulated import USUAL, make_run, plan_run, select_running

SETTINGS = ProgressSettings()
FIXED: tuple[Drill, ...] = ("high-knees", "heel-flicks", "cycling", "skips")


def track(log: SensorLog) -> Track:
    """A log with regular stamps as a track."""
    rate_hz = 1.0 / float(np.median(np.diff(log.time_s)))
    return Track(log.time_s, rate_hz, log.gyro_radps, log.accel_mps2)


@cache
def drill_logs(drill: Drill, seed: int, rate_hz: float = 200.0) -> dict[Site, SensorLog]:
    rng = np.random.default_rng(seed)
    bones = make_drill(plan_run(40 + seed), drill, 6.0, rng)
    rig = make_rig("mid", rate_hz, rng)
    return {
        site: sample_log(bones[site], mount, site, rig.model, rig.stamps[site], rng)
        for site, mount in rig.mounts.items()
    }


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("drill", FIXED)
def test_drills_that_swing_the_legs_like_running_are_no_run(drill: Drill, seed: int) -> None:
    for kind in ("foot", "shank"):
        logs = {site: log for site, log in drill_logs(drill, seed).items() if site.endswith(kind)}
        blind = {
            site: [replace(track(log), accel_mps2=np.full_like(log.accel_mps2, np.nan))]
            for site, log in logs.items()
        }
        seen = {site: [track(log)] for site, log in logs.items()}
        assert len(find_runs(blind, RunSettings())) == 1  # the swings alone would pass
        assert find_runs(seen, RunSettings()) == ()


def test_a_foot_in_a_drill_gains_what_it_was_made_to() -> None:
    lengths_m = measure_stride_lengths(
        track(drill_logs("heel-flicks", 1)["left_foot"]), "left_foot", SETTINGS
    )
    assert len(lengths_m) > 8
    assert np.median(lengths_m) == pytest.approx(0.40, abs=0.03)


def test_strides_of_a_sprint_are_as_long_as_they_were_made() -> None:
    recording, truth = make_run(USUAL)
    steps = select_running(truth)
    pair_m = steps["step_length_m"].to_numpy()[:-1] + steps["step_length_m"].to_numpy()[1:]
    for site in SITES[:4]:
        found_m = measure_stride_lengths(track(recording.logs[site]), site, SETTINGS)
        assert np.quantile(found_m, 0.75) > 0.8 * np.nanmedian(pair_m)
        assert found_m.max() < 1.15 * np.nanmax(pair_m)


def test_a_stride_with_missing_samples_is_left_out() -> None:
    log = make_run(USUAL)[0].logs["left_foot"]
    whole = track(log)
    gyro = whole.gyro_radps.copy()
    gyro[len(gyro) // 2 :] = np.nan
    kept = measure_stride_lengths(replace(whole, gyro_radps=gyro), "left_foot", SETTINGS)
    assert 0 < len(kept) < len(measure_stride_lengths(whole, "left_foot", SETTINGS))


@needs_shared_data
@pytest.mark.parametrize("name", EVERY_FIFTH)
def test_real_running_covers_its_strides(name: str) -> None:
    """Belt speed times stride time (Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298)."""
    recording, truth = real_run(name)
    speed_mps = float(name.rsplit("-", 1)[1])
    own = truth.steps[truth.steps["side"] == "left"]["touchdown_s"]
    stride_m = speed_mps * float(own.diff().median())
    feet = measure_stride_lengths(track(recording.logs["left_foot"]), "left_foot", SETTINGS)
    assert np.median(feet) == pytest.approx(stride_m, rel=0.08)
    shanks = measure_stride_lengths(track(recording.logs["left_shank"]), "left_shank", SETTINGS)
    assert np.quantile(shanks, 0.75) > RunSettings().shank_stride_m


@needs_shared_data
@pytest.mark.parametrize(
    ("trial", "jogged"),
    [("2017-11-22-11-25-20", False), ("2017-11-27-11-11-24", True), ("2017-11-27-11-17-28", True)],
)
def test_real_jogging_is_a_run_and_real_walking_is_none(trial: str, jogged: bool) -> None:
    """Stride lengths by an optical system (Wagstaff et al., 10.21227/v1z6-9z84): 1.1 to 1.4 m."""
    with np.load(SHARED_DATA / "foot_imu_jogging" / f"{trial}.npz") as data:
        time_s, gyro, accel = data["time_s"], data["gyr_radps"], data["acc_mps2"]
    clock_s = np.arange(time_s[0], time_s[-1], 0.005)

    def regular(values: np.ndarray) -> np.ndarray:
        return np.stack([np.interp(clock_s, time_s, values[:, k]) for k in range(3)], axis=1)

    foot = {"right_foot": [Track(clock_s, 200.0, regular(gyro), regular(accel))]}
    assert bool(find_runs(foot, RunSettings())) is jogged  # type: ignore[arg-type]
