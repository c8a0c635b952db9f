"""What clocks that are not one leave uncertain, for figures that compare two sensors."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from imuproc.core.clocks import Clocks
from imuproc.core.contacts import Contacts
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import ConditionedRecording
from imuproc.core.sites import SIDES, Side, Site, foot_of, shank_of
from imuproc.estimators.angles import AngleCurve
from imuproc.estimators.reading import measure_speed_near

FloatArray = NDArray[np.float64]


def widen_times(contacts: Contacts, conditioned: ConditionedRecording) -> Contacts:
    """Contacts with what the clocks leave uncertain about their times.

    Parameters
    ----------
    contacts : Contacts
    conditioned : ConditionedRecording

    Returns
    -------
    Contacts
        Evidence added: ``clock_u_s``, standard uncertainty of the clock of the contact's own leg
        against that of the recording, and ``clock_next_u_s``, against that of the next contact's
        leg (0 for the last contact). All 0 where the clock is shared.
    """
    clocks = conditioned.recording.clocks
    first = next(iter(conditioned.recording.logs), None)
    own_u, next_u = np.zeros(len(contacts)), np.zeros(len(contacts))
    heads = {side: get_head_sensor(conditioned, side) for side in SIDES}
    following = np.append(contacts.side[1:], contacts.side[-1:])
    for side, head in heads.items():
        rows = contacts.side == side
        if head is None or first is None or not rows.any():
            continue
        own_u[rows] = clocks.compute_u_s(head, clocks.find_root(first), contacts.touchdown_s[rows])
        for other_side, other in heads.items():
            pairs = rows & (following == other_side)
            if other is not None and other_side != side:
                next_u[pairs] = clocks.compute_u_s(head, other, contacts.touchdown_s[pairs])
    evidence = {**contacts.evidence, "clock_u_s": own_u, "clock_next_u_s": next_u}
    return replace(contacts, evidence=evidence)


def flag_clocks(contacts: Contacts, most_u_s: float) -> list[RaisedFlag]:
    """A flag where the clocks of the legs are known so badly that flight times suffer.

    Parameters
    ----------
    contacts : Contacts
        From :func:`widen_times`.
    most_u_s : float
        Standard uncertainty of one leg's clock against the other's above which it is told.

    Returns
    -------
    list of RaisedFlag
    """
    apart_u_s = contacts.evidence["clock_next_u_s"].max(initial=0.0)
    if not apart_u_s > most_u_s:
        return []
    return [RaisedFlag("clock_unsure", {"apart_u_s": float(apart_u_s)})]


def get_head_sensor(conditioned: ConditionedRecording, side: Side) -> Site | None:
    """The sensor of a leg in whose log its contacts are found: the foot, else the shank."""
    sites = (foot_of(side), shank_of(side))
    return next((site for site in sites if site in conditioned.segments), None)


def add_clock_doubt(curve: AngleCurve, clocks: Clocks, site: Site, head: Site | None) -> AngleCurve:
    """An angle curve with what its sensor's clock leaves uncertain.

    Parameters
    ----------
    curve : AngleCurve
        Of one sensor.
    clocks : Clocks
    site : Site
        The sensor.
    head : Site or None
        The sensor by whose clock the curve is read.

    Returns
    -------
    AngleCurve
        Part ``clock``: the rate of turning times the standard uncertainty of one clock against the
        other.
    """
    part = np.zeros(len(curve.time_s))
    if head is not None and head != site and not clocks.shared:
        u_s = clocks.compute_u_s(site, head, curve.time_s)
        part = measure_speed_near(curve, curve.time_s, u_s) * u_s
    return replace(curve, parts_rad={**curve.parts_rad, "clock": part})
