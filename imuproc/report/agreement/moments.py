"""Signals around the contacts where two methods disagree most, with the events of both."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from numpy.typing import NDArray

from imuproc.agreement.study import ComparedRun, StudyResult
from imuproc.core.errors import ArchiveError
from imuproc.core.sites import SIDES, foot_of, shank_of
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.report.agreement.pictures import WIDTH_PX
from imuproc.report.agreement.quantities import quantity_of
from imuproc.report.pages.svg import BAND, INK, LEFT, RIGHT, SOFT, axes_in, new_figure
from imuproc.results.archive.reading import ArchivedSignals, open_archive

FloatArray = NDArray[np.float64]

MOST: Final = 3
_AROUND_S: Final = 0.12
_EVENTS: Final = ("touchdown_s", "toe_off_s")


@dataclass(frozen=True, eq=False)
class Moment:
    """A contact on which two methods differ much.

    Parameters
    ----------
    run, athlete, side : str
    step : int
    difference_s : float
        Of contact time, or of the event by which it was chosen.
    figure : str
        What that is of.
    ours_s, theirs_s : tuple of (float, float)
        Touchdown and toe-off on the clock of the step table; NaN where one has none.
    signals : ArchivedSignals
        Of the foot, or of the shank where the foot has no sensor.
    """

    run: str
    athlete: str
    side: str
    step: int
    difference_s: float
    figure: str
    ours_s: tuple[float, float]
    theirs_s: tuple[float, float]
    signals: ArchivedSignals


def worst_moments(result: StudyResult) -> list[Moment]:
    """Contacts with the largest differences whose signals are archived, largest first.

    Chosen by contact time, or by the touchdown where the reference has no toe-offs.
    """
    if result.agreement is None:
        return []
    paired = result.agreement.paired
    clocked = paired[paired["figure"].isin(_EVENTS)]
    for figure in ("contact_time_s", "touchdown_s"):
        rows = paired[paired["figure"] == figure]
        if len(rows) and len(clocked):
            break
    else:
        return []
    order = np.argsort(-np.abs(rows["difference"].to_numpy(dtype=np.float64)), kind="stable")
    by_run = {(one.result.session, one.result.run): one for one in result.compared}
    out: list[Moment] = []
    for place in order[: 4 * MOST]:
        row = rows.iloc[int(place)]
        one = by_run[(str(row["session"]), str(row["run"]))]
        moment = _make_moment(one, row, clocked)
        if moment is not None:
            out.append(moment)
        if len(out) == MOST:
            break
    return out


def _make_moment(one: ComparedRun, row: "pd.Series", clocked: pd.DataFrame) -> Moment | None:
    keys = ("session", "run", "reference_source", "step")
    same = clocked[np.logical_and.reduce([clocked[k] == row[k] for k in keys])]
    times = {
        name: tuple(
            float(same.loc[same["figure"] == event, name].iloc[0])
            if (same["figure"] == event).any()
            else np.nan
            for event in _EVENTS
        )
        for name in ("table", "reference")
    }
    if one.result.archive is None or not np.isfinite(times["table"]).any():
        return None
    side = next(known for known in SIDES if known == row["side"])
    try:
        with open_archive(one.result.archive) as archive:
            run = archive.run(one.result.run)
            site = next((s for s in (foot_of(side), shank_of(side)) if s in run.sites), None)
            signals = run.signals(site) if site else None
    except ArchiveError:
        return None
    if signals is None:
        return None
    return Moment(
        run=one.result.run,
        athlete=one.result.athlete,
        side=side,
        step=int(row["step"]),
        difference_s=float(row["difference"]),
        figure=str(row["figure"]),
        ours_s=(times["table"][0], times["table"][1]),
        theirs_s=(times["reference"][0], times["reference"][1]),
        signals=signals,
    )


def moment_picture(moment: Moment) -> Figure:
    """Rate and acceleration of one sensor around a contact, with the events of both methods."""
    made = new_figure(WIDTH_PX, 310.0)
    upper = axes_in(made, (58.0, 180.0, 12.0, 12.0))
    lower = axes_in(made, (58.0, 54.0, 12.0, 148.0))
    known = np.array([t for t in (*moment.ours_s, *moment.theirs_s) if np.isfinite(t)])
    zero, end = float(known.min()), float(known.max())
    signals = moment.signals
    inside = (signals.time_s >= zero - _AROUND_S) & (signals.time_s <= end + _AROUND_S)
    time_ms = 1000.0 * (signals.time_s[inside] - zero)
    rate = np.degrees(signals.gyro_radps[inside, 1])
    force = np.linalg.norm(signals.accel_mps2[inside], axis=1) / STANDARD_GRAVITY_MPS2
    for axes, values, words in (
        (upper, rate, "sagittal rate (°/s)"),
        (lower, force, "acceleration (g)"),
    ):
        axes.plot(time_ms, values, color=INK, lw=1.1)
        axes.set_xlim(-1000.0 * _AROUND_S, 1000.0 * (end - zero + _AROUND_S))
        axes.set_ylabel(words)
        _draw_events(axes, moment, zero)
    upper.tick_params(labelbottom=False)
    lower.set_xlabel("ms after the first of these events")
    handles = [
        Line2D([], [], color=LEFT, lw=1.6, label="imuproc"),
        Line2D([], [], color=RIGHT, lw=1.6, ls=(0, (4, 2)), label="reference"),
    ]
    made.legend(handles=handles, ncols=2, loc="lower left", bbox_to_anchor=(0.02, 0.0),
                frameon=False, borderaxespad=0.3)  # fmt: skip
    return made


def _draw_events(axes: Axes, moment: Moment, zero: float) -> None:
    """Touchdown and toe-off of both: a full line ours, a broken one theirs, contact shaded."""
    on, off = (1000.0 * (t - zero) for t in moment.ours_s)
    if np.isfinite(on) and np.isfinite(off):
        axes.axvspan(on, off, fc=BAND, lw=0, alpha=0.6)
    for times, colour, style in (
        (moment.ours_s, LEFT, "solid"),
        (moment.theirs_s, RIGHT, (0, (4, 2))),
    ):
        for time in times:
            if np.isfinite(time):
                axes.axvline(1000.0 * (time - zero), color=colour, lw=1.6, ls=style)
    axes.axhline(0.0, color=SOFT, lw=0.6)


def say_moment(moment: Moment) -> str:
    """What a moment shows, in a sentence."""
    q = quantity_of(moment.figure)
    where = moment.signals.site.replace("_", " ")
    return (
        f"{moment.run} ({moment.athlete}), step {moment.step}, {moment.side}: {q.name} differs by "
        f"{q.with_unit(moment.difference_s)}. Sensor: {where}."
    )
