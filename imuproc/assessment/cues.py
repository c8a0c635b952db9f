"""The few things that matter: what was off target, how often, how far, on which side.

What is usually tried is coaching practice without a published source; it describes technique and
is no advice on health. Whether it suits an athlete is for the coach to say.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from imuproc.assessment.targets import PHASES
from imuproc.assessment.verdicts import ABOVE, BELOW, NO_VERDICT, ON_TARGET

BoolArray = NDArray[np.bool_]

MOST_CUES: Final = 3
_FEWEST_STEPS: Final = 2
_LEAST_SHARE: Final = 0.15
_ONE_SIDED: Final = 0.75

# An excess that is as striking as a whole step off target, by figure: ranks cues only.
_STRIKING: Final[Mapping[str, float]] = {
    "shin_angle_touchdown_deg": 5.0,
    "dorsiflexion_swing_mean_deg": 5.0,
    "contact_time_s": 0.015,
}


@dataclass(frozen=True)
class Words:
    """What to say of a figure that is off target in one direction.

    Parameters
    ----------
    title : str
    meaning : str
        What was seen, for athlete and coach.
    tried : str
        What is usually tried; common practice, no source.
    """

    title: str
    meaning: str
    tried: str


@dataclass(frozen=True)
class Cue:
    """One thing to work on, with its evidence.

    Parameters
    ----------
    figure, direction : str
    phases : tuple of str
        Phases in which it was seen; alike in what there is to say of them.
    words : Words
    off, measured : int
        Steps off target in this direction, and steps measured, in these phases.
    steps : tuple of (str, int)
        Run and number of each step off target.
    side : str
        ``left`` or ``right`` when most of them are of that foot, else ``both``.
    typical, largest : float
        Median and largest distance outside the band, in the figure's unit, positive.
    runs : tuple of str
        Runs in which it was seen.
    """

    figure: str
    direction: str
    phases: tuple[str, ...]
    words: Words
    off: int
    measured: int
    steps: tuple[tuple[str, int], ...]
    side: str
    typical: float
    largest: float
    runs: tuple[str, ...]

    @property
    def weight(self) -> float:
        """How much it matters among cues: share of steps times how far they are off."""
        striking = _STRIKING.get(self.figure, self.typical or 1.0)
        return self.off / self.measured * min(self.typical / striking, 2.0)


_WORDS: Final[Mapping[tuple[str, str, str], Words]] = {
    ("shin_angle_touchdown_deg", ABOVE, "drive"): Words(
        "Shin too upright at touchdown",
        "The foot comes down too far forward for the drive phase, so part of the step brakes "
        "instead of pushing.",
        "Often tried: strike down and back under the hips, keep the first steps low and let the "
        "body rise step by step.",
    ),
    ("shin_angle_touchdown_deg", BELOW, "drive"): Words(
        "Shin very low at touchdown",
        "The knee is far ahead of the ankle when the foot comes down; such a step is hard to push "
        "from.",
        "Often tried: finish each push before the next step, pick the knee up a little earlier.",
    ),
    ("shin_angle_touchdown_deg", ABOVE, "transition"): Words(
        "Reaching at touchdown",
        "The ankle lands ahead of the knee while speed is still to be gained.",
        "Often tried: bring the foot down closer to the hips; rise more slowly out of the drive.",
    ),
    ("shin_angle_touchdown_deg", BELOW, "transition"): Words(
        "Staying low for long",
        "The shin is still well forward at touchdown when the body should be coming up.",
        "Often tried: let hips and trunk rise step by step after the drive phase.",
    ),
    ("shin_angle_touchdown_deg", ABOVE, "upright"): Words(
        "Reaching at touchdown",
        "The foot lands further ahead of the knee than the few degrees that are usual at speed.",
        "Often tried: hips tall and forward, pull the foot back before it lands.",
    ),
    ("shin_angle_touchdown_deg", BELOW, "upright"): Words(
        "Shin still leaning at speed",
        "The knee is well ahead of the ankle at touchdown in upright running.",
        "Often tried: taller hips, higher knees before the foot comes down.",
    ),
    ("contact_time_s", ABOVE, ""): Words(
        "Long on the ground",
        "Contact lasts longer than the band of this phase.",
        "Often tried: a stiffer ankle, foot down closer to the hips; strength comes with time.",
    ),
    ("dorsiflexion_swing_mean_deg", BELOW, ""): Words(
        "Toe drops in the air",
        "Before touchdown the ankle is lower than in standing, so that it has to be braked on "
        "landing.",
        "Often tried: toe up as soon as the foot leaves the ground and until it lands.",
    ),
}


def words_for(figure: str, direction: str, phase: str) -> Words:
    """What to say of a figure off target in a direction and phase."""
    own = _WORDS.get((figure, direction, phase)) or _WORDS.get((figure, direction, ""))
    if own is not None:
        return own
    what = figure.rsplit("_", 1)[0].replace("_", " ")
    return Words(
        f"{what.capitalize()} {direction} its band",
        f"The {what} was {direction} the band of the {phase} phase.",
        "What to do about it is for the coach to say.",
    )


def cues(verdicts: pd.DataFrame) -> tuple[Cue, ...]:
    """The things that matter most in one run, or in several runs of one athlete.

    A thing is named when at least two steps, and 15 % of those measured in a phase, are surely off
    target in one direction; phases of which the same is to be said are one cue. Ordered by how
    often and how far.

    Parameters
    ----------
    verdicts : DataFrame
        From :func:`imuproc.assessment.verdicts.verdicts`.

    Returns
    -------
    tuple of Cue
    """
    figure, phase, verdict = (
        verdicts[name].to_numpy(dtype=object) for name in ("figure", "phase", "verdict")
    )
    measured = ~np.isin(verdict.astype(str), NO_VERDICT)
    alike: dict[tuple[str, str, Words], list[BoolArray]] = {}
    for of_figure, of_phase in dict.fromkeys(zip(figure, phase, strict=True)):
        group = (figure == of_figure) & (phase == of_phase) & measured
        for direction in (ABOVE, BELOW):
            off = int((group & (verdict == direction)).sum())
            if off >= max(_FEWEST_STEPS, _LEAST_SHARE * group.sum()):
                words = words_for(of_figure, direction, of_phase)
                alike.setdefault((of_figure, direction, words), []).append(group)
    found = [_cue(*key, verdicts[np.any(groups, axis=0)]) for key, groups in alike.items()]
    return tuple(sorted(found, key=_rank)[:MOST_CUES])


def _rank(cue: Cue) -> tuple[float, str, int]:
    return -cue.weight, cue.figure, PHASES.index(cue.phases[0])


def _cue(figure: str, direction: str, words: Words, measured: pd.DataFrame) -> Cue:
    off = measured[measured["verdict"] == direction]
    runs = list(dict.fromkeys(measured["run"]))
    off = off.sort_values(
        ["run", "step"], key=lambda c: c.map(runs.index) if c.name == "run" else c
    )
    excess = np.abs(off["excess"].to_numpy())
    pairs = zip(off["run"], off["step"], strict=True)
    return Cue(
        figure=figure,
        direction=direction,
        phases=tuple(phase for phase in PHASES if phase in set(off["phase"])),
        words=words,
        off=len(off),
        measured=len(measured),
        steps=tuple((str(run), int(step)) for run, step in pairs),
        side=_side(off["side"]),
        typical=float(np.median(excess)),
        largest=float(excess.max()),
        runs=tuple(dict.fromkeys(map(str, off["run"]))),
    )


def _side(sides: Iterable[str]) -> str:
    sides = list(sides)
    for side in ("left", "right"):
        if sides.count(side) > _ONE_SIDED * len(sides):
            return side
    return "both"


def on_target_share(verdicts: pd.DataFrame) -> dict[str, tuple[int, int]]:
    """For each figure how many steps are surely on target, and how many were measured."""
    measured = verdicts[~verdicts["verdict"].isin(NO_VERDICT)]
    return {
        str(figure): (int((group["verdict"] == ON_TARGET).sum()), len(group))
        for figure, group in measured.groupby("figure", sort=False)
    }
