"""Long logs: found in pieces what is found in the whole, and only that."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

import imuproc
from imuproc.core.columns import FIGURES, uncertainty_name
from imuproc.core.errors import RunError
from imuproc.core.flag_words import describe_flag
from imuproc.core.recording import Athlete, Clock, Interval, Recording, Run, SensorLog
from imuproc.core.result import Result
from imuproc.core.sites import Site
from imuproc.pipeline.overview import LongSettings, Overview, list_windows, thin
from imuproc.pipeline.run import process_each
from imuproc.pipeline.settings import Settings
from imuproc.pipeline.sources import RecordingSource
from imuproc.synth.drills import Drill
from imuproc.synth.long import make_long_motion, record_long
from imuproc.synth.runs import make_rig
from imuproc.synth.truth import Truth
from tests.pipeline.whole_runs import run_flags
from tests.simulated import change_logs, cut_log, plan_run, select_running

RATE_HZ = 200.0
DRILLS: tuple[Drill, ...] = ("high-knees", "skipping", "sitting", "heel-flicks")
IN_PIECES = Settings(long=LongSettings(longest_whole_samples=14_000, piece_samples=4_000))


@dataclass(frozen=True, eq=False)
class Trained:
    """A made-up training session in one log."""

    recording: Recording
    truths: tuple[Truth, ...]
    drills: tuple[tuple[str, float, float], ...]


@cache
def trained() -> Trained:
    """A jump, drills, three sprints and walking back between them."""
    plans = [replace(plan_run(31, "crouch", 10.0), seed=seed) for seed in (1, 2, 3)]
    rig = make_rig("mid", RATE_HZ, np.random.default_rng(4))
    motion = make_long_motion(plans, 5, DRILLS, 3.0)
    logs, truths = record_long(motion, rig, np.random.default_rng(6))
    run = Run("R00-01", start="crouch")
    shift = truths[0].valid_from_s - motion.truths[0].valid_from_s
    drills = tuple((drill, start + shift, end + shift) for drill, start, end in motion.drills)
    return Trained(Recording("s", Athlete("R00", stature_m=1.8), run, logs), truths, drills)


@cache
def whole() -> Result:
    return imuproc.process(trained().recording)


@cache
def pieced() -> Result:
    return imuproc.process(trained().recording, IN_PIECES)


def test_a_log_of_this_length_is_worked_on_in_several_parts() -> None:
    samples = len(trained().recording.logs["left_foot"].time_s)
    assert samples > 2 * IN_PIECES.long.longest_whole_samples
    assert samples < Settings().long.longest_whole_samples


@pytest.mark.parametrize("result", [whole, pieced])
def test_runs_are_found_and_nothing_else_is(result) -> None:
    steps = result().steps
    assert steps["run"].unique().tolist() == ["R00-01_1", "R00-01_2", "R00-01_3"]
    for (_, own), truth in zip(steps.groupby("run"), trained().truths, strict=True):
        assert own["side"].tolist() == select_running(truth)["side"].tolist()
        apart = own["touchdown_s"].to_numpy() - select_running(truth)["touchdown_s"].to_numpy()
        assert np.abs(apart).max() < 0.06
    assert len(trained().drills) == len(DRILLS)
    for _, start_s, end_s in trained().drills:
        assert not steps["touchdown_s"].between(start_s, end_s).any()
    assert "run_refused" not in run_flags(result())


def test_pieces_give_what_the_whole_gives() -> None:
    """The clock's points lie elsewhere within a sample, and with them every interpolated value."""
    one, other = whole().steps, pieced().steps
    pd.testing.assert_frame_equal(one[["run", "step", "side"]], other[["run", "step", "side"]])
    for name in FIGURES:
        pd.testing.assert_series_equal(one[name].isna(), other[name].isna())
        apart = (one[name] - other[name]).abs() / one[uncertainty_name(name)]
        assert not (apart > 0.3).any(), name
        assert not (apart.median() > 0.05), name
    assert run_flags(whole()) == run_flags(pieced())


@cache
def one_by_one() -> tuple[list[Result | RunError], "Counted"]:
    counted = Counted(trained().recording)
    return list(process_each(counted, IN_PIECES)), counted


def test_each_run_comes_when_it_is_ready_and_keeps_no_log() -> None:
    found, _ = one_by_one()
    assert [run.run for run in found if isinstance(run, Result)] == [
        *("R00-01_1", "R00-01_2", "R00-01_3")
    ]
    whole_bytes = sum(log.accel_mps2.nbytes for log in trained().recording.logs.values())
    for run in found:
        assert isinstance(run, Result)
        assert all(len(log.time_s) == 0 for log in run.conditioned.recording.logs.values())
        largest = max(array.nbytes for array in kept_alive(run))
        assert largest < 0.15 * whole_bytes
        assert largest <= run.conditioned.time_s.nbytes * 8


def kept_alive(part: object) -> Iterator[np.ndarray]:
    """Arrays that a result keeps in memory: of a view the whole that it is a part of."""
    if isinstance(part, np.ndarray):
        while isinstance(part.base, np.ndarray):
            part = part.base
        yield part
    elif is_dataclass(part):
        for field in fields(part):
            yield from kept_alive(getattr(part, field.name))
    elif isinstance(part, Mapping):
        for value in part.values():
            yield from kept_alive(value)


def test_the_log_is_never_in_memory_as_a_whole() -> None:
    """Of each sensor no more than a window and a piece is alive at any time."""
    found, counted = one_by_one()
    assert sum(isinstance(run, Result) for run in found) == 3
    samples = len(trained().recording.logs["left_foot"].time_s)
    assert counted.given["left_foot"] <= 2.0 * samples + 4_000 * 6


class Counted(RecordingSource):
    """Counts the samples that are asked for."""

    def __init__(self, recording: Recording) -> None:
        super().__init__(recording, 4_000)
        object.__setattr__(self, "given", {})

    def pieces(self, site: Site) -> Iterator[SensorLog]:
        for piece in super().pieces(site):
            self.given[site] = self.given.get(site, 0) + len(piece.time_s)  # type: ignore[attr-defined]
            yield piece


def moved(log: SensorLog, from_s: float, by_s: float) -> SensorLog:
    """The log with its clock set forward or back at an instant."""
    return replace(log, time_s=np.where(log.time_s >= from_s, log.time_s + by_s, log.time_s))


def test_parts_of_a_log_an_hour_apart_are_handled() -> None:
    between_s = trained().truths[1].valid_to_s + 4.0
    recording = change_logs(trained().recording, lambda log: moved(log, between_s, 3600.0))
    steps = imuproc.process(recording, IN_PIECES).steps
    assert steps["run"].unique().tolist() == ["R00-01_1", "R00-01_2", "R00-01_3"]
    later = steps["run"] == "R00-01_3"
    expected = pieced().steps["touchdown_s"] + np.where(later, 3600.0, 0.0)
    # The second run has lost the standing after it, which the last and flagged steps hang on.
    sure = ~steps["flags"].str.contains("event_unsure")
    assert (steps["touchdown_s"] - expected).abs()[sure].max() < 0.002


def one_moved(names: tuple[Site, ...], clock: Clock) -> list[Result | RunError]:
    """Runs of a log in which the clocks of some sensors jump by 0.5 s after the first run."""
    at_s = trained().truths[0].valid_to_s + 9.0

    def jumped(log: SensorLog) -> SensorLog:
        return moved(log, at_s, 0.5) if log.site in names else log

    recording = change_logs(trained().recording, jumped)
    recording = replace(recording, run=replace(recording.run, clock=clock))
    return list(process_each(RecordingSource(recording, 4_000), IN_PIECES))


@pytest.mark.parametrize("names", [("left_foot",), ("right_shank", "right_foot")])
def test_runs_after_one_clock_jumped_are_refused_and_the_run_before_is_right(names) -> None:
    found = one_moved(names, "shared")
    refused = [str(item) for item in found if isinstance(item, RunError)]
    assert len(refused) >= 2  # what else moved then, too
    assert all("do not share one clock" in text and "inf" not in text for text in refused)
    (run,) = [item for item in found if isinstance(item, Result)]
    assert np.nanmax(np.abs(run.steps["touchdown_s"] - first_run()["touchdown_s"])) < 0.03


def test_a_clock_that_jumps_after_it_was_tied_gives_no_wrong_run() -> None:
    found = one_moved(("left_foot",), "separate")
    assert any("not on one clock after they were tied" in str(item) for item in found)
    steps = pd.concat([item.steps for item in found if isinstance(item, Result)])
    steps = steps[steps["side"] == "left"]
    given = 0
    for truth in trained().truths:
        own = steps[steps["touchdown_s"].between(truth.valid_from_s - 1.0, truth.valid_to_s + 1.0)]
        real = select_running(truth).query("side == 'left'")["touchdown_s"].to_numpy()
        apart = np.abs(own["touchdown_s"].to_numpy()[:, None] - real).min(axis=1)
        assert (apart < 0.03).all()
        given += len(own) > 0
    assert given in (1, 2)


def first_run() -> pd.DataFrame:
    steps = pieced().steps
    return steps[steps["run"] == "R00-01_1"].reset_index(drop=True)


def test_a_clock_that_was_set_back_is_refused_with_the_place() -> None:
    at_s = trained().truths[1].valid_to_s + 4.0
    recording = change_logs(trained().recording, lambda log: moved(log, at_s, -120.0))
    with pytest.raises(RunError, match=r"time runs backwards from .* the clock restarted"):
        imuproc.process(recording, IN_PIECES)


def test_a_few_wrong_stamps_cost_nothing() -> None:
    def spoilt(log: SensorLog) -> SensorLog:
        time_s = log.time_s.copy()
        time_s[[500, 9_000, 9_001, 30_000]] = [0.0, 1e9, np.nan, 5.0]
        return replace(log, time_s=time_s)

    steps = imuproc.process(change_logs(trained().recording, spoilt), IN_PIECES).steps
    assert steps["run"].unique().tolist() == ["R00-01_1", "R00-01_2", "R00-01_3"]
    assert (steps["touchdown_s"] - pieced().steps["touchdown_s"]).abs().max() < 0.002


def test_a_sensor_that_gave_up_is_missing_from_then_on_only() -> None:
    end_s = trained().truths[0].valid_to_s + 5.0

    def cut(log: SensorLog) -> SensorLog:
        return cut_log(log, 0.0, end_s) if log.site == "right_shank" else log

    result = imuproc.process(change_logs(trained().recording, cut), IN_PIECES)
    shin = result.steps[result.steps["side"] == "right"].groupby("run")["shin_angle_touchdown_deg"]
    assert shin.count().tolist()[0] > 0
    assert shin.count().tolist()[1:] == [0, 0]
    assert "partly_covered" in run_flags(result)


def test_a_bad_stretch_costs_its_own_run_only() -> None:
    first = trained().truths[0]

    def zeroed(log: SensorLog) -> SensorLog:
        gyro = log.gyro_radps.copy()
        inside = (log.time_s > first.valid_from_s - 80.0) & (log.time_s < first.valid_to_s + 5.0)
        gyro[inside] *= 57.3  # as if a unit had changed on the way
        return replace(log, gyro_radps=gyro)

    found = list(
        process_each(RecordingSource(change_logs(trained().recording, zeroed), 4_000), IN_PIECES)
    )
    refused = [str(item) for item in found if isinstance(item, RunError)]
    assert len(refused) >= 1
    assert "angular velocity reaches" in refused[0]
    assert refused[0].startswith("from ")
    # An error that was caught would keep all that was worked on when it was raised.
    assert all(item.__traceback__ is None for item in found if isinstance(item, RunError))
    assert any(isinstance(item, Result) for item in found)


def spoilt_in_places(log: SensorLog) -> SensorLog:
    """Clipped in the second run and by a knock outside, a spike in the third, losses in the first.

    Each at another sensor, but for the knock, which all see.
    """
    middles_s = [0.5 * (t.valid_from_s + t.valid_to_s) for t in trained().truths]
    first, second, third = (int(np.searchsorted(log.time_s, at_s)) for at_s in middles_s)
    knock = int(np.searchsorted(log.time_s, trained().truths[0].valid_to_s + 9.0))
    gyro, accel, time_s = log.gyro_radps.copy(), log.accel_mps2.copy(), log.time_s.copy()
    most = 1.02 * np.abs(gyro).max()
    gyro[knock : knock + 3, 0] = most
    kept = np.ones(len(gyro), dtype=bool)
    if log.site == "left_shank":
        gyro[second : second + 2, 1] = most
    if log.site == "right_foot":
        accel[third, 2] += 400.0
    if log.site == "right_shank":
        kept[first : first + 2] = kept[first + 20] = False
        time_s[first + 40] = time_s[first + 39]
    out = replace(log, time_s=time_s, gyro_radps=gyro, accel_mps2=accel, gyro_range_radps=most)
    return replace(out, accel_range_mps2=None).take(kept)


def test_a_run_carries_flags_of_its_own_samples_only_however_the_log_was_read() -> None:
    recording = change_logs(trained().recording, spoilt_in_places)
    told = []
    for settings in (Settings(), IN_PIECES):
        flags = imuproc.process(recording, settings).flags
        told.append({(f.run, f.name, f.site, describe_flag(f)) for f in flags if f.step is None})
    assert told[0] == told[1]
    named = ("gyro_clipped", "spikes", "samples_dropped", "duplicate_stamps", "gap")
    own = sorted(flag[:3] for flag in told[0] if flag[1] in named)
    assert own == [
        ("R00-01_1", "duplicate_stamps", "right_shank"),
        ("R00-01_1", "samples_dropped", "right_shank"),
        ("R00-01_2", "gyro_clipped", "left_shank"),
        ("R00-01_3", "samples_dropped", "right_foot"),  # the spike
        ("R00-01_3", "spikes", "right_foot"),
    ]
    details = {flag[1:3]: flag[3] for flag in told[0]}
    log = recording.logs["left_shank"]
    truth = trained().truths[1]
    clipped_s = log.time_s[np.abs(log.gyro_radps).max(axis=1) >= log.gyro_range_radps]
    (first_s, _) = clipped_s[clipped_s > truth.valid_from_s]
    clipped = details["gyro_clipped", "left_shank"]
    assert clipped == f"2 samples in 1 stretch, first at {first_s:.10g} s"
    dropped = details["samples_dropped", "right_shank"]
    assert dropped == "3 samples missing in 2 places, bridged"


def test_a_long_log_of_standing_says_that_there_is_no_run() -> None:
    recording = trained().recording
    start_s = recording.logs["left_foot"].time_s[0]
    calm = change_logs(recording, lambda log: cut_log(log, start_s, start_s + 1.5))

    def again(log: SensorLog) -> SensorLog:
        rows = np.arange(30_000) % len(log.time_s)
        time_s = start_s + np.arange(30_000) / RATE_HZ
        return replace(
            log, time_s=time_s, accel_mps2=log.accel_mps2[rows], gyro_radps=log.gyro_radps[rows]
        )

    with pytest.raises(RunError, match="no sprint steps found in run R00-01"):
        imuproc.process(change_logs(calm, again), IN_PIECES)


def test_a_long_log_in_the_wrong_unit_is_told_so() -> None:
    heavy = change_logs(
        trained().recording, lambda log: replace(log, accel_mps2=log.accel_mps2 / 9.80665)
    )
    with pytest.raises(RunError, match="probably in g, but were read as m/s"):
        imuproc.process(heavy, IN_PIECES)


def test_thinned_signals_are_means_on_the_logs_clock_whatever_the_pieces() -> None:
    log = trained().recording.logs["left_foot"]
    settings = LongSettings()
    (one,), rate_hz = thin(
        RecordingSource(trained().recording, 10**7).pieces("left_foot"), settings
    )
    (other,), _ = thin(RecordingSource(trained().recording, 997).pieces("left_foot"), settings)
    assert rate_hz == pytest.approx(RATE_HZ, rel=0.01)
    np.testing.assert_allclose(one.gyro_radps, other.gyro_radps, atol=1e-9)
    inside = (log.time_s >= one.time_s[700] - 0.005) & (log.time_s < one.time_s[700] + 0.005)
    np.testing.assert_allclose(one.accel_mps2[700], log.accel_mps2[inside].mean(axis=0))


def test_runs_near_each_other_share_a_window_and_each_run_has_one_owner() -> None:
    starts = [100.0, 160.0, 220.0, 900.0, 1000.0]
    overview = Overview(tuple(Interval(s, s + 10.0) for s in starts), 1000.0)
    windows = list_windows(overview, LongSettings(longest_whole_samples=300_000))
    assert [round(window.read.start_s) for window in windows] == [30, 830]
    for start_s in starts:
        owners = [w for w in windows if w.own.start_s <= start_s + 5.0 < w.own.end_s]
        assert len(owners) == 1
        assert owners[0].read.start_s + 60.0 < start_s < owners[0].read.end_s - 70.0
    apart = list_windows(overview, LongSettings(longest_whole_samples=1000))
    assert len(apart) == len(starts)
