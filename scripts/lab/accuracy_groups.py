"""The groups of the accuracy script: what each is for and how its cases are made."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from typing import Final

from scripts.lab.accuracy_cases import Recipe

RATES_HZ: Final = (100.0, 200.0, 500.0, 1000.0, 2000.0)
STRONG_SOFT_TISSUE_DEG: Final = 2.0
CURVE_RADIUS_M: Final = 36.0


@dataclass(frozen=True)
class Group:
    """Cases that are judged together.

    Parameters
    ----------
    name, what : str
        What it is called, and what it shows in one sentence.
    recipe : Recipe
        How its cases are made.
    bars : str
        Which bars of :data:`scripts.lab.accuracy_tables.BARS` hold for it; empty where none do.
    parts : tuple of str
        Labels of the steps by which the table is broken down too. Sets of real motion are never
        pooled: each has its own table.
    """

    name: str
    what: str
    recipe: Recipe
    bars: str = ""
    parts: tuple[str, ...] = ()

    @property
    def by_set(self) -> bool:
        """Whether the cases are data sets that must not be pooled."""
        return self.recipe.motion == "optical"


_SPRINT: Final = Recipe("sprint")
_OPTICAL: Final = Recipe("optical")
_TREADMILL: Final = Recipe("optical", trials="treadmill")


def _make_both(name: str, what: str, bars: bool = False, **changes: object) -> list[Group]:
    """The same change to simulated sprints and to real motion."""
    sprint, optical = replace(_SPRINT, **changes), replace(_OPTICAL, **changes)  # type: ignore[arg-type]
    sim_bars, real_bars = ("simulated", "real") if bars else ("", "")
    return [
        Group(f"sim-{name}", f"Simulated sprints, {what}.", sprint, sim_bars),
        Group(f"real-{name}", f"Real motion, {what}.", optical, real_bars),
    ]


def _list_all_groups() -> list[Group]:
    groups = [
        Group(
            "simulated",
            "Simulated sprints of 20 to 60 m out of blocks, crouch and three-point, mid-grade "
            "sensors at 500 Hz.",
            _SPRINT,
            "simulated",
            ("phase", "number", "top"),
        ),
        Group(
            "real",
            "Real motion set by set, force plates at 20 N above local zero, mid-grade sensors at "
            "500 Hz, no shock.",
            _OPTICAL,
            "real",
        ),
        Group(
            "landing",
            "Simulated sprints whose feet land as feet may at all.",
            replace(_SPRINT, ground="landing"),
            "sweep",
            ("number",),
        ),
        Group(
            "leaving",
            "Simulated sprints whose feet leave the ground as feet may at all.",
            replace(_SPRINT, ground="leaving"),
            "sweep",
            ("number",),
        ),
    ]
    for rate_hz in (500.0, 200.0):
        end = "" if rate_hz == 500.0 else f"-{rate_hz:.0f}Hz"
        groups += [
            Group(
                f"hips{end}",
                f"Simulated sprints with thighs, pelvis and trunk at {rate_hz:.0f} Hz.",
                replace(_SPRINT, body_line=True, rate_hz=rate_hz),
                "hips",
            ),
            Group(
                f"hips-real{end}",
                f"Treadmill trials with thighs and pelvis at {rate_hz:.0f} Hz.",
                replace(_TREADMILL, body_line=True, rate_hz=rate_hz),
                "hips-real",
            ),
        ]
    for newton in (10.0, 50.0):
        groups.append(
            Group(
                f"real-{newton:.0f}N",
                f"The same recordings as `real` against contacts at {newton:.0f} N.",
                replace(_TREADMILL, threshold_n=newton),
            )
        )
    for strength in ("none", "weak", "strong"):
        groups.append(
            Group(
                f"sim-impact-{strength}",
                f"Simulated sprints, touchdown shock: {strength}.",
                replace(_SPRINT, impact=strength),  # type: ignore[arg-type]
            )
        )
    for strength in ("weak", "strong"):
        groups.append(
            Group(
                f"real-shock-{strength}",
                f"Real motion with a made-up {strength} touchdown shock; no validation.",
                replace(_TREADMILL, impact=strength),  # type: ignore[arg-type]
            )
        )
    return groups + _list_course_groups() + _list_sensor_groups()


def _list_course_groups() -> list[Group]:
    curve = replace(_SPRINT, curve_radius_m=CURVE_RADIUS_M)
    steady = Recipe("steady", speeds_mps=(4.0, 6.0))
    belt = Recipe("steady", treadmill=True)
    lean = "Simulated sprints, shanks lean 4 deg forward and 3 deg to the left in quiet standing"
    return [
        Group("curve", "Simulated sprints around a curve of 36 m to the left.", curve),
        Group(
            "steady",
            "Simulated easy running over ground at 4 to 6 m/s, rolling start, heel first.",
            steady,
            parts=("gain",),
        ),
        Group(
            "treadmill",
            "Simulated easy running at 3 to 6 m/s on a belt that starts and stops under the feet.",
            belt,
            parts=("gain",),
        ),
        Group(
            "real-treadmill",
            "The same recordings as `real`, declared as treadmill with the belt's speed.",
            replace(_TREADMILL, treadmill=True),
        ),
        Group(
            "sim-standing",
            "Simulated sprints from an upright start.",
            replace(_SPRINT, starts=("standing",)),
        ),
        Group(
            "sim-rolling",
            "Simulated sprints from a rolling start.",
            replace(_SPRINT, starts=("rolling",)),
        ),
        Group(
            "sim-lean",
            f"{lean}, unstated: judged by the shin relative to standing.",
            replace(_SPRINT, lean="unstated"),
        ),
        Group(
            "sim-lean-stated",
            f"{lean}, forward lean stated: judged by the shin to the horizontal.",
            replace(_SPRINT, lean="stated"),
        ),
        Group(
            "sim-soft-tissue",
            "Simulated sprints, sensors turn up to about 2 deg against the bone at touchdown.",
            replace(_SPRINT, soft_tissue_deg=STRONG_SOFT_TISSUE_DEG),
        ),
    ]


def _list_sensor_groups() -> list[Group]:
    groups = []
    for rate_hz in RATES_HZ:
        what = f"sensors at {rate_hz:.0f} Hz"
        groups += _make_both(f"{rate_hz:.0f}Hz", what, rate_hz in (200.0, 500.0), rate_hz=rate_hz)
    for kind in ("foot", "shank"):
        groups += _make_both(f"{kind}-only", f"{kind} sensors alone", sites=kind)
    groups += _make_both("left-leg", "one leg alone", sites="left")
    for sweep in ("landing", "leaving"):
        groups.append(
            Group(
                f"{sweep}-200Hz",
                f"As {sweep}, sensors at 200 Hz.",
                replace(_SPRINT, ground=sweep, rate_hz=200.0),  # type: ignore[arg-type]
                "sweep",
            )
        )
    groups += _make_both("low", "low-grade sensors", grade="low")
    groups += _make_both("mid16g", "feet clip at 16 g", grade="mid16g")
    groups += _make_both("scale-1pct", "scale-factor error of 1 % (SD)", scale_sd=0.01)
    groups += _make_both(
        "g-sensitivity", "gyroscopes with 0.1 deg/s per g (SD)", g_sensitivity_dps_g=0.1
    )
    groups.append(
        Group(
            "sim-jump-clock",
            "Simulated sprints, each sensor on its own clock, two jumps before the run and two "
            "after it in which the legs land 4 ms apart (SD).",
            replace(_SPRINT, clock="jump"),
        )
    )
    groups += _make_both(
        "separate-clocks",
        "feet on clocks of their own, legs not tied: figures within a leg",
        clock="separate",
    )
    return groups


GROUPS: Final[dict[str, Group]] = {group.name: group for group in _list_all_groups()}
"""All groups by name, in the order of the tables."""


def choose_groups(patterns: Sequence[str]) -> list[Group]:
    """Groups whose names match any of some shell-style patterns, in the order of the tables.

    Parameters
    ----------
    patterns : sequence of str

    Raises
    ------
    ValueError
        When a pattern matches nothing.
    """
    for pattern in patterns:
        if not any(fnmatchcase(name, pattern) for name in GROUPS):
            raise ValueError(f"no group is called {pattern!r}; --list shows them")
    return [
        group
        for name, group in GROUPS.items()
        if any(fnmatchcase(name, pattern) for pattern in patterns)
    ]
