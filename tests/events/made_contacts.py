"""Contacts made by hand."""

import numpy as np

from imuproc.core.contacts import Contacts


def contacts_of(rows: list[tuple[str, float, float]]) -> Contacts:
    """Contacts from side, touchdown and contact time."""
    touchdown_s = np.array([row[1] for row in rows])
    u_s = np.full(len(rows), 0.01)
    return Contacts(
        side=np.array([row[0] for row in rows], dtype="<U5"),
        touchdown_s=touchdown_s,
        toe_off_s=touchdown_s + np.array([row[2] for row in rows]),
        touchdown_u_s=u_s,
        toe_off_u_s=u_s,
        evidence={"row": np.arange(float(len(rows)))},
    )


def gait(
    count: int, step_s: float, contact_s: float, start_s: float = 0.0, first: str = "left"
) -> list[tuple[str, float, float]]:
    """Even steps of both feet."""
    sides = ("left", "right") if first == "left" else ("right", "left")
    return [(sides[k % 2], start_s + k * step_s, contact_s) for k in range(count)]
