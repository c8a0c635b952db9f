"""Contacts from vertical force, on made-up plates whose flanks are straight lines."""

import numpy as np
import pytest

from imuproc.dsp.force import find_force_contacts

TOUCHDOWNS = (0.2, 0.6, 1.0, 1.4)
CONTACT_S = 0.2


def plate(rate_hz: float, zero_n: float = 0.0, end_s: float = 2.0):
    """Contacts that load and unload by 10 N per ms up to 800 N, on a plate with an offset."""
    t = np.arange(0.0, end_s, 1.0 / rate_hz)
    force = np.zeros(len(t))
    for touchdown in TOUCHDOWNS:
        flank = np.minimum(t - touchdown, touchdown + CONTACT_S - t) * 10_000.0
        force = np.maximum(force, np.clip(flank, 0.0, 800.0))
    return t, force + zero_n


@pytest.mark.parametrize("rate_hz", [300.0, 1000.0, 2000.0])
@pytest.mark.parametrize("zero_n", [0.0, 9.0, -30.0])
def test_events_are_crossings_above_the_local_zero(rate_hz, zero_n):
    found = find_force_contacts(*plate(rate_hz, zero_n), 20.0)
    np.testing.assert_allclose(found.touchdown_s, np.array(TOUCHDOWNS) + 0.002, atol=1e-9)
    np.testing.assert_allclose(found.toe_off_s, np.array(TOUCHDOWNS) + 0.198, atol=1e-9)
    assert (found.cut, found.weak) == (0, 0)


def test_a_zero_that_drifts_does_not_move_the_events():
    t, force = plate(1000.0)
    found = find_force_contacts(t, force + 15.0 * t, 20.0)
    # The slope itself moves the crossings by less than 15 N/s * 0.3 s / 10 N per ms = 0.5 ms.
    np.testing.assert_allclose(found.touchdown_s, np.array(TOUCHDOWNS) + 0.002, atol=5e-4)
    np.testing.assert_allclose(found.toe_off_s, np.array(TOUCHDOWNS) + 0.198, atol=5e-4)


def test_contacts_that_the_record_cuts_are_left_out_and_counted():
    t, force = plate(1000.0)
    inside = (t > 0.3) & (t < 1.5)
    found = find_force_contacts(t[inside], force[inside], 20.0)
    assert found.cut == 2
    np.testing.assert_allclose(found.touchdown_s, [0.602, 1.002], atol=1e-9)


def test_a_touch_is_no_contact():
    t, force = plate(1000.0)
    force = np.where((t > 0.5) & (t < 0.52), 150.0, force)
    found = find_force_contacts(t, force, 20.0)
    assert found.weak == 1
    assert len(found.touchdown_s) == 4


def test_an_event_without_flight_beside_it_is_missing():
    t, force = plate(1000.0)
    force = np.where((t >= 0.44) & (t < 0.59), 400.0, force)  # 40 ms after one, 10 ms before
    found = find_force_contacts(t, force, 20.0)
    assert np.isnan(found.toe_off_s[0])
    assert np.isfinite(found.touchdown_s[0])


def test_nothing_on_the_plate_is_no_contact():
    t = np.arange(0.0, 1.0, 0.001)
    assert len(find_force_contacts(t, 5.0 * np.sin(300.0 * t), 20.0).touchdown_s) == 0


@pytest.mark.parametrize("threshold_n", [0.0, -5.0, 80.0, np.nan])
def test_a_threshold_that_means_nothing_is_refused(threshold_n):
    with pytest.raises(ValueError, match="it must be above 0, below 80"):
        find_force_contacts(*plate(300.0), threshold_n)


def test_one_sample_is_refused():
    with pytest.raises(ValueError, match="fewer than two samples"):
        find_force_contacts(np.array([0.0]), np.array([5.0]), 20.0)
