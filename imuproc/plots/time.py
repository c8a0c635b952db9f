"""Contacts, signals and motion along time."""

from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from imuproc.core.sites import SIDES
from imuproc.plots.looks import (
    COVERAGE,
    GREEN,
    INK,
    PURPLE,
    SIDE_COLOURS,
    SIDE_FILLS,
    SOFT,
    axes_or_new,
    finish,
)
from imuproc.plots.source import RunToPlot, run_to_plot

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from imuproc.core.result import Result
    from imuproc.results.archive.reading import ArchivedRun

FloatArray = NDArray[np.float64]

_ROWS: Final = {"left": 1.0, "right": 0.0}
_MOST_NUMBERS: Final = 24  # of steps that are written; more would run into each other
_MARGIN_S: Final = 0.2
_TIME: Final = "Time on the log's clock (s)"
_SIGNALS: Final = {
    "accel": ("accel_mps2", 1.0, "acceleration (m/s²)"),
    "gyro": ("gyro_radps", 180.0 / np.pi, "angular velocity (deg/s)"),
}
_AXES: Final = (("x, forward", INK), ("y, left", GREEN), ("z, up", PURPLE))
_EVENTS: Final[tuple[tuple[str, str, Any], ...]] = (
    ("touchdown_s", "touchdown", "solid"),
    ("toe_off_s", "toe-off", (0, (2, 2))),
)


def plot_contacts(run: "Result | ArchivedRun", axes: "Axes | None" = None) -> "Axes":
    """Ground contacts along time: a bar each, left and right in rows of their own.

    Thin lines at the ends of a bar are ±2 standard uncertainties of touchdown and toe-off; where
    one of the two is withheld, a cross stands at the other.

    Parameters
    ----------
    run : Result or ArchivedRun
    axes : matplotlib.axes.Axes, optional
        A new figure when left out.

    Returns
    -------
    matplotlib.axes.Axes

    Raises
    ------
    PlotError
        The run has no touchdown, or could not be processed.

    Examples
    --------
    >>> import imuproc
    >>> session = imuproc.read_session("data_samples/session.toml")
    >>> result = imuproc.process(session.read_run("R07-01"))
    >>> axes = imuproc.plots.plot_contacts(result)
    >>> [label.get_text() for label in axes.get_yticklabels()]
    ['left', 'right']
    """
    shown = run_to_plot(run)
    (start, start_u), (end, end_u) = shown.get_figure("touchdown_s"), shown.get_figure("toe_off_s")
    whole = np.isfinite(start) & np.isfinite(end)
    axes = axes_or_new(axes)
    for side, row in _ROWS.items():
        of = shown.of_side(side)
        bars = np.column_stack((start, end - start))[of & whole]
        look: dict[str, Any] = {"facecolor": SIDE_FILLS[side], "edgecolor": SIDE_COLOURS[side]}
        axes.broken_barh([(at, lasts) for at, lasts in bars], (row - 0.3, 0.6), **look)
        points = np.append(start[of], end[of]), np.full(2 * of.sum(), row)
        bar = COVERAGE * np.append(start_u[of], end_u[of])
        label = None if row else "touchdown and toe-off ±2 u"
        axes.errorbar(*points, xerr=bar, fmt="none", ecolor=INK, capsize=2.5, label=label)
        half = np.where(np.isfinite(start), start, end)[of & ~whole]
        label = "other end not known" if row and not whole.all() else None
        axes.plot(half, np.full(len(half), row), "x", color=SOFT, label=label)
    every = -(-len(start) // _MOST_NUMBERS)
    for step, side, at in zip(shown.steps["step"], shown.steps["side"], start, strict=True):
        if (step - 1) // 2 % every == 0 and np.isfinite(at):
            up = 0.36 if side == "left" else -0.36
            to = "bottom" if side == "left" else "top"
            axes.text(at, _ROWS[side] + up, str(step), color=SOFT, size="small", va=to)
    axes.set_yticks(list(_ROWS.values()), list(_ROWS))
    axes.set_ylim(-0.7, 1.7)
    return finish(axes, shown.run, _TIME, "")


def plot_signals(
    run: "Result | ArchivedRun",
    site: str,
    signal: Literal["accel", "gyro"] = "gyro",
    axes: "Axes | None" = None,
) -> "Axes":
    """Signals of one sensor along time in the axes of its segment, with touchdown and toe-off.

    Lines break where nothing was measured; dots are samples at the end of the sensor's range. All
    samples are drawn, and the run is in view.

    Parameters
    ----------
    run : Result or ArchivedRun
    site : str
        As ``left_foot``.
    signal : {"gyro", "accel"}
        Angular velocity in deg/s, or acceleration with gravity (specific force) in m/s².
    axes : matplotlib.axes.Axes, optional
        A new figure when left out.

    Returns
    -------
    matplotlib.axes.Axes

    Raises
    ------
    PlotError
        The run has no such sensor, or could not be processed.
    ValueError
        No signal has that name.

    Examples
    --------
    >>> import imuproc
    >>> session = imuproc.read_session("data_samples/session.toml")
    >>> result = imuproc.process(session.read_run("R07-01"))
    >>> axes = imuproc.plots.plot_signals(result, "left_foot", "accel")
    >>> axes.get_ylabel()
    'Left foot acceleration (m/s²)'
    """
    shown = run_to_plot(run)
    if signal not in _SIGNALS:
        raise ValueError(f"signal is {signal!r}; allowed: {', '.join(_SIGNALS)}")
    shown.need_site(site, shown.sites)
    found = shown.signals(site)
    name, factor, words = _SIGNALS[signal]
    value = factor * np.where(found.measured[:, None], getattr(found, name), np.nan)
    clipped = getattr(found, f"{signal}_clipped")
    time_s = shown.time_s()
    axes = axes_or_new(axes)
    for (label, colour), of_axis in zip(_AXES, value.T, strict=True):
        axes.plot(time_s, of_axis, color=colour, linewidth=1.0, label=label)
    if clipped.any():
        at = np.repeat(time_s[clipped], 3)
        axes.plot(at, value[clipped].ravel(), ".", color=SOFT, label="end of range")
    return _with_events(axes, shown, site, shown.run, words)


def plot_motion(run: "Result | ArchivedRun", site: str, axes: "Axes | None" = None) -> "Axes":
    """Pitch of one segment along time, with touchdown and toe-off.

    Pitch is the sagittal rotation from quiet standing, toe up or leaning back positive: of a foot
    it is the foot pitch, of a shank the shin angle less 90 deg. The band is ±2 standard
    uncertainties.

    Parameters
    ----------
    run : Result or ArchivedRun
    site : str
        As ``left_shank``.
    axes : matplotlib.axes.Axes, optional
        A new figure when left out.

    Returns
    -------
    matplotlib.axes.Axes

    Raises
    ------
    PlotError
        The motion of the segment is not known, or the run could not be processed.

    Examples
    --------
    >>> import imuproc
    >>> session = imuproc.read_session("data_samples/session.toml")
    >>> result = imuproc.process(session.read_run("R07-01"))
    >>> axes = imuproc.plots.plot_motion(result, "left_shank")
    >>> axes.get_ylabel()
    'Left shank pitch (deg)'
    """
    shown = run_to_plot(run)
    shown.need_site(site, shown.moving_sites)
    moved, time_s = shown.motion(site), shown.time_s()
    pitch, bar = np.degrees(moved.pitch_rad), COVERAGE * np.degrees(moved.pitch_u_rad)
    axes = axes_or_new(axes)
    band: dict[str, Any] = {"color": INK, "alpha": 0.25, "linewidth": 0.0}
    axes.fill_between(time_s, pitch - bar, pitch + bar, **band)
    axes.plot(time_s, pitch, color=INK, linewidth=1.2)
    return _with_events(axes, shown, site, f"{shown.run}, band ±2 u", "pitch (deg)")


def _with_events(axes: "Axes", shown: RunToPlot, site: str, title: str, words: str) -> "Axes":
    """Upright lines at the events of a site's leg, of both legs for one in the middle."""
    for side in [side for side in SIDES if site.startswith(side)] or SIDES:
        for name, event, line in _EVENTS:
            at = shown.get_column(name)[shown.of_side(side)]
            axes.plot(
                np.repeat(at, 3),
                np.tile([0.0, 1.0, np.nan], len(at)),
                color=SIDE_COLOURS[side],
                linewidth=0.9,
                linestyle=line,
                zorder=1.5,
                transform=axes.get_xaxis_transform(),
                label=f"{side} {event}",
            )
    ends = np.concatenate([shown.get_column(name) for name, _, _ in _EVENTS])
    if np.isfinite(ends).any():
        axes.set_xlim(np.nanmin(ends) - _MARGIN_S, np.nanmax(ends) + _MARGIN_S)
    where = site.replace("_", " ").capitalize()
    return finish(axes, title, _TIME, f"{where} {words}")
