"""One run as the pages need it: read from its archive, held against its targets."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from imuproc.assessment.cues import Cue, find_cues
from imuproc.assessment.targets import TargetSet, choose_set
from imuproc.assessment.verdicts import find_verdicts, put_in_doubt
from imuproc.core.columns import FIGURES, repeat_name, uncertainty_name
from imuproc.core.flag_policy import find_doubted_sides, select_run_flags
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Athlete, Run
from imuproc.core.sites import SIDES
from imuproc.files.text import clean_text
from imuproc.report.pages.labels import LABELS
from imuproc.results.summarising import summarise_archived
from imuproc.results.summary import RunSummary, make_failed_run
from imuproc.results.swings import Swing, find_swings
from imuproc.results.tables import join_steps

if TYPE_CHECKING:
    from imuproc.results.archive.reading import ArchivedRun

_ANGLES: Final = ("foot_pitch", "dorsiflexion")
_MUCH_MISSING: Final = 0.2


@dataclass(frozen=True, eq=False)
class RunView:
    """One run, ready to be shown.

    Parameters
    ----------
    summary : RunSummary
        Ids, start, status, reason, means.
    session : mapping
        What is known of the session: ``id``, ``date``, ``surface``, ``note``; may be empty.
    athlete : Athlete
    run : Run
    steps : DataFrame
        Step table; empty for a run that failed.
    targets : TargetSet
    verdicts : DataFrame
    cues : tuple of Cue
    curves : mapping from str to tuple of Swing
        ``foot_pitch`` and ``dorsiflexion``.
    uncertainty : mapping from str to DataFrame
    rate_hz : float
        NaN for a run that failed.
    sites : tuple of str
    versions : mapping from str to str
    still : mapping from str to tuple of (float, float)
        By site how long quiet standing lasted before and after, in s; 0 where there was none.
    """

    summary: RunSummary
    session: Mapping[str, Any]
    athlete: Athlete
    run: Run
    steps: pd.DataFrame
    targets: TargetSet
    verdicts: pd.DataFrame
    cues: tuple[Cue, ...] = ()
    curves: Mapping[str, tuple[Swing, ...]] = field(default_factory=dict)
    uncertainty: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    rate_hz: float = float("nan")
    sites: tuple[str, ...] = ()
    versions: Mapping[str, str] = field(default_factory=dict)
    still: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def failed(self) -> bool:
        """Whether the run could not be processed."""
        return self.summary.status == "failed"

    @property
    def has_steps(self) -> bool:
        """Whether there is anything to draw."""
        return len(self.steps) > 0

    def serious_flags(self) -> list[RaisedFlag]:
        """Flags of the whole run that mean that figures may be wrong or are withheld."""
        return select_run_flags(self.summary.flags, "headline")

    def count_measured(self) -> dict[str, tuple[int, int]]:
        """For each shown figure in how many steps of the effort it is there, and of how many.

        Figures of the step as a whole end with the last step, which has no next one.
        """
        effort = self.steps[self.steps["phase"] != "slowing"]
        return {
            name: (int(np.isfinite(effort[name].to_numpy(dtype=np.float64)).sum()), len(effort))
            for name in LABELS
        }

    def in_trouble(self) -> bool:
        """Whether the page must say so first: failed, flagged as a whole, or much is missing."""
        if self.failed or not self.has_steps or self.serious_flags():
            return True
        return any(
            len(self.steps) > 0 and have < (1.0 - _MUCH_MISSING) * of - 1.0
            for name, (have, of) in self.count_measured().items()
            if name != "ankle_ahead_of_knee_m"  # missing wherever no length was stated
        )


def _add_figures(steps: "pd.DataFrame") -> "pd.DataFrame":
    """Steps with the columns that the version that wrote them did not know.

    Figures are missing. Where the part of the uncertainty that differs from step to step was not
    told, all of it is taken to be shared, so that no mean counts as surer than a step.
    """
    new = [name for name in FIGURES if name not in steps]
    added = {column: np.nan for name in new for column in (name, uncertainty_name(name))}
    added |= {repeat_name(name): 0.0 for name in FIGURES if repeat_name(name) not in steps}
    return steps.assign(**added) if added else steps


def read_view(
    archived: "ArchivedRun",
    session: Mapping[str, Any],
    sets: Mapping[str, TargetSet],
    drawn: bool = True,
) -> RunView:
    """Everything that the pages show of one run.

    Parameters
    ----------
    archived : ArchivedRun
    session : mapping
        What the session file states of the session as a whole.
    sets : mapping from str to TargetSet
        Among them the one that the athlete names.
    drawn : bool
        Also what only the run's own page needs: curves, parts of uncertainty, standing.

    Raises
    ------
    SessionError
        The athlete names a set of targets that is not among them.
    """
    if archived.status == "failed":
        return failed_view({**archived.summary, "run": archived.id}, session, sets)
    about = archived.about
    athlete, run = Athlete(**about["athlete"]), Run(**{**about["run"], "id": archived.id})
    steps = _add_figures(archived.steps)
    targets = choose_set(sets, athlete.targets)
    of_run = [flag for flag in archived.flags if flag.step is None]
    judged = put_in_doubt(find_verdicts(steps, targets), find_doubted_sides(of_run))
    summary = summarise_archived(archived, steps)
    advised = not select_run_flags(summary.flags, "headline")
    return RunView(
        summary=summary,
        session=session,
        athlete=athlete,
        run=run,
        steps=steps,
        targets=targets,
        verdicts=judged,
        cues=find_cues(judged, targets, summary.figures) if advised else (),
        curves=_list_swings(archived, steps) if drawn else {},
        uncertainty=archived.uncertainty if drawn else {},
        rate_hz=float(about["rate_hz"]),
        sites=archived.sites,
        versions=archived.versions,
        still=_find_still(archived) if drawn else {},
    )


def failed_view(
    row: Mapping[str, Any], session: Mapping[str, Any], sets: Mapping[str, TargetSet]
) -> RunView:
    """A run of which only its row of the run table is known."""
    athlete = Athlete(id=str(row.get("athlete") or "not known"))
    run = Run(
        id=str(row["run"]), start=row.get("start") or "standing", distance_m=_read_metres(row)
    )
    steps = join_steps([])
    targets = choose_set(sets, None)
    reason = clean_text(str(row.get("reason") or "")) or "the reason was not kept"
    return RunView(
        summary=make_failed_run(str(row.get("session", "")), athlete, run, reason),
        session=session,
        athlete=athlete,
        run=run,
        steps=steps,
        targets=targets,
        verdicts=find_verdicts(steps, targets),
    )


def _read_metres(row: Mapping[str, Any]) -> float | None:
    """Stated distance of a row, which holds text where it comes from a file."""
    try:
        value = float(row.get("distance_m") or "nan")
    except ValueError:
        return None
    return value if np.isfinite(value) and value > 0.0 else None


def _list_swings(archived: "ArchivedRun", steps: pd.DataFrame) -> dict[str, tuple[Swing, ...]]:
    time_s = archived.time_s
    out = {}
    for angle in _ANGLES:
        names = {side: f"{angle}_{side}_deg" for side in SIDES}
        curves = {s: archived.curve(n) for s, n in names.items() if n in archived.curve_names}
        out[angle] = find_swings(steps, angle, time_s, curves)
    return out


def _find_still(archived: "ArchivedRun") -> dict[str, tuple[float, float]]:
    out = {}
    for site in archived.sites:
        found = archived.signals(site).calibration
        out[site] = (
            found.still_before.duration_s if found.still_before else 0.0,
            found.still_after.duration_s if found.still_after else 0.0,
        )
    return out
