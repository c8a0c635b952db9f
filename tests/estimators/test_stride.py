"""Step length and speed from the way of each foot, counted by hand."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imuproc.core.contacts import Contacts
from imuproc.core.motion import Motion
from imuproc.estimators.stride import (
    StepLengths,
    StrideSettings,
    compute_ball_velocity,
    solve_step_lengths,
    tabulate_lengths,
)
from tests.estimators.made_motion import TIME_S, contacts, motion, segment, steady

NAN = np.nan
USUAL = StrideSettings()


def foot_velocity(own: Contacts, places_m: np.ndarray) -> np.ndarray:
    """Velocity of a foot that rests at its places in contact and goes evenly between them."""
    velocity = np.zeros((len(TIME_S), 3))
    for k in range(len(own) - 1):
        air = (own.toe_off_s[k], own.touchdown_s[k + 1])
        inside = (air[0] <= TIME_S) & (air[1] > TIME_S)
        share = np.where(inside, 1.0, 0.0)
        way = np.sum(0.5 * (share[1:] + share[:-1]) * np.diff(TIME_S))
        velocity[inside, 0] = (places_m[k + 1] - places_m[k]) / way
    return velocity


def walk(all_contacts: Contacts, places_m: np.ndarray, feet=("left", "right")) -> Motion:
    """Motion of feet that set down at given places along the run."""
    parts = []
    for side in feet:
        rows = all_contacts.side == side
        velocity = foot_velocity(all_contacts.take(rows), places_m[rows])
        parts.append(segment(f"{side}_foot", np.zeros(len(TIME_S)), velocity))
    return motion(*parts)


def step_figures(moved: Motion, steps: Contacts, assumed: StrideSettings, doubt=None):
    """Step length and speed of made-up motion."""
    return tabulate_lengths(solve_step_lengths(moved, steps, assumed, doubt), len(steps))


def test_even_steps() -> None:
    steps = steady("right", 0.25, 0.12, 12)
    places = 1.8 * np.arange(12)
    figures = step_figures(walk(steps, places), steps, USUAL)
    length, speed = figures["step_length_m"], figures["speed_mps"]
    np.testing.assert_allclose(length.value[:-1], 1.8, atol=0.002)
    np.testing.assert_allclose(speed.value[:-1], 7.2, atol=0.01)  # 1.8 m in 0.25 s
    assert np.isnan([length.value[-1], speed.value[-1]]).all()  # nothing follows the last step
    assert (length.uncertainty[:-1] < 0.05).all()


def test_a_sprint_that_gains_speed() -> None:
    steps = steady("left", 0.23, 0.11, 16)
    speed = 9.5 * (1.0 - np.exp(-(0.45 + 0.23 * np.arange(16)) / 1.25))
    length = 0.23 * speed
    places = np.concatenate(([0.0], np.cumsum(length)))[:-1]
    found = step_figures(walk(steps, places), steps, USUAL)["step_length_m"]
    error = np.abs(found.value[:-1] - length[:-1])
    assert error.max() < 0.03
    assert (error < 2.0 * found.uncertainty[:-1] + 0.002).all()


def test_steps_of_uneven_length_sum_up_to_the_stride_and_say_what_they_do_not_know() -> None:
    """Strides of one foot alone cannot tell 1.7 + 1.9 from 1.8 + 1.8: the uncertainty says so."""
    steps = steady("left", 0.25, 0.12, 13)
    length = np.where(np.arange(12) % 2 == 0, 1.77, 1.83)
    places = np.concatenate(([0.0], np.cumsum(length)))
    found = step_figures(walk(steps, places), steps, USUAL)["step_length_m"]
    pairs = found.value[:-2] + found.value[1:-1]
    np.testing.assert_allclose(pairs, 3.6, atol=0.01)
    assert (np.abs(found.value[:-1] - length) <= 2.0 * found.uncertainty[:-1] + 0.01).all()
    assert (found.parts["asymmetry"] == 0.5 * USUAL.asymmetry_m).all()


def test_slower_steps_of_one_foot_keep_their_own_time() -> None:
    rows, down = [], 0.5
    for k in range(12):
        rows.append(("left" if k % 2 == 0 else "right", down, down + 0.12))
        down += 0.24 if k % 2 == 0 else 0.26
    steps = contacts(rows)
    places = 7.2 * (steps.touchdown_s - steps.touchdown_s[0])  # an even 7.2 m/s
    speed = step_figures(walk(steps, places), steps, USUAL)["speed_mps"].value
    np.testing.assert_allclose(speed[:-1], 7.2, atol=0.12)


def test_one_foot_sensor_gives_lengths_by_the_strides_of_that_foot() -> None:
    steps = steady("right", 0.25, 0.12, 11)
    one = walk(steps, 1.8 * np.arange(11), feet=("left",))
    found = step_figures(one, steps, USUAL)["step_length_m"]
    known = np.isfinite(found.value)
    assert known.sum() >= 8
    np.testing.assert_allclose(found.value[known], 1.8, atol=0.02)
    both = step_figures(walk(steps, 1.8 * np.arange(11)), steps, USUAL)["step_length_m"]
    assert (found.uncertainty >= both.uncertainty - 1e-9)[known].all()


def test_a_foot_that_lands_farther_ahead_makes_no_longer_step() -> None:
    """Its touchdown comes earlier, but the body passes over both feet at an even speed."""
    even = steady("left", 0.25, 0.12, 13)
    long = even.side == "left"
    early = replace(
        even,
        touchdown_s=even.touchdown_s - np.where(long, 0.012, 0.0),
        toe_off_s=even.toe_off_s + np.where(long, 0.012, 0.0),
    )
    found = step_figures(walk(early, 1.8 * np.arange(13)), early, USUAL)
    np.testing.assert_allclose(found["step_length_m"].value[:-1], 1.8, atol=0.003)
    left_s, right_s = 0.262, 0.238  # from touchdown to touchdown
    np.testing.assert_allclose(found["speed_mps"].value[:-1:2], 1.8 / left_s, atol=0.02)
    np.testing.assert_allclose(found["speed_mps"].value[1:-1:2], 1.8 / right_s, atol=0.02)


def test_doubtful_touchdowns_make_lengths_doubtful() -> None:
    """Each one moves the middle of its contact by half as much: 10 ms at 7.2 m/s by 3.6 cm, and so
    the ends of a step that only its time tells by that much both."""
    steps = steady("right", 0.25, 0.12, 11)
    places = 1.8 * np.arange(11)

    def touchdown_part(feet, u_s):
        vague = replace(steps, touchdown_u_s=np.full(11, u_s))
        figures = step_figures(walk(steps, places, feet), vague, USUAL)
        return figures["step_length_m"].parts["touchdown"][4], figures["speed_mps"].parts

    assert touchdown_part(("left",), 0.0)[0] == 0.0
    one, speed = touchdown_part(("left",), 0.01)
    assert one == pytest.approx(0.036 * np.sqrt(2.0), abs=0.015)
    both, _ = touchdown_part(("left", "right"), 0.01)
    assert both < one
    # Speed counts the same time twice over: a longer time makes the step longer as well.
    assert speed["touchdown"][4] < np.hypot(one, 7.2 * 0.01 * np.sqrt(2.0)) / 0.25


def test_without_foot_sensors_there_are_no_lengths() -> None:
    steps = steady("right", 0.25, 0.12, 11)
    figures = step_figures(motion(segment("left_shank", np.zeros(len(TIME_S)))), steps, USUAL)
    assert np.isnan(figures["step_length_m"].value).all()
    assert np.isnan(figures["speed_mps"].value).all()


def test_across_a_missed_step_no_length_is_made_up() -> None:
    whole = steady("right", 0.25, 0.12, 13)
    places = 1.8 * np.arange(13)
    holed = whole.take(np.delete(np.arange(13), 6))
    found = step_figures(walk(whole, places), holed, USUAL)["step_length_m"].value
    assert np.isnan(found[5])  # from the step before the missed one to the step after it
    known = np.isfinite(found)
    np.testing.assert_allclose(found[known], 1.8, atol=0.02)


def test_strides_with_missing_samples_are_left_out() -> None:
    steps = steady("right", 0.25, 0.12, 13)
    places = 1.8 * np.arange(13)
    wrong = places.copy()
    wrong[6:] += 0.8  # what a gap made of the right foot's fourth stride
    right = steps.side == "right"
    broken = walk(steps, np.where(right, wrong, places))
    doubt = {"right": np.where(np.arange(6) == 2, np.inf, 0.0), "left": np.zeros(5)}
    found = step_figures(broken, steps, USUAL, doubt)["step_length_m"].value
    np.testing.assert_allclose(found[:-1], 1.8, atol=0.03)


def test_strides_in_doubt_count_less_and_say_so() -> None:
    steps = steady("right", 0.25, 0.12, 13)
    moved = walk(steps, 1.8 * np.arange(13))
    plain = step_figures(moved, steps, USUAL)["step_length_m"].uncertainty
    one = {"right": np.where(np.arange(6) == 2, 0.5, 0.0), "left": np.zeros(5)}
    some = step_figures(moved, steps, USUAL, one)["step_length_m"].uncertainty
    assert some[4] > plain[4]
    assert some[11] == pytest.approx(plain[11], rel=0.02)
    both = {"right": np.full(6, 0.8), "left": np.full(5, 0.8)}
    every = step_figures(moved, steps, USUAL, both)["step_length_m"].uncertainty
    assert (every[:-1] > 0.2).all()


@pytest.mark.parametrize("count", [0, 1, 2])
def test_too_few_contacts_for_a_stride(count: int) -> None:
    steps = steady("right", 0.25, 0.12, count)
    figures = step_figures(walk(steps, 1.8 * np.arange(count)), steps, USUAL)
    assert np.isnan(figures["step_length_m"].value).all()
    assert len(figures["speed_mps"].value) == count


def test_a_lateral_way_counts_as_way() -> None:
    """Heading is not observable: a run along any direction has the same lengths."""
    steps = steady("right", 0.25, 0.12, 11)
    straight = walk(steps, 1.8 * np.arange(11))
    turned = {}
    for site, foot in straight.segments.items():
        velocity = foot.velocity_mps @ np.array([[0.8, 0.6, 0], [-0.6, 0.8, 0], [0, 0, 1.0]])
        turned[site] = segment(site, foot.pitch_rad, velocity)
    found = step_figures(motion(*turned.values()), steps, USUAL)["step_length_m"].value
    np.testing.assert_allclose(found[:-1], 1.8, atol=0.005)


def test_the_ball_turns_about_the_sensor() -> None:
    pitch = 0.4 * np.sin(6.0 * (TIME_S - 10.0))
    foot = segment("left_foot", pitch)
    object.__setattr__(foot, "lever_m", np.array([0.1, 0.0, -0.05]))
    x = 0.1 * np.cos(pitch) + 0.05 * np.sin(pitch)
    z = 0.1 * np.sin(pitch) - 0.05 * np.cos(pitch)
    expected = np.stack((np.gradient(x, TIME_S), 0.0 * x, np.gradient(z, TIME_S)), axis=1)
    np.testing.assert_allclose(compute_ball_velocity(foot)[2:-2], expected[2:-2], atol=2e-3)


@settings(max_examples=20, deadline=None)
@given(
    lengths=st.lists(st.floats(1.6, 2.0), min_size=6, max_size=14),
    bump=st.floats(-0.05, 0.05),
)
def test_lengths_sum_up_to_the_way(lengths, bump) -> None:
    """Whatever the steps, their sum from one contact of a foot to a later one is what it went."""
    smooth = np.convolve(np.pad(lengths, 2, mode="edge"), np.ones(5) / 5.0, mode="valid")
    smooth[len(smooth) // 2] += bump
    steps = steady("left", 0.24, 0.12, len(smooth) + 1)
    places = np.concatenate(([0.0], np.cumsum(smooth)))
    found = step_figures(walk(steps, places), steps, USUAL)["step_length_m"].value
    for start in range(len(smooth) % 2, len(smooth) - 1, 2):
        assert found[start] + found[start + 1] == pytest.approx(
            smooth[start] + smooth[start + 1], abs=0.06
        )


# --- Distance -------------------------------------------------------------------------------------


def lengths_of(steps: Contacts, places_m: np.ndarray) -> StepLengths:
    found = solve_step_lengths(walk(steps, places_m), steps, USUAL)
    assert found is not None
    return found


def test_a_distance_is_the_way_from_contact_to_contact() -> None:
    steps = steady("right", 0.25, 0.12, 13)
    places = np.cumsum(np.linspace(1.2, 2.0, 13))
    found = lengths_of(steps, places)
    for first, last in ((0, 12), (0, 7), (3, 4)):
        way = found.measure_distance(first, last)
        assert way.value[0] == pytest.approx(places[last] - places[first], abs=0.03)
        assert abs(way.value[0] - places[last] + places[first]) < 2.0 * way.uncertainty[0]


def test_of_a_single_step_the_distance_is_its_length() -> None:
    steps = steady("right", 0.25, 0.12, 13)
    found = lengths_of(steps, 1.8 * np.arange(13))
    way, length = found.measure_distance(5, 6), found.tabulate()["step_length_m"]
    assert way.value[0] == length.value[5]
    assert way.uncertainty[0] == pytest.approx(length.uncertainty[5])
    assert {n: p[0] for n, p in way.parts.items()} == {
        n: pytest.approx(p[5]) for n, p in length.parts.items()
    }


def test_what_all_stances_share_adds_up_and_a_difference_between_feet_cancels() -> None:
    steps = steady("right", 0.25, 0.12, 13)
    found = lengths_of(steps, 1.8 * np.arange(13))
    whole, half = found.measure_distance(0, 12).parts, found.measure_distance(0, 6).parts
    assert whole["stance"][0] == pytest.approx(2.0 * half["stance"][0])
    assert whole["stance"][0] == pytest.approx(12 * 0.25 * USUAL.stance_u_mps)
    assert (whole["asymmetry"][0], half["asymmetry"][0]) == (0.0, 0.0)
    assert found.measure_distance(0, 11).parts["asymmetry"][0] == 0.5 * USUAL.asymmetry_m
    # By chance: two feet over six strides each, each foot alone would give the way.
    one_foot = np.sqrt(6.0) * USUAL.stride_u_m
    assert one_foot / np.sqrt(2.0) * 0.9 < whole["stride"][0] < one_foot


def test_across_a_missing_length_there_is_no_distance() -> None:
    holed = steady("right", 0.25, 0.12, 13).take(np.delete(np.arange(13), 6))
    found = lengths_of(holed, 1.8 * np.delete(np.arange(13.0), 6))
    assert np.isnan(found.measure_distance(0, 11).value[0])
    assert np.isfinite(found.measure_distance(0, 5).value[0])


@pytest.mark.parametrize("feet", [("left", "right"), ("left",)], ids=["two feet", "one foot"])
def test_distances_are_as_wrong_as_they_say(feet: tuple[str, ...]) -> None:
    """Strides and events in error by chance, 200 times over; all else is as it should be."""
    rng = np.random.default_rng(5)
    exact = steady("right", 0.25, 0.12, 15)
    known = ("left", "right") if len(feet) == 2 else feet
    true = 1.8 * np.arange(15.0)
    errors, spread = [], []
    for _ in range(200):
        slips = np.zeros(15)
        for side in known:
            rows = exact.side == side
            slips[rows] = np.cumsum(rng.normal(0.0, USUAL.stride_u_m, rows.sum()))
        steps = replace(
            exact,
            touchdown_s=exact.touchdown_s + rng.normal(0.0, 0.005, 15),
            toe_off_s=exact.toe_off_s + rng.normal(0.0, 0.005, 15),
            touchdown_u_s=np.full(15, 0.005),
            toe_off_u_s=np.full(15, 0.005),
        )
        way = solve_step_lengths(walk(exact, true + slips, feet), steps, USUAL)
        assert way is not None
        figure = way.measure_distance(2, 11)
        errors.append(figure.value[0] - 9 * 1.8)
        parts = [figure.parts[name][0] for name in ("stride", "touchdown", "toe_off")]
        spread.append(np.hypot.reduce(parts))
    inside = np.mean(np.abs(errors) <= 2.0 * np.array(spread))
    assert 0.9 < inside < 0.99
