"""Local gravity."""

from math import radians as to_radians
from math import sin, sqrt

from imuproc.core.units import STANDARD_GRAVITY_MPS2

# World Geodetic System 1984, closed form of Somigliana: gravity at the equator, the formula's
# constant, and the square of the first eccentricity of the ellipsoid.
_EQUATOR_MPS2 = 9.7803253359
_SOMIGLIANA_RATIO = 0.00193185265241
_ECCENTRICITY_SQUARED_RATIO = 0.00669437999014


def compute_gravity_mps2(latitude_deg: float | None) -> float:
    """Gravity at a latitude, at the height of the ellipsoid.

    Parameters
    ----------
    latitude_deg : float or None
        Geodetic latitude in deg, -90 to 90; None where it is not known.

    Returns
    -------
    float
        Gravity in m/s²: by the WGS84 formula (Somigliana's closed form), or standard gravity,
        9.80665 m/s² (CGPM 1901), where the latitude is not known.

    Raises
    ------
    ValueError
        The latitude is not a number from -90 to 90.

    Notes
    -----
    Height is left out: 1000 m change gravity by 0.03 % (free air, -3.086e-6 s⁻² per m).
    """
    if latitude_deg is None:
        return STANDARD_GRAVITY_MPS2
    if not -90.0 <= latitude_deg <= 90.0:
        raise ValueError(f"latitude_deg: found {latitude_deg}; allowed: -90 to 90")
    sine_squared = sin(to_radians(latitude_deg)) ** 2
    numerator = 1.0 + _SOMIGLIANA_RATIO * sine_squared
    return _EQUATOR_MPS2 * numerator / sqrt(1.0 - _ECCENTRICITY_SQUARED_RATIO * sine_squared)
