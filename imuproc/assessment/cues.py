"""The few things that matter: what was off target, how often, how far, on which side.

A fault is told once, whatever phases it is seen in; a clear difference between left and right is a
thing of its own. What is usually tried is coaching practice without a published source; it
describes technique and is no advice on health. Whether it suits an athlete is for the coach to say.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtri

from imuproc.assessment.cue_words import DIFFERS, CueWords, words_for
from imuproc.assessment.targets import PHASES, TargetSet
from imuproc.assessment.verdicts import ABOVE, BELOW, NO_VERDICT, ON_TARGET, SURE, TOO_CLOSE
from imuproc.core.columns import uncertainty_name
from imuproc.results.columns import difference_name

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MOST_CUES: Final = 3
_FEWEST_STEPS: Final = 2
_FEWEST_FOR_MEAN: Final = 3
"""Steps of which the mean may tell what no single step tells for sure."""
_LEAST_SHARE: Final = 0.15
_ONE_SIDED_SHARE: Final = 0.75
_SURE_TWO_SIDED: Final = 0.975
"""Left may be above or below right: 95 % in all."""


@dataclass(frozen=True)
class Cue:
    """One thing to work on in a run, with its evidence.

    Parameters
    ----------
    figure : str
    direction : {"above", "below", "differs"}
    phases : tuple of str
        Phases in which it was seen.
    words : CueWords
    off, sure, measured : int
        Steps outside the band in this direction, those of them that surely are, and steps
        measured, in these phases.
    steps : tuple of int
        Number of each of these steps.
    side : str
        ``left`` or ``right`` when most of them are of that foot, else ``both``; of a difference
        the side with the larger value.
    size, u : float
        Mean distance outside the band, or difference of the sides, and its standard uncertainty,
        in the figure's unit; positive.
    least : float
        From where on it is worth a word.
    """

    figure: str
    direction: str
    phases: tuple[str, ...]
    words: CueWords
    off: int
    sure: int
    measured: int
    steps: tuple[int, ...]
    side: str
    size: float
    u: float
    least: float

    @property
    def weight(self) -> float:
        """How much it matters among cues: share of steps times how far they are off."""
        share = self.off / self.measured if self.measured else 1.0
        return share * min(self.size / self.least if self.least else 1.0, 4.0)


def find_cues(
    verdicts: pd.DataFrame, targets: TargetSet, differences: Mapping[str, float]
) -> tuple[Cue, ...]:
    """The things that matter most in one run.

    A fault is named when in a phase at least two steps, and 15 % of those measured, are surely off
    target in one direction by as much as is worth a word, or when the mean of all its steps is:
    errors of single steps average out there, what steps share does not. A difference between left
    and right is named when it is as large as is worth a word and surely there; what one foot does
    is then told with it, and not a second time.

    Parameters
    ----------
    verdicts : DataFrame
        From :func:`imuproc.assessment.verdicts.find_verdicts`, of one run.
    targets : TargetSet
    differences : mapping from str to float
        ``left_minus_right_...`` and their standard uncertainty, as in the run table.

    Returns
    -------
    tuple of Cue
        Ordered by how often and how far, at most :data:`MOST_CUES`.

    See Also
    --------
    imuproc.assessment.verdicts.find_verdicts : what it is made from.
    imuproc.report.pages.story.tell_cue : a cue in sentences.

    Examples
    --------
    >>> import imuproc
    >>> session = imuproc.read_session("data_samples/session.toml")
    >>> from imuproc.assessment.targets import DEFAULT, read_targets
    >>> from imuproc.assessment.verdicts import find_verdicts
    >>> result, targets = imuproc.process(session.read_run("R07-01")), read_targets()[DEFAULT]
    >>> verdicts = find_verdicts(result.steps, targets)
    >>> cues = find_cues(verdicts, targets, imuproc.summarise(result).figures)
    >>> [(cue.words.title, cue.sure, cue.measured) for cue in cues]
    [('Toe drops in the air', 10, 13)]
    """
    known = verdicts[~verdicts["verdict"].isin(NO_VERDICT)]
    faults = []
    for (figure, direction), of_figure in _split_by_fault(known):
        phases = [rows for _, rows in of_figure.groupby("phase") if _is_off(rows, direction)]
        if phases:
            faults.append(_make_cue(str(figure), direction, pd.concat(phases)))
    uneven = _find_differences(known, targets, differences)
    told = {cue.figure for cue in uneven}
    alone = [cue for cue in faults if cue.side == "both" or cue.figure not in told]
    return tuple(sorted([*alone, *uneven], key=_get_rank)[:MOST_CUES])


def _split_by_fault(known: pd.DataFrame) -> list[tuple[tuple[str, str], pd.DataFrame]]:
    """Rows by figure and direction, with how far each lies beyond that end (inside: negative)."""
    parts = []
    for figure, rows in known.groupby("figure", sort=False):
        for direction, end, sign in ((ABOVE, "high", 1.0), (BELOW, "low", -1.0)):
            beyond = sign * (rows["value"] - rows[end])
            limited = rows.assign(beyond=beyond)[np.isfinite(beyond)]
            parts.append(((str(figure), direction), limited))
    return parts


def _is_off(rows: pd.DataFrame, direction: str) -> bool:
    """Whether the steps of one phase are off often enough, or in the mean."""
    far = rows["beyond"] >= rows["least_excess"]
    off = int(((rows["verdict"] == direction) & far).sum())
    if off >= max(_FEWEST_STEPS, _LEAST_SHARE * len(rows)):
        return True
    if len(rows) < _FEWEST_FOR_MEAN:
        return False
    size, u = _mean_beyond(rows)
    return bool(size >= rows["least_excess"].max() and size >= ndtri(SURE) * u)


def _mean_beyond(rows: pd.DataFrame) -> tuple[float, float]:
    """Mean distance beyond the end, and its standard uncertainty."""
    u, own = rows["u"].to_numpy(), rows["u_repeat"].to_numpy()
    shared = np.sqrt(np.maximum(u**2 - own**2, 0.0)).mean()
    return float(rows["beyond"].mean()), float(np.hypot(shared, np.sqrt((own**2).sum()) / len(own)))


def _make_cue(figure: str, direction: str, rows: pd.DataFrame) -> Cue:
    """What is said of all phases in which a fault was seen."""
    rows = rows.sort_values("step")
    off = rows[(rows["beyond"] > 0.0) & rows["verdict"].isin((direction, TOO_CLOSE))]
    size, u = _mean_beyond(off)
    excess = off.groupby("phase")["beyond"].sum()
    return Cue(
        figure=figure,
        direction=direction,
        phases=tuple(phase for phase in PHASES if phase in excess.index),
        words=words_for(figure, direction, str(excess.idxmax())),
        off=len(off),
        sure=int((off["verdict"] == direction).sum()),
        measured=len(rows),
        steps=tuple(map(int, off["step"])),
        side=_main_side(off["side"].tolist()),
        size=size,
        u=u,
        least=float(rows["least_excess"].max()),
    )


def _main_side(sides: list[Any]) -> str:
    for side in ("left", "right"):
        if sides.count(side) > _ONE_SIDED_SHARE * len(sides):
            return side
    return "both"


def _find_differences(
    known: pd.DataFrame, targets: TargetSet, differences: Mapping[str, float]
) -> list[Cue]:
    """Clear differences between left and right, the most striking one of the run."""
    found = []
    for one in targets.differences:
        name = difference_name(one.figure)
        size, u = differences.get(name, np.nan), differences.get(uncertainty_name(name), np.nan)
        if not (abs(size) >= one.least and abs(size) >= ndtri(_SURE_TWO_SIDED) * u):
            continue
        rows = known[known["figure"] == one.figure]
        found.append(
            Cue(
                figure=one.figure,
                direction=DIFFERS,
                phases=(),
                words=words_for(one.figure, DIFFERS, ""),
                off=len(rows),
                sure=len(rows),
                measured=len(rows),
                steps=tuple(map(int, rows["step"])),
                side="left" if size > 0.0 else "right",
                size=abs(size),
                u=u,
                least=one.least,
            )
        )
    return sorted(found, key=_get_rank)[:1]


def _get_rank(cue: Cue) -> tuple[float, str]:
    return -cue.weight, cue.figure


def on_target_share(verdicts: pd.DataFrame) -> dict[str, tuple[int, int]]:
    """For each figure how many steps are surely on target, and how many were measured."""
    measured = verdicts[~verdicts["verdict"].isin(NO_VERDICT)]
    return {
        str(figure): (int((group["verdict"] == ON_TARGET).sum()), len(group))
        for figure, group in measured.groupby("figure", sort=False)
    }
