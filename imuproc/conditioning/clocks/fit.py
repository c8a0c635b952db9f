"""Offset and drift of one clock against another from lags seen at some instants."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class SeenLag:
    """A lag that was seen.

    Parameters
    ----------
    at_s : float
        When, on the clock of the sensor that is compared with.
    lag_s : float
        Stamp of the other sensor minus that stamp.
    u_s : float
        Standard uncertainty by chance.
    """

    at_s: float
    lag_s: float
    u_s: float


@dataclass(frozen=True)
class ClockFit:
    """One clock against another: ``offset_s + drift * (t - centre_s)``, t on the other's clock."""

    offset_s: float
    drift_ppm: float
    centre_s: float
    offset_u_s: float
    drift_u_ppm: float

    def invert(self) -> "ClockFit":
        """Turn round which clock is told against which."""
        ratio = 1.0 + 1e-6 * self.drift_ppm
        return ClockFit(
            -self.offset_s,
            1e6 * (1.0 / ratio - 1.0),
            self.centre_s + self.offset_s,
            self.offset_u_s,
            self.drift_u_ppm,
        )


def fit_clock(seen: list[SeenLag], common_u_s: float, drift_u_ppm: float) -> ClockFit:
    """Offset and drift by least squares; without lags far enough apart the drift is assumed.

    Parameters
    ----------
    seen : list of SeenLag
        At least one.
    common_u_s : float
        Standard uncertainty that all lags have alike: it stays in the offset.
    drift_u_ppm : float
        Standard uncertainty of the drift, about 0, before anything is seen.

    Returns
    -------
    ClockFit
        Its centre is the instant at which the errors of offset and drift do not hang together.
    """
    at = np.array([one.at_s for one in seen])
    lag = np.array([one.lag_s for one in seen])
    weight = np.array([one.u_s for one in seen]) ** -2.0
    # Lags that scatter more than they should are worth less (Birge 1932, Phys Rev 40:207).
    for _ in range(2):
        centre = float(np.sum(weight * at) / weight.sum())
        since = at - centre
        offset = float(np.sum(weight * (lag - lag[0])) / weight.sum()) + float(lag[0])
        prior = (1e-6 * drift_u_ppm) ** -2
        drift = float(np.sum(weight * since * (lag - offset)) / (np.sum(weight * since**2) + prior))
        left = lag - offset - drift * since
        free = max(len(seen) - 1, 1)
        weight = weight / max(1.0, float(np.sum(weight * left**2)) / free)
    drift_u = float((np.sum(weight * since**2) + prior) ** -0.5)
    offset_u = float(np.hypot(weight.sum() ** -0.5, common_u_s))
    return ClockFit(offset, 1e6 * drift, centre, offset_u, 1e6 * drift_u)
