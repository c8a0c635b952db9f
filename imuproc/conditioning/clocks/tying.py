"""Logs whose clocks are not one: tied together by what their sensors saw in common.

Shank and foot of one leg share an ankle, so running itself ties their clocks. What ties the legs is
a jump or a tap that both saw: two legs do not land in the very same instant, and that limits how
well their clocks can be known. Whatever is tied comes onto the clock of the first log.
"""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.clocks.coarse import find_activity_offset, find_motion_offset
from imuproc.conditioning.clocks.events import (
    EventSettings,
    Match,
    Moments,
    find_moments,
    match_moments,
)
from imuproc.conditioning.clocks.fit import ClockFit, SeenLag, fit_clock
from imuproc.conditioning.clocks.grid import (
    GRID_HZ,
    BusySettings,
    OwnGrid,
    find_busy_intervals,
    make_own_grid,
)
from imuproc.conditioning.clocks.lag import LagSettings, prepare_joint_signals, solve_joint_lag
from imuproc.conditioning.samples.clipping import RangeSettings
from imuproc.conditioning.samples.stamps import StampSettings
from imuproc.core.clocks import Clocks, ClockTie
from imuproc.core.history import HistoryEntry
from imuproc.core.recording import SensorLog
from imuproc.core.sites import Site, is_foot, is_lower_leg, side_of
from imuproc.files.settings_model import MEMORY, StageSettings, number, table

FloatArray = NDArray[np.float64]

_JOINT = "running, by the ankle that both share"
_EVENT = "common jumps or taps"
_MOST_PIECES_COUNT = 12
"""More intervals of a log are not compared: it would take too long."""


class ClockSettings(StageSettings):
    """How clocks are tied, and how well that goes."""

    basis = MEMORY
    drift_u_ppm: float = number(
        70.0,
        (0.1, 100_000.0),
        "How differently two clocks may run where their stamps do not tell.",
        "two crystals of 50 ppm",
    )
    reach_s: float = number(1.5, (0.0, 60.0), "How far the offset by activity may be off.")
    reach_ppm: float = number(
        250.0, (0.0, 100_000.0), "What adds to that over the length of a log."
    )
    least_alike: float = number(
        0.5,
        (0.0, 1.0),
        "Least correlation of the activity of two sensors of one athlete.",
        unit="",
    )
    motion_cutoff_hz: float = number(
        8.0, (1.0, 25.0), "Low-pass of the motion by which a stride is told from the next."
    )
    landing_u_s: float = number(
        0.004, (0.0, 0.5), "By how much one leg lands before the other, from jump to jump."
    )
    landing_common_u_s: float = number(0.003, (0.0, 0.5), "The same in all jumps alike.")
    tap_u_s: float = number(
        0.0007,
        (0.0, 0.5),
        "Standard uncertainty of the lag from a tap, alike and by chance each.",
    )
    sample_u_share: float = number(
        0.4,
        (0.0, 10.0),
        "What adds to that, in samples of the slower log or of the 200 Hz at which logs are "
        "compared: a shock is shorter than they are.",
    )
    passage_u_s: float = number(
        0.003,
        (0.0, 0.5),
        "What adds where a foot is compared with a shank: a shock takes time on its way up.",
    )
    pelvis_u_s: float = number(0.015, (0.0, 0.5), "The same for a pelvis.")
    piece_s: float = number(
        10.0, (1.0, 600.0), "Motion is compared over stretches of about this length."
    )
    agree_s: float = number(
        0.02,
        (0.0, 0.5),
        "Lags that lie farther apart, beyond what clocks drift, are not of one pair of clocks.",
    )
    wrong_drift_u_ppm: float = number(
        10_000.0,
        (0.1, 1_000_000.0),
        "What stands for drift_u_ppm where clocks turned out not to be what was stated: then one "
        "may run faster than another by more than crystals do.",
    )
    wrong_reach_ppm: float = number(25_000.0, (0.0, 1_000_000.0), "What then stands for reach_ppm.")
    wrong_piece_s: float = number(2.5, (1.0, 600.0), "What then stands for piece_s.")
    lag: LagSettings = table(LagSettings)
    events: EventSettings = table(EventSettings)
    busy: BusySettings = table(BusySettings)

    def relax_for_wrong_clocks(self) -> "ClockSettings":
        """Settings for clocks of which nothing is known."""
        wrong = {
            "drift_u_ppm": self.wrong_drift_u_ppm,
            "reach_ppm": self.wrong_reach_ppm,
            "piece_s": self.wrong_piece_s,
        }
        return self.model_copy(update=wrong)


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

    def to_root(self, site: Site, time_s: FloatArray) -> FloatArray:
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
            centre_s = self.to_root(tie.to, np.array([tie.centre_s]))
            rooted[site] = replace(tie, centre_s=float(centre_s[0]))
        return Clocks(shared=False, ties=rooted)

    @property
    def groups(self) -> tuple[tuple[Site, ...], ...]:
        """Sensors that are tied together, group by group, in the order of the run."""
        clocks = self.clocks
        roots = dict.fromkeys(clocks.find_root(site) for site in self.sites)
        return tuple(tuple(s for s in self.sites if clocks.find_root(s) == root) for root in roots)

    @property
    def entry(self) -> HistoryEntry:
        """What was done, with its numbers."""
        clocks = self.clocks
        words = "; ".join(_describe_tie(tie) for tie in clocks.ties.values())
        numbers = {str(site): asdict(tie) for site, tie in clocks.ties.items()}
        told = f"Clocks tied: {words or 'no two of them'}."
        return HistoryEntry("conditioning.clocks", told, numbers)


def tie_clocks(
    logs: Mapping[Site, SensorLog],
    by_events: bool,
    settings: ClockSettings,
    stamps: StampSettings,
    ranges: RangeSettings,
) -> TiedClocks:
    """Find out how logs of separate clocks lie against each other.

    Parameters
    ----------
    logs : mapping from Site to SensorLog
        200 Hz is enough; the first one sets the clock.
    by_events : bool
        Whether all sensors saw common jumps or taps. Without them only shank and foot of a leg are
        tied.
    settings : ClockSettings
    stamps : StampSettings
    ranges : RangeSettings

    Returns
    -------
    TiedClocks

    Raises
    ------
    RunError
        If the stamps of a log cannot be used.
    """
    grids = {site: make_own_grid(log, stamps, ranges) for site, log in logs.items()}
    moments = {s: find_moments(g, settings.events) for s, g in grids.items()} if by_events else {}
    return TiedClocks(tuple(logs), _tie_sensors(_Logs(settings, grids, moments)))


def _describe_tie(tie: ClockTie) -> str:
    return (
        f"{tie.site} to {tie.to} to {1e3 * tie.offset_u_s:.1f} ms and {tie.drift_u_ppm:.0f} ppm by "
        f"{tie.basis}"
    )


@dataclass(frozen=True, eq=False)
class _Logs:
    """All logs on grids of their own clocks, and their moments where they count."""

    settings: ClockSettings
    grids: Mapping[Site, OwnGrid]
    moments: Mapping[Site, Moments]


def _tie_sensors(body: _Logs) -> dict[Site, ClockTie]:
    """Ties of the sensors, each to one that is tied already: the surest first."""
    sites = list(body.grids)
    links: dict[tuple[Site, Site], tuple[ClockFit, str]] = {}
    for k, a in enumerate(sites):
        for b in sites[k + 1 :]:
            found = _link_clocks(body, a, b)
            if found is not None:
                links[a, b] = found
                links[b, a] = found[0].invert(), found[1]
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
        ties[site] = ClockTie(site, to, **asdict(fit), basis=basis)
        known.add(site)
        left.remove(site)
    return ties


def _link_clocks(body: _Logs, a: Site, b: Site) -> tuple[ClockFit, str] | None:
    """How the clocks of two sensors lie against each other; None where nothing tells."""
    same_leg = _are_of_one_leg(a, b)
    by_events = bool(body.moments)
    if not (same_leg or by_events):
        return None
    settings = body.settings
    grid_a, grid_b = body.grids[a], body.grids[b]
    offset_s, alike = find_activity_offset(grid_a, grid_b)
    if alike < settings.least_alike:
        return None
    reach_s = settings.reach_s + 1e-6 * settings.reach_ppm * min(grid_a.span_s, grid_b.span_s)
    if same_leg:
        shank, foot = (b, a) if is_foot(a) else (a, b)
        sign = -1.0 if is_foot(a) else 1.0
        seen = _find_ankle_lags(
            body.grids[shank], body.grids[foot], sign * offset_s, reach_s, settings
        )
        if seen:
            fit = fit_clock(seen, settings.lag.common_u_s, settings.drift_u_ppm)
            return (fit.invert() if is_foot(a) else fit), _JOINT
    if not by_events:
        return None
    found = match_moments(
        (grid_a, body.moments[a]), (grid_b, body.moments[b]), offset_s, reach_s, settings.events
    )
    sample_s = max(grid_a.period_s, grid_b.period_s, 1.0 / GRID_HZ)
    return (_fit_events(found, (a, b), sample_s, settings), _EVENT) if found else None


def _are_of_one_leg(a: Site, b: Site) -> bool:
    """Whether both are a shank or a foot, of the same side."""
    return is_lower_leg(a) and is_lower_leg(b) and side_of(a) == side_of(b)


def _fit_events(
    found: list[Match], pair: tuple[Site, Site], sample_s: float, settings: ClockSettings
) -> ClockFit:
    """Offset and drift from moments that both sensors saw."""
    a, b = pair
    tap_u_s = float(np.hypot(settings.tap_u_s, settings.sample_u_share * sample_s))
    same_leg = _are_of_one_leg(a, b)
    taps = all(match.tap for match in found)
    by_chance = [tap_u_s if match.tap or same_leg else settings.landing_u_s for match in found]
    common = tap_u_s if taps or same_leg else settings.landing_common_u_s
    if not taps:
        if not (is_lower_leg(a) and is_lower_leg(b)):
            common = float(np.hypot(common, settings.pelvis_u_s))
        elif is_foot(a) != is_foot(b):
            common = float(np.hypot(common, settings.passage_u_s))
    seen = [SeenLag(m.stamp_s, m.lag_s, u) for m, u in zip(found, by_chance, strict=True)]
    return fit_clock(seen, common, settings.drift_u_ppm)


def _find_ankle_lags(
    shank: OwnGrid, foot: OwnGrid, offset_s: float, reach_s: float, settings: ClockSettings
) -> list[SeenLag]:
    """Lags of the foot's clock behind the shank's over intervals of motion."""
    seen: list[SeenLag] = []
    for interval_s in _pick_evenly(find_busy_intervals(shank, settings.busy)):
        near = (offset_s, reach_s)
        rough_s, alike = find_motion_offset(
            shank, foot, interval_s, near, settings.motion_cutoff_hz
        )
        if alike < settings.least_alike:
            continue
        for start_s, end_s in _split_into_pieces(interval_s, settings.piece_s):
            one = _solve_piece_lag(shank, foot, (start_s, end_s), rough_s, settings.lag)
            if one is not None:
                seen.append(one)
    return _keep_agreeing(seen, settings)


def _solve_piece_lag(
    shank: OwnGrid,
    foot: OwnGrid,
    piece: tuple[float, float],
    rough_s: float,
    settings: LagSettings,
) -> SeenLag | None:
    rows = shank.find_rows(*piece)
    shift = round((shank.start_s + rows.start / GRID_HZ + rough_s - foot.start_s) * GRID_HZ)
    count = min(rows.stop - rows.start, len(foot.accel_mps2) - shift)
    if shift < 0 or count < GRID_HZ:
        return None
    here, there = slice(rows.start, rows.start + count), slice(shift, shift + count)
    signals = [
        prepare_joint_signals(
            grid.accel_mps2[at], grid.gyro_radps[at], grid.clipped[at], GRID_HZ, settings
        )
        for grid, at in ((shank, here), (foot, there))
    ]
    lag = solve_joint_lag(signals[0], signals[1], settings)
    if lag is None:
        return None
    apart_s = foot.start_s + shift / GRID_HZ - (shank.start_s + rows.start / GRID_HZ)
    middle_s = 0.5 * (piece[0] + piece[1])
    return SeenLag(middle_s, apart_s + lag.lag_s, float(np.hypot(lag.u_s, settings.stretch_u_s)))


def _split_into_pieces(
    interval_s: tuple[float, float], piece_s: float
) -> Iterable[tuple[float, float]]:
    count = max(1, int((interval_s[1] - interval_s[0]) / piece_s))
    edges = np.linspace(*interval_s, count + 1)
    return zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)


def _pick_evenly(intervals_s: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Leave out intervals beyond what is needed, evenly over the whole log."""
    if len(intervals_s) <= _MOST_PIECES_COUNT:
        return intervals_s
    rows = np.linspace(0, len(intervals_s) - 1, _MOST_PIECES_COUNT).round().astype(int)
    return [intervals_s[row] for row in rows]


def _keep_agreeing(seen: list[SeenLag], settings: ClockSettings) -> list[SeenLag]:
    """Lags that one clock against the other explains: a wrong stride is a whole stride off."""
    if len(seen) < 2:
        return seen
    at = np.array([one.at_s for one in seen])
    lag = np.array([one.lag_s for one in seen])
    allowed = settings.agree_s + 1e-6 * settings.reach_ppm * np.abs(at[:, None] - at)
    together = np.abs(lag[:, None] - lag) <= allowed
    best = together[int(np.argmax(together.sum(axis=1)))]
    return [one for one, kept in zip(seen, best, strict=True) if kept]
