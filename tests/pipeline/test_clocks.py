"""Recordings on several clocks: what is still said, what is withheld, and that it is noticed."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

import imuproc
from imuproc.core.recording import Athlete, Recording, Run
from imuproc.core.result import Result
from imuproc.core.sites import SITES
from imuproc.synth.sensors.imperfect import GRADES
from scripts.lab import optical_running, real_motion
from tests.conditioning.made_clocks import Clock, drawn, made, stamped
from tests.shared_data import needs_shared_data
from tests.simulated import compute_errors, list_flag_names, select_running

BETWEEN_LEGS = ("flight_time_s", "step_time_s", "step_frequency_hz", "step_length_m", "speed_mps")
OWN = ("contact_time_s", "shin_angle_touchdown_deg", "foot_pitch_touchdown_deg")


def recording(logs, clock) -> Recording:
    return Recording("made", Athlete("R07", stature_m=1.75), Run("R07-01", clock=clock), logs)


@cache
def shared() -> Result:
    return imuproc.process(recording(made(2, 1).logs, "shared"))


def clocks():
    """Clocks that are hours apart; the first one is right, so that truth counts on it."""
    return {**drawn(np.random.default_rng(2)), "left_shank": Clock(0.0, 0.0)}


@cache
def by_jump() -> Result:
    return imuproc.process(recording(stamped(made(2, 1).logs, clocks()), "jump"))


@cache
def separate() -> Result:
    return imuproc.process(recording(stamped(made(0, 0).logs, clocks()), "separate"))


def test_after_jumps_every_figure_is_there_and_within_its_uncertainty() -> None:
    result, truth = by_jump(), select_running(made(2, 1).truth)
    assert result.parts == ()
    assert not list_flag_names(result) & {"clock_separate", "clock_unsure", "clock_differs"}
    for figure in ("touchdown_s", "flight_time_s", "step_time_s", "dorsiflexion_touchdown_deg"):
        error = compute_errors(result.steps, truth, figure)
        u = np.nanmax(result.steps[f"{figure}_u"])
        assert np.isfinite(error).sum() > 8
        assert np.nanmax(np.abs(error)) < 3.0 * u


def test_only_figures_that_compare_sensors_pay_for_it() -> None:
    result, plain = by_jump(), shared()
    clock = {name: parts["clock"] for name, parts in result.uncertainty.items() if "clock" in parts}
    assert "contact_time_s" not in clock
    assert clock["flight_time_s"].max() > 0.003
    assert clock["step_length_m"].max() > 0.003
    assert clock["shin_angle_touchdown_deg"].max() > 0.05
    assert clock["foot_pitch_touchdown_deg"].max() == 0.0
    for parts in plain.uncertainty.values():
        assert parts.get("clock", np.zeros(1)).max() in (0.0, pytest.approx(np.nan, nan_ok=True))


def test_legs_that_nothing_ties_are_runs_of_their_own() -> None:
    result = separate()
    assert [part.run for part in result.parts] == ["R07-01_left", "R07-01_right"]
    assert result.run == "R07-01"
    for part in result.parts:
        steps = part.steps
        assert set(steps["side"]) == {part.run.split("_")[1]}
        assert steps["step"].tolist() == list(range(1, len(steps) + 1))
        assert steps[list(BETWEEN_LEGS)].isna().all(axis=None)
        assert steps[list(OWN)].notna().all(axis=None)
        assert steps["dorsiflexion_touchdown_deg"].notna().all()
        named = {flag.name for flag in part.flags}
        assert "clock_separate" in named
        assert not named & {"missing_leg", "missing_foot", "missing_shank"}
    assert all(flag.run for flag in result.flags)


def test_each_leg_counts_as_its_first_log_counts() -> None:
    truth = select_running(made(0, 0).truth)
    for part, site in zip(separate().parts, ("left_shank", "right_shank"), strict=True):
        own = truth.assign(touchdown_s=clocks()[site].of(truth["touchdown_s"]))
        # The last steps into standing are hard for other reasons.
        down_u = part.steps["touchdown_s_u"].to_numpy()[:8]
        assert (np.abs(compute_errors(part.steps, own, "touchdown_s")[:8]) < 2.5 * down_u).all()
        assert np.abs(compute_errors(part.steps, own, "touchdown_s")[:8]).max() < 0.010
        for figure, most in (("contact_time_s", 0.012), ("dorsiflexion_touchdown_deg", 4.0)):
            found = compute_errors(part.steps, own, figure)[:8]
            assert len(found) == 8
            assert np.abs(found).max() < most


def test_claimed_jumps_that_nobody_made_are_not_guessed() -> None:
    result = imuproc.process(recording(stamped(made(0, 0).logs, clocks()), "jump"))
    alone = [flag.values for flag in result.flags if flag.name == "clock_separate"]
    assert len(alone) == 2
    assert all(values["no_jump"] for values in alone)
    assert [values["sites"] for values in alone] == [
        "left_shank;left_foot",
        "right_shank;right_foot",
    ]
    assert result.steps["flight_time_s"].isna().all()


@pytest.mark.parametrize("site", ["left_foot", "right_shank"])
def test_a_sensor_that_is_off_is_noticed_and_its_leg_put_right(site) -> None:
    logs = stamped(made(2, 1).logs, {site: Clock(0.02, 0.0)})
    result = imuproc.process(recording(logs, "shared"))
    found = next(flag.values for flag in result.flags if flag.name == "clock_differs")
    side = site.split("_")[0]
    assert (found["foot"], found["shank"]) == (f"{side}_foot", f"{side}_shank")
    assert found["off_s"] == pytest.approx(0.02 if site == "left_foot" else -0.02, abs=0.003)
    assert result.steps["flight_time_s"].isna().all()
    alone = next(part for part in result.parts if part.run.endswith(site.split("_")[0]))
    plain = shared().steps
    plain = plain[plain["side"] == alone.steps["side"].iloc[0]]
    count = min(len(plain), len(alone.steps))
    for figure in ("contact_time_s", "dorsiflexion_touchdown_deg"):
        apart = alone.steps[figure].to_numpy()[:count] - plain[figure].to_numpy()[:count]
        assert np.abs(apart).max() < (0.006 if figure.endswith("_s") else 2.0)


def test_legs_that_do_not_alternate_are_noticed() -> None:
    late = {site: Clock(0.12, 0.0) for site in ("right_shank", "right_foot")}
    result = imuproc.process(recording(stamped(made(2, 1).logs, late), "shared"))
    assert "clock_differs" in list_flag_names(result)
    assert result.steps["flight_time_s"].isna().all()


def test_one_clock_raises_no_flag() -> None:
    assert not list_flag_names(shared()) & {"clock_separate", "clock_unsure", "clock_differs"}
    assert shared().parts == ()


def test_phases_of_one_leg_are_those_of_its_steps() -> None:
    """A leg's fifth contact is about the ninth of both: the drive phase ends with its fourth."""
    for part in separate().parts:
        assert part.steps["phase"].tolist()[:9] == ["drive"] * 4 + ["transition"] * 4 + ["upright"]


@needs_shared_data
def test_real_running_on_separate_clocks() -> None:
    """Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298: each leg comes out as on one clock."""
    case = next(
        c for c in optical_running.list_cases() if (c.runner, c.speed_mps) == ("RBDS028", 3.5)
    )
    one, _ = real_motion.make_recording(case, GRADES["mid"], 250.0, seed=4)
    plain = imuproc.process(one)
    assert "clock_differs" not in list_flag_names(plain)
    off = {site: Clock(1000.0 * k, 60.0 * k) for k, site in enumerate(SITES[:4])}
    logs = stamped(dict(one.logs), off)
    result = imuproc.process(replace(one, logs=logs, run=replace(one.run, clock="separate")))
    assert [part.run.split("_")[-1] for part in result.parts] == ["left", "right"]
    for part in result.parts:
        same = plain.steps[plain.steps["side"] == part.steps["side"].iloc[0]]
        assert len(part.steps) == len(same)
        apart = part.steps["contact_time_s"].to_numpy() - same["contact_time_s"].to_numpy()
        assert np.abs(apart).max() < 0.004
        name = "dorsiflexion_touchdown_deg"
        apart = np.abs(part.steps[name].to_numpy() - same[name].to_numpy())
        assert (apart < 2.5 * part.steps[f"{name}_u"].to_numpy()).all()
