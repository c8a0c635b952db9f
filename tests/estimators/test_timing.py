"""Times of steps, counted by hand."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imuproc.estimators.timing import compute_timing_quantities, find_next_step
from tests.estimators.made_motion import contacts
from tests.usual import LONGEST_STEP_S

NAN = np.nan
THREE = [("left", 0.0, 0.15), ("right", 0.25, 0.38), ("left", 0.5, 0.62)]


def values(rows, name, **changes):
    return compute_timing_quantities(contacts(rows, **changes), LONGEST_STEP_S)[name].value


def test_three_steps() -> None:
    np.testing.assert_allclose(values(THREE, "touchdown_s"), [10.0, 10.25, 10.5])
    np.testing.assert_allclose(values(THREE, "toe_off_s"), [10.15, 10.38, 10.62])
    np.testing.assert_allclose(values(THREE, "contact_time_s"), [0.15, 0.13, 0.12])
    np.testing.assert_allclose(values(THREE, "flight_time_s"), [0.10, 0.12, NAN])
    np.testing.assert_allclose(values(THREE, "step_time_s"), [0.25, 0.25, NAN])
    np.testing.assert_allclose(values(THREE, "step_frequency_hz"), [4.0, 4.0, NAN])


def test_double_support_is_a_negative_flight_time() -> None:
    rows = [("left", 0.0, 0.32), ("right", 0.28, 0.6)]
    np.testing.assert_allclose(values(rows, "flight_time_s"), [-0.04, NAN])


@pytest.mark.parametrize(
    "rows",
    [
        [("left", 0.0, 0.15), ("left", 0.5, 0.62)],  # the right foot's step is missing
        [("left", 0.0, 0.15), ("right", 0.9, 1.0)],  # more than one step later
    ],
)
def test_across_a_missed_step_nothing_is_counted(rows) -> None:
    for name in ("flight_time_s", "step_time_s", "step_frequency_hz"):
        assert np.isnan(values(rows, name)).all()
    assert np.isfinite(values(rows, "contact_time_s")).all()
    assert not find_next_step(contacts(rows), LONGEST_STEP_S).any()


def test_uncertainties_add_in_quadrature() -> None:
    figures = compute_timing_quantities(
        contacts(THREE, u_s=0.003, shared_u_s=0.004), LONGEST_STEP_S
    )
    u = {name: figure.uncertainty for name, figure in figures.items()}
    np.testing.assert_allclose(u["touchdown_s"], 0.005)
    np.testing.assert_allclose(u["contact_time_s"], 0.005 * np.sqrt(2.0))
    np.testing.assert_allclose(u["flight_time_s"], [0.005 * np.sqrt(2.0)] * 2 + [NAN])
    # What all touchdowns share cancels from one to the next, and between contacts altogether.
    np.testing.assert_allclose(u["step_time_s"], [0.003 * np.sqrt(2.0)] * 2 + [NAN])
    for name in ("touchdown_s", "contact_time_s", "step_time_s"):
        alone = compute_timing_quantities(contacts(THREE, u_s=0.003), LONGEST_STEP_S)[
            name
        ].uncertainty
        np.testing.assert_allclose(figures[name].repeat_uncertainty, alone)
    # d(1/T) = dT / T²: 16 times as many Hz as s at 4 Hz.
    np.testing.assert_allclose(u["step_frequency_hz"], 16.0 * u["step_time_s"])


def test_what_sampling_adds_is_a_part_of_its_own() -> None:
    plain = contacts(THREE, u_s=0.005)
    rate_u = {"touchdown_rate_u_s": np.full(3, 0.003), "toe_off_rate_u_s": np.full(3, 0.0)}
    figures = compute_timing_quantities(
        replace(plain, evidence={**plain.evidence, **rate_u}), LONGEST_STEP_S
    )
    np.testing.assert_allclose(figures["touchdown_s"].parts["rate"], 0.003)
    np.testing.assert_allclose(figures["touchdown_s"].parts["event"], 0.004)
    np.testing.assert_allclose(figures["toe_off_s"].parts["rate"], 0.0)
    for name, figure in compute_timing_quantities(plain, LONGEST_STEP_S).items():
        np.testing.assert_allclose(figures[name].uncertainty, figure.uncertainty, err_msg=name)


def test_no_contacts() -> None:
    figures = compute_timing_quantities(contacts([]), LONGEST_STEP_S)
    assert all(len(figure.value) == 0 for figure in figures.values())


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.15, 0.5), st.floats(0.3, 0.9)), min_size=2, max_size=12),
    st.floats(-1e4, 1e9),
)
def test_times_do_not_depend_on_where_the_clock_begins(steps, shift_s) -> None:
    down = np.concatenate(([0.0], np.cumsum([step for step, _ in steps])))[:-1]
    rows = [
        ("left" if k % 2 == 0 else "right", down[k], down[k] + share * step)
        for k, (step, share) in enumerate(steps)
    ]
    plain = compute_timing_quantities(contacts(rows), LONGEST_STEP_S)
    late = compute_timing_quantities(
        contacts([(s, a + shift_s, b + shift_s) for s, a, b in rows]), LONGEST_STEP_S
    )
    for name in ("contact_time_s", "flight_time_s", "step_time_s"):
        np.testing.assert_allclose(late[name].value, plain[name].value, atol=1e-6)
    contact, flight = plain["contact_time_s"].value, plain["flight_time_s"].value
    np.testing.assert_allclose((contact + flight)[:-1], plain["step_time_s"].value[:-1])
