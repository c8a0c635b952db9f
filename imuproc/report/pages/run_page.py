"""The page of one run, put together from its view."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from markupsafe import Markup

from imuproc.core.words import format_count
from imuproc.files.text import clean_text
from imuproc.report.pages import story
from imuproc.report.pages.body import draw_body_lines
from imuproc.report.pages.charts import draw_by_step, draw_swings, draw_time_strip
from imuproc.report.pages.doubt import list_trouble, list_trusted
from imuproc.report.pages.labels import BODY_LABELS, LABELS, label_of
from imuproc.report.pages.legs import draw_legs
from imuproc.report.pages.rendering import render_page
from imuproc.report.pages.rows import part_meanings, part_rows, side_rows, step_rows
from imuproc.report.pages.thinning import every_nth_pair, thin_steps
from imuproc.report.pages.view import RunView

CAUTIONS: Final = (
    "For training and the description of running only. This is no medical device: no diagnosis, no "
    "prediction of injury, no decision on return to sport.",
    "Sprinting flat out strains muscle and tendon: warm up step by step, build speed and volume "
    "over sessions, stop on pain and ask a licensed professional.",
    "Forces are not measured: “reaching” and “braking” are read from positions of the leg alone.",
    "Records of movement are personal data and can identify people: ask consent, keep codes apart "
    "from names, share as little as is needed.",
)


@dataclass(frozen=True)
class Chart:
    """A figure with all that stands around it.

    Parameters
    ----------
    id, title, caption : str
    alt : str
        What it shows, for those who do not see it.
    svg : Markup
    pick : {"x", "xy"}
        How the step under the pointer is found: along the axis, or on the curves.
    """

    id: str
    title: str
    caption: str
    alt: str
    svg: Markup
    pick: str = "x"


def run_page(view: RunView) -> str:
    """HTML of a run's page, self-contained."""
    failed_or_empty = view.failed or not view.has_steps
    content: dict[str, Any] = {
        "run": view.summary.run,
        "athlete": view.summary.athlete,
        "facts": story.list_facts(view),
        "brief": story.brief_facts(view),
        "notes": {
            "run": story.note_text(view.run.note),
            "athlete": story.note_text(view.athlete.note),
            "session": story.note_text(view.session.get("note")),
        },
        "failed": view.failed,
        "trouble": list_trouble(view) if view.in_trouble() else [],
        "trusted": [] if failed_or_empty else list_trusted(view),
        "rows": step_rows(thin_steps(view)),
        "flags": story.flag_texts(view),
        "cautions": CAUTIONS,
    }
    if not failed_or_empty:
        content |= _of_steps(view)
    return render_page("run.html.j2", content, script="page.js")


def _of_steps(view: RunView) -> dict[str, Any]:
    parts = part_rows(view)
    shown = thin_steps(view)
    return {
        "thinned": _thinned_words(view),
        "matters": story.list_matters(view),
        "nothing_off": story.nothing_off(view),
        "targets": clean_text(view.targets.name),
        "legs": draw_legs(shown),
        "sites": view.sites,
        "on_target_shin": story.on_target_words(view, "shin_angle_touchdown_deg"),
        "charts": [
            _by_step(view, shown, name) for name in _in_order(view) if _has_any(shown, name)
        ],
        "body_lines": draw_body_lines(shown),
        "body_charts": [
            _by_step(view, shown, name) for name in BODY_LABELS if _has_any(shown, name)
        ],
        "body_lacks": _say_what_lacks(view),
        "more_charts": _more_charts(shown),
        "labels": list(LABELS.values()),
        "sides": side_rows(view),
        "method": describe_method(view),
        "parts": parts,
        "meanings": part_meanings(parts),
        "bases": list_bases(view),
        "versions": "Made with " + ", ".join(f"{k} {v}" for k, v in view.versions.items()) + ".",
    }


_BY_STEP: Final = ("shin_angle_touchdown_deg", "dorsiflexion_swing_mean_deg", "contact_time_s")
_SWINGS: Final = (
    ("dorsiflexion", "Ankle through every swing (°, toe up +)", "ankle bend (dorsiflexion)"),
    ("foot_pitch", "Foot through every swing (°, toe up +)", "slope of the foot (pitch)"),
)


def _thinned_words(view: RunView) -> str:
    nth = every_nth_pair(view)
    if nth == 1:
        return ""
    return (
        f"This run has {len(view.steps)} steps. Figures and table show one of every {nth} pairs of "
        "steps; means, cues and counts are over all of them, and steps.csv holds them all."
    )


def _in_order(view: RunView) -> list[str]:
    """Figures with a chart by step: what the main point is about comes first."""
    told = [cue.figure for cue in view.cues if cue.figure in _BY_STEP]
    return list(dict.fromkeys((*told, *_BY_STEP)))


def _more_charts(shown: RunView) -> list[Chart]:
    """Charts that are folded: through the swings and along time, where there is data for them."""
    out = [_draw_swing(shown, *what) for what in _SWINGS if shown.curves.get(what[0])]
    if _has_any(shown, "contact_time_s"):
        out.append(_draw_strip(shown))
    return out


def _say_what_lacks(view: RunView) -> str:
    """What a sensor on the pelvis does not tell by itself."""
    has_thigh = any(site.endswith("thigh") for site in view.sites)
    if "pelvis" not in view.sites or has_thigh:
        return ""
    return (
        "A sensor on the pelvis tells its tilt, drop and turn. How high the hips are, and whether "
        "the foot lands under them, takes sensors on the thighs."
    )


def _has_any(view: RunView, figure: str) -> bool:
    return bool(np.isfinite(view.steps[figure].to_numpy(dtype=np.float64)).any())


def _by_step(view: RunView, shown: RunView, figure: str) -> Chart:
    label = label_of(figure)
    counts = story.on_target_words(view, figure)
    return Chart(
        id="by-step-" + figure.rsplit("_", 1)[0].replace("_", "-"),
        title=f"{label.name.capitalize()} by step ({label.unit})",
        caption=f"{label.why} Bars: about 95 % (twice the standard uncertainty). {counts}",
        alt=f"{label.name.capitalize()} of every step with its target. {counts}",
        svg=Markup(draw_by_step(shown, figure)),
    )


def _draw_swing(view: RunView, name: str, title: str, axis: str) -> Chart:
    shaded = " Shaded: the part over which the toe is judged." if name == "dorsiflexion" else ""
    return Chart(
        id="swing-" + name.split("_", 1)[0],
        title=title,
        caption=f"Each line is one swing, from toe-off to the next touchdown of that foot; the "
        f"picked step is drawn bold. 0° is as in standing.{shaded}",
        alt=f"Curves of the {axis} through the swing before each of "
        f"{format_count(len(view.curves[name]), 'touchdown')}.",
        svg=Markup(draw_swings(view, name)),
        pick="xy",
    )


def _draw_strip(view: RunView) -> Chart:
    return Chart(
        id="strip",
        title="Feet on the ground, along time",
        caption="Filled bars: left foot on the ground; open bars: right foot; between them, in the "
        "middle row, both in the air. Numbers are steps.",
        alt="Contacts of left and right foot and flights between them, along time.",
        svg=Markup(draw_time_strip(view)),
    )


def describe_method(view: RunView) -> str:
    """How it was measured, in sentences."""
    sites = ", ".join(clean_text(site).replace("_", " ") for site in view.sites)
    before = [k for k, _ in view.still.values()]
    after = [k for _, k in view.still.values()]
    return (
        f"{format_count(len(view.sites), 'sensor')} ({sites}), used at {view.rate_hz:g} Hz. "
        "Directions of each segment come from quiet standing and from the axis about which the leg "
        f"swings in running. Quiet standing before the run: {_format_span(before)}; after it: "
        f"{_format_span(after)}. Angles count from standing: shin 90°, foot and ankle 0°. "
        "Touchdown and toe-off come from shocks, turning and rest of the foot; what drifts is held "
        "by the times at which foot or body is at rest."
    )


def _format_span(seconds: list[float]) -> str:
    if not seconds or max(seconds) == 0.0:
        return "none found"
    if min(seconds) == 0.0:
        return f"not in all sensors (up to {max(seconds):.1f} s)"
    return (
        f"{min(seconds):.1f} s"
        if max(seconds) - min(seconds) < 0.1
        else (f"{min(seconds):.1f} to {max(seconds):.1f} s")
    )


def list_bases(view: RunView) -> list[str]:
    """For each judged figure and phase what its target rests on, alike ones in one line."""
    lines: dict[tuple[str, str], list[str]] = {}
    for band in view.targets.bands:
        lines.setdefault((label_of(band.figure).name, clean_text(band.basis)), []).append(
            band.phase
        )
    return [f"{name} ({', '.join(phases)}): {basis}." for (name, basis), phases in lines.items()]
