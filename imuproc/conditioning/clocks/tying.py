"""Logs whose clocks are not one: tied together by what their sensors saw in common.

Shank and foot of one leg share an ankle, so running itself ties their clocks. What ties the legs is
a jump or a tap that both saw: two legs do not land in the very same instant, and that limits how
well their clocks can be known. Whatever is tied comes onto the clock of the first log.
"""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.clocks.coarse import activity_offset, motion_offset
from imuproc.conditioning.clocks.events import (
    EventSettings,
    Match,
    Moments,
    find_moments,
    matches,
)
from imuproc.conditioning.clocks.fit import ClockFit, Seen, fit_clock
from imuproc.conditioning.clocks.grid import GRID_HZ, OwnGrid, busy_stretches, own_grid
from imuproc.conditioning.clocks.lag import LagSettings, joint_lag, joint_signals
from imuproc.conditioning.samples.stamps import StampSettings
from imuproc.core.clocks import Clocks, ClockTie
from imuproc.core.history import HistoryEntry
from imuproc.core.recording import SensorLog
from imuproc.core.sites import Site, is_foot, side_of

FloatArray = NDArray[np.float64]

_JOINT = "running, by the ankle that both share"
_EVENT = "common jumps or taps"
_MOST_PIECES = 12


@dataclass(frozen=True)
class ClockSettings:
    """How clocks are tied, and how well that goes; from memory unless told otherwise.

    Parameters
    ----------
    lag : LagSettings
        Of shank and foot of one leg.
    events : EventSettings
    drift_u_ppm : float
        How differently two clocks may run where their stamps do not tell: two crystals of 50 ppm.
    reach_s : float
        How far the offset by activity may be off.
    reach_ppm : float
        What adds to that over the length of a log.
    least_alike : float
        Least correlation of the activity of two sensors of one athlete.
    landing_u_s, landing_common_u_s : float
        By how much one leg lands before the other, from jump to jump and in all jumps alike.
    tap_u_s : float
        Standard uncertainty of the lag from a tap, alike and by chance each.
    sample_u_share : float
        What adds to that, in samples of the slower log or of the 200 Hz at which logs are compared:
        a shock is shorter than they are.
    passage_u_s : float
        What adds where a foot is compared with a shank: a shock takes time on its way up.
    pelvis_u_s : float
        The same for a pelvis.
    piece_s : float
        Motion is compared over stretches of about this length.
    wrong_drift_u_ppm, wrong_reach_ppm, wrong_piece_s : float
        What stands for ``drift_u_ppm``, ``reach_ppm`` and ``piece_s`` where clocks turned out not
        to be what was stated: then one may run faster than another by more than crystals do.
    """

    lag: LagSettings = field(default_factory=LagSettings)
    events: EventSettings = field(default_factory=EventSettings)
    drift_u_ppm: float = 70.0
    reach_s: float = 1.5
    reach_ppm: float = 250.0
    least_alike: float = 0.5
    landing_u_s: float = 0.004
    landing_common_u_s: float = 0.003
    tap_u_s: float = 0.0007
    sample_u_share: float = 0.4
    passage_u_s: float = 0.003
    pelvis_u_s: float = 0.015
    piece_s: float = 10.0
    wrong_drift_u_ppm: float = 10_000.0
    wrong_reach_ppm: float = 25_000.0
    wrong_piece_s: float = 2.5

    def for_wrong_clocks(self) -> "ClockSettings":
        """Settings for clocks of which nothing is known."""
        return replace(
            self,
            drift_u_ppm=self.wrong_drift_u_ppm,
            reach_ppm=self.wrong_reach_ppm,
            piece_s=self.wrong_piece_s,
        )


@dataclass(frozen=True, eq=False)
class TiedClocks:
    """Sensors of one recording, tied as far as they can be.

    Parameters
    ----------
    sites : tuple of Site
        In the order in which the run names them.
    own : mapping from Site to ClockTie
        Ties whose instants count on the clock of the sensor that is tied to.
    """

    sites: tuple[Site, ...]
    own: Mapping[Site, ClockTie]

    def onto_root(self, site: Site, time_s: FloatArray) -> FloatArray:
        """Stamps of a sensor on the clock of the sensor at the root of its ties, shape (n,)."""
        while site in self.own:
            tie = self.own[site]
            since_s = time_s - tie.offset_s - tie.centre_s
            time_s, site = tie.centre_s + since_s / (1.0 + 1e-6 * tie.drift_ppm), tie.to
        return time_s

    @property
    def clocks(self) -> Clocks:
        """The ties with their instants on the clock of the root."""
        rooted = {}
        for site, tie in self.own.items():
            centre_s = self.onto_root(tie.to, np.array([tie.centre_s]))
            rooted[site] = replace(tie, centre_s=float(centre_s[0]))
        return Clocks(shared=False, ties=rooted)

    @property
    def groups(self) -> tuple[tuple[Site, ...], ...]:
        """Sensors that are tied together, group by group, in the order of the run."""
        clocks = self.clocks
        roots = dict.fromkeys(clocks.root(site) for site in self.sites)
        return tuple(tuple(s for s in self.sites if clocks.root(s) == root) for root in roots)

    @property
    def entry(self) -> HistoryEntry:
        """What was done, with its numbers."""
        clocks = self.clocks
        words = "; ".join(_told(tie) for tie in clocks.ties.values())
        numbers = {str(site): asdict(tie) for site, tie in clocks.ties.items()}
        told = f"Clocks tied: {words or 'no two of them'}."
        return HistoryEntry("conditioning.clocks", told, numbers)


def tie_clocks(
    logs: Mapping[Site, SensorLog],
    by_events: bool,
    settings: ClockSettings | None = None,
    stamps: StampSettings | None = None,
) -> TiedClocks:
    """Find out how logs of separate clocks lie against each other.

    Parameters
    ----------
    logs : mapping from Site to SensorLog
        200 Hz is enough; the first one sets the clock.
    by_events : bool
        Whether all sensors saw common jumps or taps. Without them only shank and foot of a leg are
        tied.
    settings : ClockSettings, optional
    stamps : StampSettings, optional

    Returns
    -------
    TiedClocks

    Raises
    ------
    RunError
        If the stamps of a log cannot be used.
    """
    settings = settings or ClockSettings()
    grids = {site: own_grid(log, stamps or StampSettings()) for site, log in logs.items()}
    moments = {s: find_moments(g, settings.events) for s, g in grids.items()} if by_events else {}
    return TiedClocks(tuple(logs), _tied(_Body(settings, grids, moments)))


def _told(tie: ClockTie) -> str:
    return (
        f"{tie.site} to {tie.to} to {1e3 * tie.offset_u_s:.1f} ms and {tie.drift_u_ppm:.0f} ppm by "
        f"{tie.basis}"
    )


@dataclass(frozen=True, eq=False)
class _Body:
    """All logs on grids of their own clocks, and their moments where they count."""

    settings: ClockSettings
    grids: Mapping[Site, OwnGrid]
    moments: Mapping[Site, Moments]


def _tied(body: _Body) -> dict[Site, ClockTie]:
    """Ties of the sensors, each to one that is tied already: the surest first."""
    sites = list(body.grids)
    links: dict[tuple[Site, Site], tuple[ClockFit, str]] = {}
    for k, a in enumerate(sites):
        for b in sites[k + 1 :]:
            found = _link(body, a, b)
            if found is not None:
                links[a, b] = found
                links[b, a] = found[0].turned(), found[1]
    ties: dict[Site, ClockTie] = {}
    left = sites[1:]
    known = {sites[0]}
    while left:
        open_links = [(to, site) for to, site in links if to in known and site in left]
        if not open_links:
            known.add(left.pop(0))  # a clock of its own
            continue
        to, site = min(open_links, key=lambda pair: links[pair][0].offset_u_s)
        fit, basis = links[to, site]
        ties[site] = ClockTie(site, to, *fit.numbers, basis)
        known.add(site)
        left.remove(site)
    return ties


def _link(body: _Body, a: Site, b: Site) -> tuple[ClockFit, str] | None:
    """How the clocks of two sensors lie against each other; None where nothing tells."""
    same_leg = side_of(a) is not None and side_of(a) == side_of(b)
    by_events = bool(body.moments)
    if not (same_leg or by_events):
        return None
    settings = body.settings
    grid_a, grid_b = body.grids[a], body.grids[b]
    offset_s, alike = activity_offset(grid_a, grid_b)
    if alike < settings.least_alike:
        return None
    reach_s = settings.reach_s + 1e-6 * settings.reach_ppm * min(grid_a.span_s, grid_b.span_s)
    if same_leg:
        shank, foot = (b, a) if is_foot(a) else (a, b)
        sign = -1.0 if is_foot(a) else 1.0
        seen = _by_ankle(body.grids[shank], body.grids[foot], sign * offset_s, reach_s, settings)
        if seen:
            fit = fit_clock(seen, settings.lag.common_u_s, settings.drift_u_ppm)
            return (fit.turned() if is_foot(a) else fit), _JOINT
    if not by_events:
        return None
    found = matches(
        (grid_a, body.moments[a]), (grid_b, body.moments[b]), offset_s, reach_s, settings.events
    )
    sample_s = max(grid_a.period_s, grid_b.period_s, 1.0 / GRID_HZ)
    return (_by_events(found, (a, b), sample_s, settings), _EVENT) if found else None


def _by_events(
    found: list[Match], pair: tuple[Site, Site], sample_s: float, settings: ClockSettings
) -> ClockFit:
    """Offset and drift from moments that both sensors saw."""
    a, b = pair
    tap_u_s = float(np.hypot(settings.tap_u_s, settings.sample_u_share * sample_s))
    same_leg = side_of(a) == side_of(b)
    taps = all(match.tap for match in found)
    by_chance = [tap_u_s if match.tap or same_leg else settings.landing_u_s for match in found]
    common = tap_u_s if taps or same_leg else settings.landing_common_u_s
    if not taps:
        if "pelvis" in (a, b):
            common = float(np.hypot(common, settings.pelvis_u_s))
        elif is_foot(a) != is_foot(b):
            common = float(np.hypot(common, settings.passage_u_s))
    seen = [Seen(m.stamp_s, m.lag_s, u) for m, u in zip(found, by_chance, strict=True)]
    return fit_clock(seen, common, settings.drift_u_ppm)


def _by_ankle(
    shank: OwnGrid, foot: OwnGrid, offset_s: float, reach_s: float, settings: ClockSettings
) -> list[Seen]:
    """Lags of the foot's clock behind the shank's over stretches of motion."""
    seen: list[Seen] = []
    for stretch in _spread_evenly(busy_stretches(shank)):
        rough_s, alike = motion_offset(shank, foot, stretch, offset_s, reach_s)
        if alike < settings.least_alike:
            continue
        for start_s, end_s in _pieces(stretch, settings.piece_s):
            one = _one_lag(shank, foot, (start_s, end_s), rough_s, settings.lag)
            if one is not None:
                seen.append(one)
    return _agreeing(seen, settings)


def _one_lag(
    shank: OwnGrid,
    foot: OwnGrid,
    piece: tuple[float, float],
    rough_s: float,
    settings: LagSettings,
) -> Seen | None:
    rows = shank.rows(*piece)
    shift = round((shank.start_s + rows.start / GRID_HZ + rough_s - foot.start_s) * GRID_HZ)
    count = min(rows.stop - rows.start, len(foot.accel_mps2) - shift)
    if shift < 0 or count < GRID_HZ:
        return None
    here, there = slice(rows.start, rows.start + count), slice(shift, shift + count)
    signals = [
        joint_signals(
            g.accel_mps2[part], g.gyro_radps[part], g.clipped[part], GRID_HZ, settings.cutoff_hz
        )
        for g, part in ((shank, here), (foot, there))
    ]
    lag = joint_lag(signals[0], signals[1], settings)
    if lag is None:
        return None
    apart_s = foot.start_s + shift / GRID_HZ - (shank.start_s + rows.start / GRID_HZ)
    middle_s = 0.5 * (piece[0] + piece[1])
    return Seen(middle_s, apart_s + lag.lag_s, float(np.hypot(lag.u_s, settings.stretch_u_s)))


def _pieces(stretch: tuple[float, float], piece_s: float) -> Iterable[tuple[float, float]]:
    count = max(1, int((stretch[1] - stretch[0]) / piece_s))
    edges = np.linspace(*stretch, count + 1)
    return zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)


def _spread_evenly(stretches: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Not more stretches than needed, over the whole log."""
    if len(stretches) <= _MOST_PIECES:
        return stretches
    rows = np.linspace(0, len(stretches) - 1, _MOST_PIECES).round().astype(int)
    return [stretches[row] for row in rows]


def _agreeing(seen: list[Seen], settings: ClockSettings) -> list[Seen]:
    """Lags that one clock against the other explains: a wrong stride is a whole stride off."""
    if len(seen) < 2:
        return seen
    at = np.array([one.at_s for one in seen])
    lag = np.array([one.lag_s for one in seen])
    allowed = 0.02 + 1e-6 * settings.reach_ppm * np.abs(at[:, None] - at)
    together = np.abs(lag[:, None] - lag) <= allowed
    best = together[int(np.argmax(together.sum(axis=1)))]
    return [one for one, kept in zip(seen, best, strict=True) if kept]
