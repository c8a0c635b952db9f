"""Where sensors sit, and the words for sides."""

from typing import Final, Literal

Site = Literal[
    "left_shank",
    "left_foot",
    "right_shank",
    "right_foot",
    "pelvis",
    "left_thigh",
    "right_thigh",
    "trunk",
]
Side = Literal["left", "right"]

SITES: Final[tuple[Site, ...]] = (
    "left_shank",
    "left_foot",
    "right_shank",
    "right_foot",
    "pelvis",
    "left_thigh",
    "right_thigh",
    "trunk",
)
SIDES: Final[tuple[Side, ...]] = ("left", "right")


def shank_of(side: Side) -> Site:
    """Site name of the shank of a side."""
    return "left_shank" if side == "left" else "right_shank"


def foot_of(side: Side) -> Site:
    """Site name of the foot of a side."""
    return "left_foot" if side == "left" else "right_foot"


def thigh_of(side: Side) -> Site:
    """Site name of the thigh of a side."""
    return "left_thigh" if side == "left" else "right_thigh"


def is_foot(site: Site) -> bool:
    """Whether a site is a foot."""
    return site.endswith("_foot")


def is_thigh(site: Site) -> bool:
    """Whether a site is a thigh."""
    return site.endswith("_thigh")


def is_lower_leg(site: Site) -> bool:
    """Whether a site is a shank or a foot: these tell contacts and steps, the others follow."""
    return site.endswith(("_shank", "_foot"))


def side_of(site: Site) -> Side | None:
    """Side of a site; None for pelvis and trunk."""
    if site in ("pelvis", "trunk"):
        return None
    return "left" if site.startswith("left") else "right"
