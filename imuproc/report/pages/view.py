"""One run as the pages need it: read from its archive, held against its targets."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from imuproc.assessment.cues import Cue, cues
from imuproc.assessment.targets import TargetSet, chosen
from imuproc.assessment.verdicts import put_in_doubt, verdicts
from imuproc.core.flag_policy import against_run, doubted_sides
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Athlete, Run
from imuproc.core.result import Distance
from imuproc.files.text import clean
from imuproc.report.pages.labels import LABELS
from imuproc.results.summary import RunSummary, failed_run, summarise_run
from imuproc.results.tables import joined_steps

if TYPE_CHECKING:
    from imuproc.results.archive.reading import ArchivedRun

FloatArray = NDArray[np.float64]
_CURVES: Final = ("foot_pitch", "dorsiflexion")
_MUCH_MISSING: Final = 0.2


@dataclass(frozen=True)
class Curve:
    """An angle through the swing that ends at a step's touchdown.

    Parameters
    ----------
    step : int
    side : str
    share : ndarray, shape (n,)
        Of the swing, 0 at toe-off, 1 at touchdown.
    angle_deg : ndarray, shape (n,)
    """

    step: int
    side: str
    share: FloatArray
    angle_deg: FloatArray


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
    curves : mapping from str to tuple of Curve
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
    curves: Mapping[str, tuple[Curve, ...]] = field(default_factory=dict)
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
        return against_run(self.summary.flags, "headline")

    def measured(self) -> dict[str, tuple[int, int]]:
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
            for name, (have, of) in self.measured().items()
            if name != "ankle_ahead_of_knee_m"  # missing wherever no length was stated
        )


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
    steps = archived.steps
    targets = chosen(sets, athlete.targets)
    of_run = [flag for flag in archived.flags if flag.step is None]
    judged = put_in_doubt(verdicts(steps, targets), doubted_sides(of_run))
    distance = Distance(**archived.distance) if archived.distance else None
    summary = summarise_run(about["session"], athlete, run, steps, archived.flags, distance)
    return RunView(
        summary=replace(summary, start_time=str(archived.summary.get("start_time") or "")),
        session=session,
        athlete=athlete,
        run=run,
        steps=steps,
        targets=targets,
        verdicts=judged,
        cues=cues(judged),
        curves=_curves(archived, steps) if drawn else {},
        uncertainty=archived.uncertainty if drawn else {},
        rate_hz=float(about["rate_hz"]),
        sites=archived.sites,
        versions=archived.versions,
        still=_still(archived) if drawn else {},
    )


def failed_view(
    row: Mapping[str, Any], session: Mapping[str, Any], sets: Mapping[str, TargetSet]
) -> RunView:
    """A run of which only its row of the run table is known."""
    athlete = Athlete(id=str(row.get("athlete") or "not known"))
    run = Run(id=str(row["run"]), start=row.get("start") or "standing", distance_m=_metres(row))
    steps = joined_steps([])
    targets = chosen(sets, None)
    reason = clean(str(row.get("reason") or "")) or "the reason was not kept"
    return RunView(
        summary=failed_run(str(row.get("session", "")), athlete, run, reason),
        session=session,
        athlete=athlete,
        run=run,
        steps=steps,
        targets=targets,
        verdicts=verdicts(steps, targets),
    )


def _metres(row: Mapping[str, Any]) -> float | None:
    """Stated distance of a row, which holds text where it comes from a file."""
    try:
        value = float(row.get("distance_m") or "nan")
    except ValueError:
        return None
    return value if np.isfinite(value) and value > 0.0 else None


def _curves(archived: "ArchivedRun", steps: pd.DataFrame) -> dict[str, tuple[Curve, ...]]:
    time_s = archived.time_s
    out = {}
    for name in _CURVES:
        found: list[Curve] = []
        for side in ("left", "right"):
            curve = f"{name}_{side}_deg"
            if curve in archived.curve_names:
                of_side = steps[steps["side"] == side]
                known = np.isfinite(of_side[f"{name}_touchdown_deg"].to_numpy(dtype=np.float64))
                swings = _swings(of_side, time_s, archived.curve(curve).astype(np.float64))
                trusted = set(of_side.loc[known, "step"])  # a withheld angle is not drawn either
                found += [swing for swing in swings if swing.step in trusted]
        out[name] = tuple(sorted(found, key=lambda curve: curve.step))
    return out


def _swings(steps: pd.DataFrame, time_s: FloatArray, angle_deg: FloatArray) -> list[Curve]:
    """Swings of one side that have both ends, thinned to what a drawing can show."""
    share = np.linspace(0.0, 1.0, 41)
    toe_off = steps["toe_off_s"].to_numpy(dtype=np.float64)[:-1]
    touchdown = steps["touchdown_s"].to_numpy(dtype=np.float64)[1:]
    numbers = steps["step"].to_numpy(dtype=np.int64)
    out = []
    for k, number in enumerate(numbers[1:]):
        if number - numbers[k] != 2 or not np.isfinite(touchdown[k] - toe_off[k]):
            continue
        at = toe_off[k] + share * (touchdown[k] - toe_off[k])
        angle = np.interp(at, time_s, angle_deg, left=np.nan, right=np.nan)
        if np.isfinite(angle).any():
            out.append(Curve(int(number), str(steps["side"].iloc[0]), share, angle))
    return out


def _still(archived: "ArchivedRun") -> dict[str, tuple[float, float]]:
    out = {}
    for site in archived.sites:
        found = archived.signals(site).calibration
        out[site] = (
            found.still_before.duration_s if found.still_before else 0.0,
            found.still_after.duration_s if found.still_after else 0.0,
        )
    return out
