"""What clocks leave uncertain counts in figures that compare sensors, and in no others."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from imuproc.core.clocks import Clocks, ClockTie
from imuproc.estimators.angles import AngleCurve
from imuproc.estimators.clocks import add_clock_doubt, flag_clocks, widen_times
from imuproc.estimators.stride import StrideSettings, solve_step_lengths
from imuproc.estimators.timing import compute_timing_quantities
from tests.estimators.made_motion import contacts, steady
from tests.estimators.test_stride import walk
from tests.usual import LONGEST_STEP_S, METHOD

THREE = [("left", 0.0, 0.15), ("right", 0.25, 0.38), ("left", 0.5, 0.62)]


def tie(site, to, u_s):
    return ClockTie(site, to, 0.0, 0.0, 0.0, u_s, 0.0)


def conditioned(between_u_s: float = 0.004):
    """Four sensors: 1 ms within a leg, so many between the feet; the left shank comes first."""
    ties = {
        "left_foot": tie("left_foot", "left_shank", 0.001),
        "right_foot": tie("right_foot", "left_foot", between_u_s),
        "right_shank": tie("right_shank", "right_foot", 0.001),
    }
    sites = dict.fromkeys(("left_shank", "left_foot", "right_shank", "right_foot"))
    recording = SimpleNamespace(clocks=Clocks(False, ties), logs=sites)
    return SimpleNamespace(recording=recording, segments=sites)


def test_times_between_the_legs_are_less_certain_but_contact_time_is_not() -> None:
    plain = compute_timing_quantities(contacts(THREE, u_s=0.0), LONGEST_STEP_S)
    figures = compute_timing_quantities(
        widen_times(contacts(THREE, u_s=0.0), conditioned()), LONGEST_STEP_S
    )
    np.testing.assert_allclose(figures["contact_time_s"].uncertainty, 0.0)
    np.testing.assert_allclose(figures["flight_time_s"].uncertainty[:2], 0.004)
    np.testing.assert_allclose(figures["step_time_s"].uncertainty[:2], 0.004)
    np.testing.assert_allclose(figures["step_frequency_hz"].uncertainty[:2], 0.004 / 0.25**2)
    # Times count on the clock of the left shank.
    np.testing.assert_allclose(
        figures["touchdown_s"].uncertainty, [0.001, np.sqrt(17e-6), 0.001], rtol=1e-6
    )
    for name, figure in plain.items():
        np.testing.assert_allclose(figure.value, figures[name].value)
        assert (np.nan_to_num(figure.parts.get("clock", np.zeros(3))) == 0.0).all()


def test_an_angle_is_off_by_how_fast_it_turns() -> None:
    time_s = np.arange(0.0, 1.0, 0.001)
    turning = AngleCurve(time_s, 8.0 * time_s, np.full(len(time_s), 8.0), {})
    clocks = conditioned().recording.clocks
    shank = add_clock_doubt(turning, clocks, "left_shank", "left_foot")
    np.testing.assert_allclose(shank.parts_rad["clock"], 0.008)
    foot = add_clock_doubt(turning, clocks, "left_foot", "left_foot")
    assert (foot.parts_rad["clock"] == 0.0).all()
    assert (
        add_clock_doubt(turning, Clocks(), "pelvis", "left_foot").parts_rad["clock"] == 0.0
    ).all()


def test_step_lengths_know_of_the_legs_clocks() -> None:
    """The stated part is how far lengths really move when one leg's clock is late by so much."""
    late_s = 0.004
    steps = steady("right", 0.25, 0.12, 12)
    places = np.cumsum(np.linspace(1.6, 2.0, 12))
    moved = walk(steps, places)
    plain = solve_step_lengths(moved, steps, StrideSettings())
    told = solve_step_lengths(moved, widen_times(steps, conditioned(late_s)), StrideSettings())
    assert plain is not None
    assert told is not None
    shifted = np.where(steps.side == "left", late_s, 0.0)
    late = replace(
        steps, touchdown_s=steps.touchdown_s + shifted, toe_off_s=steps.toe_off_s + shifted
    )
    # The foot's motion is late with its contacts: lengths change by how strides are shared out.
    found = solve_step_lengths(walk(late, places), late, StrideSettings())
    assert found is not None
    really = np.abs(found.length_m - plain.length_m)[2:-3]
    part = told.tabulate()["step_length_m"].parts["clock"][2:-3]
    np.testing.assert_allclose(part, really, rtol=0.3, atol=1e-3)
    assert part.max() > 0.005
    assert (plain.tabulate()["step_length_m"].parts["clock"][:-1] == 0.0).all()


@pytest.mark.parametrize(("between_u_s", "names"), [(0.004, []), (0.012, ["clock_unsure"])])
def test_badly_known_legs_are_flagged(between_u_s: float, names: list[str]) -> None:
    flags = flag_clocks(
        widen_times(contacts(THREE), conditioned(between_u_s)), METHOD.estimators.clock_unsure_s
    )
    assert [flag.name for flag in flags] == names
    assert all(flag.values["apart_u_s"] == pytest.approx(0.012) for flag in flags)
