"""Angles at events and over swings, against curves that can be counted by hand."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imuproc.estimators.angles import (
    AngleCurve,
    AngleSettings,
    compute_dorsiflexion_curve,
    compute_pitch_curve,
    compute_shin_curve,
)
from imuproc.estimators.reading import Instants, Swings, read_at_events, summarise_swings
from imuproc.synth.truth import derive_truth
from tests.estimators.made_motion import TIME_S, segment

NAN = np.nan


def curve(angle_deg, u_deg=0.5) -> AngleCurve:
    angle = np.radians(np.broadcast_to(angle_deg, TIME_S.shape))
    part = np.full(len(TIME_S), np.radians(u_deg))
    return AngleCurve(TIME_S, angle, np.gradient(angle, TIME_S), {"drift": part})


def instants(time_s, u_s=0.0, shared_u_s=0.0) -> Instants:
    time_s = np.atleast_1d(time_s).astype(float)
    return Instants(time_s, *(np.full(len(time_s), float(u)) for u in (u_s, shared_u_s)))


def swing(start, end, u_s=0.0, start_u_s=0.0, shared_u_s=0.0) -> Swings:
    return Swings(instants(start, start_u_s, shared_u_s), instants(end, u_s, shared_u_s))


# --- At events ------------------------------------------------------------------------------------


def test_the_angle_is_read_between_samples() -> None:
    ramp = curve(100.0 * (TIME_S - 10.0))  # 100 deg/s
    figure = read_at_events(ramp, instants([11.0013, 12.5]))
    np.testing.assert_allclose(figure.value, [100.13, 250.0])


def test_the_events_own_uncertainty_counts_by_the_rate() -> None:
    """300 deg/s and 4 ms make 1.2 deg (computed: angular rate times time)."""
    ramp = curve(300.0 * (TIME_S - 10.0))
    figure = read_at_events(ramp, instants(12.0, 0.004))
    np.testing.assert_allclose(figure.parts["event"], 1.2)
    np.testing.assert_allclose(figure.uncertainty, np.hypot(1.2, 0.5))


def test_what_a_set_up_shares_tells_against_the_truth_and_not_between_steps() -> None:
    ramp = curve(300.0 * (TIME_S - 10.0))
    figure = read_at_events(ramp, instants(12.0, 0.004, 0.003))
    np.testing.assert_allclose(figure.parts["reference"], 0.9)
    np.testing.assert_allclose(figure.uncertainty, np.sqrt(1.2**2 + 0.5**2 + 0.9**2))
    np.testing.assert_allclose(figure.repeat_uncertainty, np.hypot(1.2, 0.5))
    highest = summarise_swings(ramp, swing(11.0, 11.5, 0.004, shared_u_s=0.003), 0.4, "max")
    np.testing.assert_allclose(highest.parts["event"], 1.2)
    np.testing.assert_allclose(highest.parts["reference"], 0.9)


def test_another_days_standing_moves_an_angle_but_not_the_comparison_of_steps() -> None:
    upright = np.zeros(len(TIME_S))
    settings = AngleSettings(standing_u_deg=2.0)
    for read, site in ((compute_shin_curve, "left_shank"), (compute_pitch_curve, "left_foot")):
        figure = read_at_events(read(TIME_S, segment(site, upright), settings), instants(12.0))
        np.testing.assert_allclose(figure.parts["standing"], 2.0)
        np.testing.assert_allclose(
            figure.uncertainty**2 - figure.repeat_uncertainty**2, 4.0, rtol=1e-9
        )


def test_at_a_turning_point_the_event_still_counts() -> None:
    bend = curve(20.0 - 1e4 * (TIME_S - 12.0) ** 2)
    figure = read_at_events(bend, instants(12.0, 0.01))
    # 200 deg/s are reached 10 ms away on either side: root mean square of 200, 0, 200.
    np.testing.assert_allclose(figure.parts["event"], 200.0 * np.sqrt(2.0 / 3.0) * 0.01, rtol=1e-3)


# --- What the curves mean -------------------------------------------------------------------------


def test_standing_is_shin_90_pitch_0_dorsiflexion_0() -> None:
    still = np.zeros(len(TIME_S))
    shin = compute_shin_curve(TIME_S, segment("left_shank", still), AngleSettings())
    pitch = compute_pitch_curve(TIME_S, segment("left_foot", still), AngleSettings())
    both = compute_dorsiflexion_curve(shin, pitch)
    for one, expected_deg in ((shin, 90.0), (pitch, 0.0), (both, 0.0)):
        np.testing.assert_allclose(np.degrees(one.angle_rad), expected_deg, atol=1e-9)


@pytest.mark.parametrize(
    ("lean_deg", "pitch_deg", "expected_deg"),
    [(30.0, 0.0, 30.0), (45.0, -25.0, 20.0), (-5.0, 15.0, 10.0), (45.0, -65.0, -20.0)],
)
def test_dorsiflexion_is_pitch_plus_forward_lean_of_the_shin(
    lean_deg, pitch_deg, expected_deg
) -> None:
    """Geometry: sole flat and shin leaned forward by 30 deg make 30 deg of dorsiflexion."""
    lean = np.full(len(TIME_S), np.radians(-lean_deg))
    pitched = np.full(len(TIME_S), np.radians(pitch_deg))
    shin = compute_shin_curve(TIME_S, segment("left_shank", lean), AngleSettings())
    pitch = compute_pitch_curve(TIME_S, segment("left_foot", pitched), AngleSettings())
    np.testing.assert_allclose(np.degrees(shin.angle_rad), 90.0 - lean_deg)
    both = compute_dorsiflexion_curve(shin, pitch)
    np.testing.assert_allclose(np.degrees(both.angle_rad), expected_deg, atol=1e-9)


def test_uncertainty_of_dorsiflexion_is_that_of_both_segments() -> None:
    still = np.zeros(len(TIME_S))
    shin = compute_shin_curve(TIME_S, segment("left_shank", still, u_rad=0.03), AngleSettings())
    pitch = compute_pitch_curve(TIME_S, segment("left_foot", still, u_rad=0.04), AngleSettings())
    both = compute_dorsiflexion_curve(shin, pitch)
    np.testing.assert_allclose(both.parts_rad["drift"], 0.05)
    np.testing.assert_allclose(np.degrees(both.parts_rad["standing"]), np.sqrt(2.0))
    named = {"drift", "clipping", "rate", "alignment", "soft_tissue", "standing"}
    assert set(both.parts_rad) == named


def test_parts_with_a_name_of_their_own_are_taken_out_of_drift() -> None:
    whole = segment("left_shank", np.zeros(len(TIME_S)), u_rad=0.05)
    parts = {"clipping": np.full(len(TIME_S), 0.03), "rate": np.zeros(len(TIME_S))}
    curve = compute_shin_curve(TIME_S, replace(whole, pitch_parts_rad=parts), AngleSettings())
    np.testing.assert_allclose(curve.parts_rad["drift"], 0.04)
    np.testing.assert_allclose(curve.parts_rad["clipping"], 0.03)


def test_a_doubtful_axis_matters_little_upright_and_not_at_all_in_standing() -> None:
    """cos(5 deg) = 0.996: a lean of 45 deg read along an axis 5 deg off changes by 0.1 deg."""
    for lean_deg, most_deg in ((0.0, 1e-6), (45.0, 0.3)):
        lean = np.full(len(TIME_S), np.radians(-lean_deg))
        shin = compute_shin_curve(TIME_S, segment("left_shank", lean), AngleSettings())
        assert np.degrees(shin.parts_rad["alignment"]).max() < most_deg


# --- Over swings ----------------------------------------------------------------------------------


def test_windows_are_shares_of_the_swing_counted_back_from_touchdown() -> None:
    ramp = curve(10.0 * (TIME_S - 11.0))  # 0 deg at 11 s, 10 deg at 12 s
    whole = swing(11.0, 12.0)
    for share, least, mean in ((0.6, 4.0, 7.0), (0.4, 6.0, 8.0), (0.25, 7.5, 8.75)):
        np.testing.assert_allclose(
            summarise_swings(ramp, whole, share, "min").value, least, atol=1e-9
        )
        np.testing.assert_allclose(
            summarise_swings(ramp, whole, share, "mean").value, mean, atol=1e-9
        )
        # Touchdown itself is included, between samples too.
        np.testing.assert_allclose(
            summarise_swings(ramp, whole, share, "max").value, 10.0, atol=1e-9
        )
    np.testing.assert_allclose(
        summarise_swings(ramp, swing(11.0, 12.0009), 0.4, "max").value, 10.009, atol=1e-9
    )


def test_a_dip_in_the_window_is_the_minimum_and_one_before_it_is_not() -> None:
    dip = curve(-20.0 * np.exp(-(((TIME_S - 11.3) / 0.02) ** 2)))
    assert summarise_swings(dip, swing(11.0, 11.5), 0.6, "min").value == pytest.approx(
        -20.0, abs=0.01
    )
    assert summarise_swings(dip, swing(11.0, 11.5), 0.25, "min").value == pytest.approx(
        0.0, abs=0.01
    )


def test_the_touchdowns_uncertainty_counts_by_how_far_the_figure_moves() -> None:
    ramp = curve(100.0 * (TIME_S - 11.0))
    figure = summarise_swings(ramp, swing(11.0, 11.5, 0.004), 0.4, "max")
    np.testing.assert_allclose(figure.parts["event"], 0.4)  # 100 deg/s times 4 ms
    level = summarise_swings(curve(5.0), swing(11.0, 11.5, 0.004), 0.4, "max")
    np.testing.assert_allclose(level.parts["event"], 0.0, atol=1e-9)


@pytest.mark.parametrize(("start", "end"), [(NAN, 11.5), (11.5, 11.4)], ids=["unknown", "backward"])
def test_what_is_no_swing_has_no_figure(start, end) -> None:
    figure = summarise_swings(curve(5.0), swing(start, end, 0.002), 0.4, "mean")
    assert np.isnan(figure.value).all()
    assert np.isnan(figure.uncertainty).all()


@settings(max_examples=15, deadline=None)
@given(
    sizes=st.lists(st.floats(-30.0, 30.0), min_size=4, max_size=4),
    start=st.floats(11.0, 11.4),
    duration=st.floats(0.25, 0.6),
)
def test_the_same_as_the_simulators_truth_says(sizes, start, duration) -> None:
    """Two independent readings of the same curve: ours and ``imuproc.synth.truth``."""
    t = TIME_S - 10.0
    angle = sum(a * np.sin(2.0 * np.pi * (k + 1) * t + k) for k, a in enumerate(sizes))
    shin = 80.0 + 0.5 * angle
    curves = {"time_s": TIME_S}
    for side in ("left", "right"):
        curves |= {f"foot_pitch_{side}_deg": angle, f"shin_angle_{side}_deg": shin}
        curves[f"dorsiflexion_{side}_deg"] = angle + 90.0 - shin
    end = start + duration
    events = pd.DataFrame({"side": ["left"], "touchdown_s": [end], "toe_off_s": [end + 0.12]})
    true = derive_truth(events, pd.DataFrame(curves), {"left": start}).steps
    pitch, bend = curve(angle), curve(curves["dorsiflexion_left_deg"])
    own = swing(start, end)
    ours = {
        "foot_pitch_touchdown_deg": read_at_events(pitch, own.end),
        "foot_pitch_swing_min_deg": summarise_swings(pitch, own, 0.25, "min"),
        "foot_pitch_swing_max_deg": summarise_swings(pitch, own, 0.40, "max"),
        "dorsiflexion_swing_min_deg": summarise_swings(bend, own, 0.60, "min"),
        "dorsiflexion_swing_mean_deg": summarise_swings(bend, own, 0.40, "mean"),
    }
    for name, figure in ours.items():
        np.testing.assert_allclose(figure.value, true[name], atol=1e-6, err_msg=name)


def test_an_uncertain_start_of_the_swing_counts_where_the_statistic_depends_on_it() -> None:
    ramp = curve(100.0 * (TIME_S - 10.0))  # 100 deg/s: least at the window's start
    known, unsure = (swing(10.5, 11.0, 0.0, u_s) for u_s in (0.0, 0.01))
    least = summarise_swings(ramp, unsure, 0.6, "min")
    # 10 ms later the window of the last 60 % starts 6 ms later: 0.6 deg.
    np.testing.assert_allclose(least.parts["event"], 0.6, rtol=1e-6)
    np.testing.assert_allclose(summarise_swings(ramp, known, 0.6, "min").parts["event"], 0.0)
    np.testing.assert_allclose(summarise_swings(ramp, unsure, 0.6, "max").parts["event"], 0.0)
