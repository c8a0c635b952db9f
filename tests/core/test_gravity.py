"""Local gravity."""

import pytest

from imuproc.core.gravity import compute_gravity_mps2


@pytest.mark.parametrize(
    ("latitude_deg", "expected_mps2"),
    [
        # World Geodetic System 1984: defining values at the equator and the pole.
        (0.0, 9.7803253359),
        (90.0, 9.8321849378),
        # The same closed formula worked out apart from this package.
        (30.0, 9.793247269),
        (45.0, 9.806197769),
        (51.5, 9.812033575),
        (60.0, 9.819176953),
    ],
)
def test_gravity_follows_the_wgs84_formula(latitude_deg, expected_mps2):
    assert compute_gravity_mps2(latitude_deg) == pytest.approx(expected_mps2, abs=1e-9)
    assert compute_gravity_mps2(-latitude_deg) == compute_gravity_mps2(latitude_deg)


def test_unknown_latitude_gives_standard_gravity():
    # CGPM 1901, exact.
    assert compute_gravity_mps2(None) == 9.80665


@pytest.mark.parametrize("latitude_deg", [90.5, -91.0, float("nan"), float("inf")])
def test_latitude_off_the_earth_is_refused(latitude_deg):
    with pytest.raises(ValueError, match=r"latitude_deg: found .*; allowed: -90 to 90"):
        compute_gravity_mps2(latitude_deg)
