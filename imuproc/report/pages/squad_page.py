"""The index: a row for each run, what comes back in each athlete's runs, filter and sort."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from imuproc.assessment.cues import Cue, on_target_share
from imuproc.assessment.verdicts import ABOVE, BELOW, ON_TARGET, TOO_CLOSE
from imuproc.core.errors import SessionError
from imuproc.core.flag_policy import is_serious
from imuproc.core.words import format_count
from imuproc.files.text import clean_text
from imuproc.report.pages import story
from imuproc.report.pages.labels import LABELS, STARTS, Label, label_of
from imuproc.report.pages.rendering import render_page
from imuproc.report.pages.run_page import CAUTIONS
from imuproc.report.pages.view import RunView
from imuproc.results.columns import mean_name

SHOWN: Final = (
    "contact_time_s",
    "step_frequency_hz",
    "speed_mps",
    "dorsiflexion_swing_mean_deg",
)
"""Figures of which the index shows the mean."""

_ORDER: Final = {label.short: place for place, label in enumerate(LABELS.values())}
_SAFE_ID: Final = re.compile(r"[A-Za-z0-9_-]{1,100}")
_WIDTH: Final = 120.0
_HEIGHT: Final = 32.0
_LOW_DEG: Final = 30.0
_HIGH_DEG: Final = 110.0


@dataclass(frozen=True)
class Small:
    """The shin angle by step, small: a line and a point for each foot, and its target.

    Parameters
    ----------
    line : str
        Path through all steps; broken where one is missing.
    band : str
        Outline of the target band.
    left, right : str
        Paths of the points.
    """

    line: str
    band: str
    left: str
    right: str


@dataclass(frozen=True)
class SquadRow:
    """A run in the index.

    Parameters
    ----------
    run, athlete, start : str
    page : str
        File name of its page.
    steps : int
    means : tuple of (Label, str, str)
        Figure, its mean as shown and as a number to sort by.
    on_target : str
        Judged steps with the shin on target, in words; empty where none was judged.
    on_share : str
        The same as a number to sort by.
    counts : tuple of (str, int, int, int)
        For each judged figure its name, and how many steps are on target, too close to call, off.
    small : Small or None
    matter, size : str
        Title of the main point, and by how much.
    state : {"failed", "trouble", "noted", "remarks", "fine"}
    flags : tuple of str
        In words.
    doubts : tuple of str
        What makes the run one in doubt.
    reason : str
        Why it failed.
    compare : str
        File name of the page that holds it against the athlete's run before; empty for the first.
    """

    run: str
    athlete: str
    start: str
    page: str
    steps: int
    means: tuple[tuple[Label, str, str], ...]
    on_target: str
    on_share: str
    counts: tuple[tuple[str, int, int, int], ...]
    small: Small | None
    matter: str
    size: str
    state: str
    flags: tuple[str, ...]
    doubts: tuple[str, ...]
    reason: str
    compare: str = ""


@dataclass(frozen=True)
class Recurring:
    """A fault that comes back in the runs of one athlete.

    Parameters
    ----------
    title, where, try_this : str
        What it is, in which runs and how far off, and what to try.
    """

    title: str
    where: str
    try_this: str


@dataclass(frozen=True)
class AthleteBlock:
    """All runs of one athlete, newest first.

    Parameters
    ----------
    athlete, count : str
    faults : sequence of Recurring
    rows : sequence of SquadRow
    """

    athlete: str
    count: str
    faults: Sequence[Recurring]
    rows: Sequence[SquadRow]


def squad_row(view: RunView) -> SquadRow:
    """The row of one run."""
    state = "failed" if view.failed else "trouble" if view.in_trouble() else "fine"
    names = view.summary.fault_names()
    if state == "fine" and names:
        state = "noted" if any(map(is_serious, names)) else "remarks"
    words, share = _on_target(view)
    return SquadRow(
        run=clean_text(view.summary.run),
        athlete=clean_text(view.summary.athlete),
        start=STARTS.get(view.summary.start, clean_text(view.summary.start)),
        page=page_name(view.summary.run),
        steps=view.summary.counts.get("steps_effort", 0),
        means=tuple(_format_mean(view, LABELS[name]) for name in SHOWN),
        on_target=words,
        on_share=share,
        counts=_count_verdicts(view),
        small=_draw_small(view),
        matter=view.cues[0].words.title if view.cues else "",
        size=story.size_of(view.cues[0]) if view.cues else "",
        state=state,
        flags=tuple(clean_text(name).replace("_", " ") for name in names),
        doubts=tuple(dict.fromkeys(f.name.replace("_", " ") for f in view.serious_flags()))
        or ("much is missing",),
        reason=clean_text(view.summary.reason),
    )


def page_name(run_id: str) -> str:
    """File name of a run's page.

    Raises
    ------
    SessionError
        The id is none that a session file may hold, and could name a place elsewhere.
    """
    if not _SAFE_ID.fullmatch(run_id):
        raise SessionError(
            f"found {clean_text(run_id)[:100]!r} as id of a run; allowed: A-Za-z0-9_-"
        )
    return f"{run_id}.html"


def _format_mean(view: RunView, label: Label) -> tuple[Label, str, str]:
    value = view.summary.figures.get(mean_name(label.figure), float("nan"))
    return label, label.format_number(value), f"{value:.6g}" if np.isfinite(value) else ""


def _on_target(view: RunView) -> tuple[str, str]:
    on, measured = on_target_share(view.verdicts).get("shin_angle_touchdown_deg", (0, 0))
    return (f"{on} of {measured}", f"{on / measured:.4f}") if measured else ("", "")


def _count_verdicts(view: RunView) -> tuple[tuple[str, int, int, int], ...]:
    """How many steps are on target, too close to call and off target, for each judged figure."""
    out = []
    for figure, rows in view.verdicts.groupby("figure", sort=False):
        counts = rows["verdict"].value_counts()
        on, close, above, below = (
            int(counts.get(word, 0)) for word in (ON_TARGET, TOO_CLOSE, ABOVE, BELOW)
        )
        if on + close + above + below:
            out.append((label_of(str(figure)).short, on, close, above + below))
    return tuple(sorted(out, key=lambda one: _ORDER.get(one[0], len(_ORDER))))


def _draw_small(view: RunView) -> Small | None:
    steps = view.steps[view.steps["phase"] != "slowing"]
    shin = steps["shin_angle_touchdown_deg"].to_numpy(dtype=np.float64)
    if not np.isfinite(shin).any():
        return None
    number = steps["step"].to_numpy(dtype=np.float64)
    across = _WIDTH / (number.max() + 1.0)
    x, y = number * across, _to_height(shin)
    left = (steps["side"] == "left").to_numpy(dtype=np.bool_)
    rows = view.verdicts[view.verdicts["figure"] == "shin_angle_touchdown_deg"]
    ends = rows[["step", "low", "high"]].to_numpy(dtype=np.float64)
    edge = [
        *zip(ends[:, 0], ends[:, 2], strict=True),
        *zip(ends[::-1, 0], ends[::-1, 1], strict=True),
    ]
    outline = "L".join(f"{n * across:.0f} {_to_height(np.array([v]))[0]:.1f}" for n, v in edge)
    return Small(
        line=_draw_path(x, y),
        band=f"M{outline}Z" if outline else "",
        left="".join(f"M{a:.0f} {b:.1f}h0" for a, b in _find_known(x, y, left)),
        right="".join(f"M{a:.0f} {b:.1f}h0" for a, b in _find_known(x, y, ~left)),
    )


def _find_known(x: Any, y: Any, which: Any) -> list[tuple[float, float]]:
    keep = which & np.isfinite(y)
    return list(zip(x[keep], y[keep], strict=True))


def _to_height(angle_deg: Any) -> Any:
    return _HEIGHT * (1.0 - (np.clip(angle_deg, _LOW_DEG, _HIGH_DEG) - _LOW_DEG) / 80.0)


def _draw_path(x: Any, y: Any) -> str:
    out, pen = [], "M"
    for a, b in zip(x, y, strict=True):
        if np.isfinite(b):
            out.append(f"{pen}{a:.0f} {b:.1f}")
        pen = "L" if np.isfinite(b) else "M"
    return "".join(out)


def find_recurring(cues: Mapping[str, Mapping[str, Sequence[Cue]]]) -> dict[str, list[Recurring]]:
    """By athlete what comes back: in at least two runs, most often first.

    Parameters
    ----------
    cues : mapping from str to mapping
        By athlete and run the cues of the run.
    """
    out = {}
    for athlete, of_runs in cues.items():
        by_fault: dict[str, dict[str, Cue]] = {}
        for run, found in of_runs.items():
            for cue in found:
                by_fault.setdefault(cue.words.title, {})[run] = cue
        again = sorted((runs for runs in by_fault.values() if len(runs) > 1), key=len, reverse=True)
        out[clean_text(athlete)] = [_say_fault(runs, len(of_runs)) for runs in again]
    return out


def _say_fault(cues: Mapping[str, Cue], of: int) -> Recurring:
    where = ", ".join(f"{clean_text(run)} {story.size_of(cue)}" for run, cue in cues.items())
    words = next(iter(cues.values())).words
    return Recurring(words.title, f"{len(cues)} of {of} runs: {where}", words.try_this)


def _make_blocks(
    rows: Sequence[SquadRow], again: Mapping[str, Sequence[Recurring]]
) -> list[AthleteBlock]:
    """One block per athlete, in the order of their codes; the last run of the session first."""
    blocks = []
    for athlete in sorted({row.athlete for row in rows}):
        own = [row for row in reversed(rows) if row.athlete == athlete]
        blocks.append(
            AthleteBlock(athlete, format_count(len(own), "run"), again.get(athlete, ()), own)
        )
    return blocks


def squad_page(
    session: Mapping[str, Any],
    rows: Sequence[SquadRow],
    again: Mapping[str, Sequence[Recurring]],
) -> str:
    """HTML of the index, self-contained."""
    failed = sum(row.state == "failed" for row in rows)
    doubtful = sum(row.state == "trouble" for row in rows)
    content = {
        "session": clean_text(str(session.get("id") or "")) or "session",
        "date": clean_text(str(session.get("date") or "")),
        "surface": clean_text(str(session.get("surface") or "")),
        "note": story.note_text(session.get("note")),
        "rows": rows,
        "blocks": _make_blocks(rows, again),
        "labels": [LABELS[name] for name in SHOWN],
        "athletes": sorted({row.athlete for row in rows}),
        "count": format_count(len(rows), "run"),
        "failed": failed,
        "doubtful": doubtful,
        "cautions": CAUTIONS,
        "size": (_WIDTH, _HEIGHT),
    }
    return render_page("squad.html.j2", content, script="squad.js")
