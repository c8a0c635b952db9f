"""Where sensors sit, and the words for sides."""

from typing import Final, Literal

Site = Literal["left_shank", "left_foot", "right_shank", "right_foot", "pelvis"]
Side = Literal["left", "right"]

SITES: Final[tuple[Site, ...]] = (
    "left_shank",
    "left_foot",
    "right_shank",
    "right_foot",
    "pelvis",
)
SIDES: Final[tuple[Side, ...]] = ("left", "right")


def shank_of(side: Side) -> Site:
    """Site name of the shank of a side."""
    return "left_shank" if side == "left" else "right_shank"


def foot_of(side: Side) -> Site:
    """Site name of the foot of a side."""
    return "left_foot" if side == "left" else "right_foot"


def is_foot(site: Site) -> bool:
    """Whether a site is a foot."""
    return site.endswith("_foot")


def side_of(site: Site) -> Side | None:
    """Side of a site; None for the pelvis."""
    if site == "pelvis":
        return None
    return "left" if site.startswith("left") else "right"
