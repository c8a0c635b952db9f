"""How well the clocks of a recording's sensors are known against each other."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from imuproc.core.sites import Site

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class ClockTie:
    """How one sensor's clock was tied to another one's.

    Parameters
    ----------
    site, to : Site
        The sensor, and the one that it was tied to.
    offset_s : float
        Stamp of ``site`` minus stamp of ``to`` at the same instant, at ``centre_s``.
    drift_ppm : float
        By how much the clock of ``site`` gains on that of ``to``, parts per million.
    centre_s : float
        Instant at which offset and drift are uncorrelated, on the clock of the first log.
    offset_u_s, drift_u_ppm : float
        Standard uncertainties there.
    basis : str
        What it was read from, for people.
    """

    site: Site
    to: Site
    offset_s: float
    drift_ppm: float
    centre_s: float
    offset_u_s: float
    drift_u_ppm: float
    basis: str = ""

    def compute_u_s(self, time_s: FloatArray) -> FloatArray:
        """Standard uncertainty in s of one clock against the other at given times, shape (m,)."""
        since_s = np.asarray(time_s, dtype=np.float64) - self.centre_s
        return np.asarray(np.hypot(self.offset_u_s, 1e-6 * self.drift_u_ppm * since_s))


@dataclass(frozen=True)
class Clocks:
    """Which sensors' clocks are known against each other, and how well.

    Every sensor is tied to at most one other; along the ties any two are compared.

    Parameters
    ----------
    shared : bool
        Whether all stamps come from one clock: no uncertainty then.
    ties : mapping from Site to ClockTie
        By the sensor that was tied to another one; they hold no ring.
    untied : tuple of Site
        Sensors of the same recording whose clocks nothing ties to these: worked on by themselves.
    """

    shared: bool = True
    ties: Mapping[Site, ClockTie] = field(default_factory=dict)
    untied: tuple[Site, ...] = ()

    def compute_u_s(self, a: Site, b: Site, time_s: FloatArray) -> FloatArray:
        """Standard uncertainty of times of one sensor against times of another one.

        Parameters
        ----------
        a, b : Site
        time_s : ndarray, shape (m,)
            On the clock of the first log.

        Returns
        -------
        ndarray, shape (m,)
            In s; infinite where nothing ties the two together.
        """
        times = np.asarray(time_s, dtype=np.float64)
        if self.shared or a == b:
            return np.zeros(times.shape)
        mine, other = self._find_path(a), self._find_path(b)
        if mine[-1] != other[-1]:
            return np.full(times.shape, np.inf)
        # What lies beyond where the ways meet is common to both.
        apart = set(mine) ^ set(other)
        links = [self.ties[site].compute_u_s(times) for site in apart if site in self.ties]
        return np.asarray(np.sqrt(sum((u**2 for u in links), start=np.zeros(times.shape))))

    def find_root(self, site: Site) -> Site:
        """The sensor on whose clock a sensor's stamps are."""
        return self._find_path(site)[-1]

    def _find_path(self, site: Site) -> list[Site]:
        """The sensor, the one it was tied to, and so on to the last."""
        way = [site]
        while way[-1] in self.ties:
            way.append(self.ties[way[-1]].to)
        return way
