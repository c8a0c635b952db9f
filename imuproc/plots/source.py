"""What plots need of a run, out of a result or out of an open archive."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from imuproc.core.columns import FIGURES, repeat_name, uncertainty_name
from imuproc.core.errors import PlotError
from imuproc.core.flag_policy import policy_of
from imuproc.core.flags import RaisedFlag
from imuproc.core.result import Result
from imuproc.core.sites import SIDES, SITES, Side
from imuproc.files.wording import quote, suggest_word

if TYPE_CHECKING:
    import pandas as pd

    from imuproc.core.motion import SegmentMotion
    from imuproc.core.recording import Conditioned
    from imuproc.results.archive.reading import ArchivedMotion, ArchivedRun, ArchivedSignals

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class RunToPlot:
    """One run, ready to be drawn; samples are read when they are asked for.

    Parameters
    ----------
    run, session, athlete : str
    steps : DataFrame
        Step table.
    flags : tuple of RaisedFlag
    sites, moving_sites : tuple of str
        Sensors whose signals there are, and segments whose motion there is.
    time_s : callable
        Gives the clock of curves, signals and motion.
    curves : callable
        Gives the angle curves in deg.
    uncertainty : callable
        Gives the parts of each figure's standard uncertainty.
    signals, motion : callable
        Give those of a site.
    """

    run: str
    session: str
    athlete: str
    steps: "pd.DataFrame"
    flags: tuple[RaisedFlag, ...]
    sites: tuple[str, ...]
    moving_sites: tuple[str, ...]
    time_s: Callable[[], FloatArray]
    curves: "Callable[[], pd.DataFrame]"
    uncertainty: "Callable[[], Mapping[str, pd.DataFrame]]"
    signals: "Callable[[str], Conditioned | ArchivedSignals]"
    motion: "Callable[[str], SegmentMotion | ArchivedMotion]"

    def get_column(self, name: str) -> FloatArray:
        """A column of numbers of the step table; PlotError where the run has none of that name."""
        if name not in self.steps:
            raise PlotError(
                f"run {self.run}: has no column {quote(name)}, as it was processed by an earlier "
                "version of imuproc; process it again"
            )
        return self.steps[name].to_numpy(dtype=np.float64)

    def get_figure(self, name: str, repeat: bool = False) -> tuple[FloatArray, FloatArray]:
        """A figure by step and its standard uncertainty.

        Parameters
        ----------
        name : str
            Column of the step table.
        repeat : bool
            Whether the uncertainty is that between runs of a set-up, not that against the truth.

        Raises
        ------
        PlotError
            No figure has that name, or the run has it in no step.
        """
        if name not in FIGURES:
            raise PlotError(f"no figure is called {quote(name)}{suggest_word(name, FIGURES)}")
        value = self.get_column(name)
        if not np.isfinite(value).any():
            raise PlotError(f"run {self.run}: has {name} in no step{self._explain_missing()}")
        return value, self.get_column((repeat_name if repeat else uncertainty_name)(name))

    def of_side(self, side: str) -> NDArray[np.bool_]:
        """Which steps are of a side."""
        return (self.steps["side"] == side).to_numpy(dtype=np.bool_)

    def by_side(self, angle: str) -> dict[Side, FloatArray]:
        """Curves of an angle in deg by side; PlotError where there is none."""
        curves = self.curves()
        names: dict[Side, str] = {side: f"{angle}_{side}_deg" for side in SIDES}
        found = {side: curves[name].to_numpy() for side, name in names.items() if name in curves}
        if not found:
            raise PlotError(f"run {self.run}: has no {angle}{self._explain_missing()}")
        return found

    def need_site(self, site: str, there: tuple[str, ...]) -> None:
        """Raise PlotError, the nearest one named, unless a site is among those there are."""
        if site not in there:
            near = "" if site in SITES else suggest_word(site, SITES)
            has = ", ".join(known for known in SITES if known in there) or "none"
            raise PlotError(f"run {self.run}: has no sensor {quote(site)}{near}; it has: {has}")

    def _explain_missing(self) -> str:
        of_run = {flag.name for flag in self.flags if flag.step is None}
        names = {name for name in of_run if policy_of(name).grade != "information"}
        return f"; its flags: {', '.join(sorted(names))}" if names else ""


def run_to_plot(run: "Result | ArchivedRun") -> RunToPlot:
    """What plots need of a run.

    Parameters
    ----------
    run : Result or ArchivedRun

    Raises
    ------
    PlotError
        The run could not be processed, or the result holds several runs.
    TypeError
        It is neither.
    """
    if isinstance(run, Result):
        return _of_result(run)
    from imuproc.results.archive.reading import ArchivedRun

    if not isinstance(run, ArchivedRun):
        raise TypeError(
            "run must be a result of imuproc.process or a run of an open archive, as "
            f"archive.run('R07-01'); found: {type(run).__name__}"
        )
    return _of_archive(run)


def _of_result(result: Result) -> RunToPlot:
    if result.parts:
        ids = ", ".join(part.run for part in result.parts)
        raise PlotError(f"run {result.run}: holds several runs ({ids}); plot one of result.parts")
    signals = {str(site): found for site, found in result.conditioned.segments.items()}
    motion = {str(site): found for site, found in result.motion.segments.items()}
    return RunToPlot(
        run=result.run,
        session=result.session,
        athlete=result.athlete,
        steps=result.steps,
        flags=result.flags,
        sites=tuple(signals),
        moving_sites=tuple(motion),
        time_s=lambda: result.conditioned.time_s,
        curves=lambda: result.curves,
        uncertainty=lambda: result.uncertainty,
        signals=signals.__getitem__,
        motion=motion.__getitem__,
    )


def _of_archive(archived: "ArchivedRun") -> RunToPlot:
    if archived.status == "failed":
        reason = archived.summary.get("reason") or "the reason was not kept"
        raise PlotError(f"run {archived.id}: could not be processed ({reason})")
    return RunToPlot(
        run=archived.id,
        session=archived.about["session"],
        athlete=archived.about["athlete"]["id"],
        steps=archived.steps,
        flags=archived.flags,
        sites=archived.sites,
        moving_sites=archived.moving_sites,
        time_s=lambda: archived.time_s,
        curves=archived.curves,
        uncertainty=lambda: archived.uncertainty,
        signals=archived.signals,
        motion=archived.motion,
    )
