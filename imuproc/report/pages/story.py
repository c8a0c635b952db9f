"""What a run page says in words: what matters, what is in doubt, what each flag means."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from imuproc.assessment.cue_words import DIFFERS
from imuproc.assessment.cues import Cue, on_target_share
from imuproc.assessment.verdicts import ABOVE, TOO_CLOSE, VERDICTS
from imuproc.core.flag_list import FLAGS
from imuproc.core.flag_policy import is_serious, is_told
from imuproc.core.flag_words import describe_flag, describe_site
from imuproc.core.flags import RaisedFlag
from imuproc.core.words import format_count, format_steps, join_words
from imuproc.files.text import clean_text
from imuproc.report.pages.labels import BODY_LABELS, LABELS, STARTS, label_of
from imuproc.report.pages.view import RunView

if TYPE_CHECKING:
    import pandas as pd

LONGEST_NOTE: Final = 600


@dataclass(frozen=True)
class Matter:
    """A cue in sentences.

    Parameters
    ----------
    title, meaning, try_this : str
    size : str
        By how much, with its uncertainty.
    seen : str
        In how many steps, of which foot.
    evidence : str
        Which steps, and what else was seen.
    """

    title: str
    meaning: str
    size: str
    seen: str
    evidence: str
    try_this: str


@dataclass(frozen=True)
class FlagText:
    """A flag explained.

    Parameters
    ----------
    name, sentence, advice : str
    where : str
        Sensors and steps concerned.
    detail : str
    serious : bool
    """

    name: str
    sentence: str
    advice: str
    where: str
    detail: str
    serious: bool


def note_text(note: str | None) -> str:
    """A note on one line; of a very long one the beginning, with a remark."""
    text = clean_text(note or "")
    if len(text) <= LONGEST_NOTE:
        return text
    return f"{text[:LONGEST_NOTE]} … ({len(text)} characters; the archive holds all of them)"


def list_facts(view: RunView) -> list[tuple[str, str]]:
    """What stands under the headline: when, how it was started, how far, how many steps."""
    run = view.summary
    out = [
        ("Athlete", clean_text(run.athlete)),
        ("Date", clean_text(str(view.session.get("date") or "")) or "not known"),
        ("Start", STARTS.get(run.start, clean_text(run.start))),
    ]
    if run.start_time:
        out.append(("First touchdown", clean_text(run.start_time)))
    if run.distance_m is not None:
        out.append(("Distance", f"{run.distance_m:g} m"))
    if view.failed:
        return out
    covered, u = (run.figures[name] for name in ("distance_covered_m", "distance_covered_m_u"))
    if np.isfinite(covered):
        out.append(("Covered, before slowing", f"{covered:.1f} ± {max(u, 0.1):.1f} m"))
    slowing = run.counts["steps"] - run.counts["steps_effort"]
    count = f"{run.counts['steps_effort']}"
    out.append(("Steps", f"{count}, then {slowing} slowing down" if slowing else count))
    out.append(("Surface", clean_text(str(view.run.surface))))
    return out


def brief_facts(view: RunView) -> str:
    """Date, start, distance and steps on one line."""
    known = dict(list_facts(view))
    words = [known.get(term, "") for term in ("Date", "Start", "Distance")]
    count = view.summary.counts.get("steps_effort", 0)
    words.append(format_count(count, "step") if count else "")
    return " · ".join(word for word in words if word and word != "not known")


def list_matters(view: RunView) -> list[Matter]:
    """The cues of a run in sentences."""
    return [tell_cue(cue, view.steps) for cue in view.cues]


def tell_cue(cue: Cue, steps: "pd.DataFrame") -> Matter:
    """One cue in sentences.

    Parameters
    ----------
    cue : Cue
    steps : DataFrame
        Step table of the run.
    """
    uneven = cue.direction == DIFFERS
    return Matter(
        title=cue.words.title,
        meaning=cue.words.meaning,
        size=_say_difference(cue) if uneven else _say_how_far(cue),
        seen="" if uneven else _say_where(cue),
        evidence=""
        if uneven
        else f"{format_steps(list(cue.steps)).capitalize()}." + _say_ankle_ahead(cue, steps),
        try_this=cue.words.try_this,
    )


def _say_how_far(cue: Cue) -> str:
    """How far off in the mean."""
    return f"{size_of(cue)} {'over' if cue.direction == ABOVE else 'under'} target"


def _say_where(cue: Cue) -> str:
    """In how many steps of which phases, and of which foot."""
    foot = "" if cue.side == "both" else f", mostly the {cue.side} foot"
    steps, unsure = format_count(cue.measured, "step"), cue.off - cue.sure
    if cue.sure == 0:
        many = f"in the mean of {steps}"
    else:
        many = f"{cue.sure} of {steps}" + (f", perhaps {unsure} more" if unsure else "")
    return f"{many} ({join_words(cue.phases)}){foot}"


def _say_difference(cue: Cue) -> str:
    """Which foot has more of it, and by how much."""
    other = "right" if cue.side == "left" else "left"
    return f"{label_of(cue.figure).name} {size_of(cue)} larger {cue.side} than {other}"


def size_of(cue: Cue) -> str:
    """How far off in the mean, with its standard uncertainty."""
    label = label_of(cue.figure)
    unit = label.unit if label.unit == "°" else f" {label.unit}"
    return f"{label.format_number(cue.size)} ± {label.format_uncertainty(cue.u)}{unit}"


def _say_ankle_ahead(cue: Cue, steps: "pd.DataFrame") -> str:
    """How far the ankle was ahead of knee and hips, where the cue is of a shin past its band."""
    if cue.figure != "shin_angle_touchdown_deg" or cue.direction != ABOVE:
        return ""
    of_cue = steps["step"].isin(cue.steps)
    said = ""
    ahead = steps.loc[of_cue, "ankle_ahead_of_knee_m"].to_numpy(dtype=np.float64)
    if (ahead > 0.0).any():
        most = LABELS["ankle_ahead_of_knee_m"].with_unit(float(np.nanmax(ahead)))
        said = f" The ankle was up to {most} ahead of the knee: it may brake."
    of_hips = "ankle_ahead_of_hip_touchdown_m"
    if of_hips in steps and steps.loc[of_cue, of_hips].notna().any():
        usual = BODY_LABELS[of_hips].with_unit(float(steps.loc[of_cue, of_hips].mean()))
        said += f" It came down {usual} ahead of the hips on average."
    return said


def nothing_off(view: RunView) -> str:
    """What to say where there is no cue."""
    shares = on_target_share(view.verdicts)
    on, measured = (sum(share[k] for share in shares.values()) for k in (0, 1))
    if view.serious_flags():
        return "No advice: what is said above means that figures may be wrong."
    if measured == 0:
        return "Nothing could be held against the targets: their figures are missing or in doubt."
    close = int((view.verdicts["verdict"] == TOO_CLOSE).sum())
    start = "As far as it could be measured, nothing" if view.in_trouble() else "Nothing"
    return (
        f"{start} was surely and repeatedly off target. Of {measured} figures held against their "
        f"targets {on} are surely on target and {close} are too close to call."
    )


def flag_texts(view: RunView) -> list[FlagText]:
    """Every flag of the run and its steps, serious ones first."""
    raised = [flag for flag in view.summary.flags if is_told(flag.name, "page")]
    names = dict.fromkeys(flag.name for flag in raised)
    texts = [_flag_text(name, [flag for flag in raised if flag.name == name]) for name in names]
    return sorted(texts, key=lambda text: not text.serious)


def _flag_text(name: str, raised: list[RaisedFlag]) -> FlagText:
    known = FLAGS.get(name)
    numbers = sorted({flag.step for flag in raised if flag.step is not None})
    sites = dict.fromkeys(clean_text(describe_site(flag)) for flag in raised if flag.site)
    places = [*sites, *([format_steps(numbers)] if numbers else [])]
    return FlagText(
        name=clean_text(name).replace("_", " "),
        sentence=known.sentence if known else "This version does not know this flag.",
        advice=known.advice if known else "",
        where=", ".join(places) or "whole run",
        detail="; ".join(_say_details(raised)),
        serious=is_serious(name),
    )


def _say_details(raised: Iterable[RaisedFlag]) -> list[str]:
    """Details in words, each once; sensors are named with theirs."""
    told = ((describe_site(flag), describe_flag(flag)) for flag in raised)
    return list(dict.fromkeys(clean_text(": ".join(filter(None, one))) for one in told if one[1]))


def on_target_words(view: RunView, figure: str) -> str:
    """A figure's verdicts counted, as the caption of its drawing says it."""
    rows = view.verdicts[view.verdicts["figure"] == figure]
    if not len(rows):
        return "No target is set for it."
    counts = rows["verdict"].value_counts()
    parts = [f"{counts[verdict]} {verdict}" for verdict in VERDICTS if verdict in counts]
    return f"Of {len(rows)} judged steps: {', '.join(parts)}."
