"""Figures of a leg from its motion: swings, departures, reach, pelvis."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.core.columns import FIGURES
from imuproc.core.recording import Athlete
from imuproc.estimators.body_line import BODY_LINE
from imuproc.estimators.columns import (
    EstimatorSettings,
    compute_all_quantities,
    compute_leg_curves,
    find_swings,
)
from tests.estimators.made_motion import TIME_S, contacts, motion, segment, steady

ATHLETE = Athlete("R07")
USUAL = EstimatorSettings()
STEPS = steady("left", 0.25, 0.12, 8)
SITES = ("left_shank", "left_foot", "right_shank", "right_foot")


def leaning(shin_deg: float, pitch_deg: float):
    """All segments kept in one posture."""
    angle = {"shank": shin_deg - 90.0, "foot": pitch_deg}
    return motion(
        *(segment(s, np.full(len(TIME_S), np.radians(angle[s.split("_")[1]]))) for s in SITES)
    )


def figures(moved, athlete=ATHLETE, steps=STEPS):
    return compute_all_quantities(moved, steps, athlete, USUAL, {}).by_name


# --- Swings ---------------------------------------------------------------------------------------


def test_a_swing_goes_from_the_same_foots_toe_off_to_its_touchdown() -> None:
    own = STEPS.take(STEPS.side == "left")
    swings = find_swings(leaning(90.0, 0.0), own, "left", USUAL)
    np.testing.assert_allclose(swings.start.time_s[1:], own.toe_off_s[:-1])
    np.testing.assert_allclose(swings.end.time_s, own.touchdown_s)


def test_the_first_swing_starts_where_the_foot_turned_fastest_in_its_push() -> None:
    """The ball is lifted from 10.2 s on, and fast from 10.235 s; the foot turns most at 10.25 s."""
    velocity = np.zeros((len(TIME_S), 3))
    velocity[:, 0] = np.clip(20.0 * (TIME_S - 10.2), 0.0, 10.0)
    pitch = -0.5 * (1.0 + np.tanh((TIME_S - 10.25) / 0.02))
    foot = segment("left_foot", pitch, velocity)
    own = STEPS.take(STEPS.side == "left")
    swings = find_swings(motion(foot), own, "left", USUAL)
    assert swings.start.time_s[0] == pytest.approx(10.25, abs=0.003)
    assert swings.start.u_s[0] == USUAL.departure_u_s
    np.testing.assert_allclose(swings.start.u_s[1:], own.toe_off_u_s[:-1])


def test_without_a_foot_sensor_the_first_swing_is_not_known() -> None:
    own = STEPS.take(STEPS.side == "left")
    swings = find_swings(motion(), own, "left", USUAL)
    assert np.isnan(swings.start.time_s[0])


def test_a_missed_contact_makes_no_swing_of_two_strides() -> None:
    own = steady("left", 0.25, 0.12, 14)
    own = own.take(own.side == "left")
    holed = own.take(np.array([0, 1, 2, 4, 5, 6]))
    swings = find_swings(leaning(90.0, 0.0), holed, "left", USUAL)
    assert np.isnan(swings.start.time_s[3])
    np.testing.assert_allclose(swings.start.time_s[[1, 2, 4, 5]], holed.toe_off_s[[0, 1, 3, 4]])


@pytest.mark.parametrize("limits_s", [(0.45, 1.5), (0.05, 0.3)], ids=["short", "long"])
def test_what_is_too_short_or_too_long_is_no_swing(limits_s: tuple[float, float]) -> None:
    """From a toe-off of a foot to its next touchdown it is 0.38 s here."""
    own = STEPS.take(STEPS.side == "left")
    swings = find_swings(leaning(90.0, 0.0), own, "left", EstimatorSettings(swing_s=limits_s))
    assert np.isnan(swings.start.time_s[1:]).all()


def test_strides_that_lengthen_as_a_runner_slows_down_are_no_missed_contacts() -> None:
    stride = np.array([0.44, 0.45, 0.48, 0.54, 0.62, 0.72, 0.8])
    down = 0.3 + np.concatenate(([0.0], np.cumsum(stride)))
    own = contacts([("left", t, t + 0.15) for t in down])
    swings = find_swings(leaning(90.0, 0.0), own, "left", USUAL)
    assert np.isfinite(swings.start.time_s[1:]).all()


# --- Figures --------------------------------------------------------------------------------------


def test_every_figure_of_a_kept_posture() -> None:
    found = figures(leaning(60.0, -20.0))
    for name, expected in (
        ("shin_angle_touchdown_deg", 60.0),
        ("shin_angle_toe_off_deg", 60.0),
        ("foot_pitch_touchdown_deg", -20.0),
        ("foot_pitch_toe_off_deg", -20.0),
        ("dorsiflexion_touchdown_deg", 10.0),  # -20 + 90 - 60
    ):
        np.testing.assert_allclose(found[name].value, expected, err_msg=name)
    for name, expected in (
        ("foot_pitch_swing_min_deg", -20.0),
        ("foot_pitch_swing_max_deg", -20.0),
        ("dorsiflexion_swing_min_deg", 10.0),
        ("dorsiflexion_swing_mean_deg", 10.0),
    ):
        np.testing.assert_allclose(found[name].value[2:], expected, err_msg=name)


def test_sides_are_not_mixed_up() -> None:
    curves = {"left_shank": -0.3, "left_foot": -0.1, "right_shank": -0.2, "right_foot": 0.1}
    moved = motion(*(segment(s, np.full(len(TIME_S), a)) for s, a in curves.items()))
    shin = figures(moved)["shin_angle_touchdown_deg"].value
    left = STEPS.side == "left"
    np.testing.assert_allclose(shin[left], 90.0 + np.degrees(-0.3))
    np.testing.assert_allclose(shin[~left], 90.0 + np.degrees(-0.2))


@pytest.mark.parametrize(
    ("athlete", "length_m"),
    [
        (Athlete("R07", stature_m=1.80), 0.246 * 1.80),  # Drillis & Contini 1966, from memory
        (Athlete("R07", stature_m=1.80, shank_length_m=0.41), 0.41),
    ],
    ids=["by stature", "measured"],
)
def test_the_ankle_is_ahead_of_the_knee_by_the_shins_lean(athlete, length_m) -> None:
    for shin_deg in (45.0, 90.0, 96.0):
        found = figures(leaning(shin_deg, 0.0), athlete)["ankle_ahead_of_knee_m"]
        np.testing.assert_allclose(found.value, -length_m * np.cos(np.radians(shin_deg)))
        assert (found.uncertainty > 0.0).all()
    assert figures(leaning(96.0, 0.0), athlete)["ankle_ahead_of_knee_m"].value[0] > 0.0


def test_without_a_length_of_the_shank_the_reach_is_missing() -> None:
    assert np.isnan(figures(leaning(45.0, 0.0))["ankle_ahead_of_knee_m"].value).all()


@pytest.mark.parametrize("site", SITES)
def test_what_a_missing_sensor_takes_with_it(site: str) -> None:
    whole = leaning(60.0, -20.0)
    side, kind = site.split("_")
    moved = replace(whole, segments={s: m for s, m in whole.segments.items() if s != site})
    found = figures(moved, Athlete("R07", stature_m=1.8))
    own = STEPS.side == side
    gone = {"shank": ("shin", "ankle", "dorsiflexion"), "foot": ("foot_pitch", "dorsiflexion")}
    for name in set(FIGURES) - set(BODY_LINE):
        if name.startswith(gone[kind]):
            assert np.isnan(found[name].value[own]).all(), name
            assert np.isfinite(found[name].value[~own][1:]).all(), name
    leg = compute_leg_curves(moved, side, ATHLETE, USUAL.angles)
    assert leg.dorsiflexion is None
    assert (leg.shin is None) == (kind == "shank")
    assert (leg.pitch is None) == (kind == "foot")


def test_the_pelvis_tilts_forward_positive() -> None:
    tilted = segment("pelvis", np.full(len(TIME_S), np.radians(-12.0)))  # leaning forward
    found = figures(motion(tilted))["pelvis_tilt_touchdown_deg"]
    np.testing.assert_allclose(found.value, 12.0)
    assert np.isnan(figures(motion())["pelvis_tilt_touchdown_deg"].value).all()


def test_no_contacts_no_figures() -> None:
    found = figures(leaning(60.0, 0.0), steps=STEPS.take(np.zeros(0, dtype=int)))
    assert set(found) == set(FIGURES)
    assert all(len(figure.value) == 0 for figure in found.values())
