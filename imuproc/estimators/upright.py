"""Was it standing that set the zero? The posture in mid-stance tells.

In mid-stance a runner's sole lies flat and the shin leans forward a little, at any speed and with
any strike: read from 30 to 50 % of contact, the median foot pitch was -6 to 0 deg and the median
shin angle 62 to 72 deg in 33 trials of 11 runners (Fukuchi et al. 2017, open data), and -7 to -2
and 65 to 74 deg in simulated sprints. A set position taken for standing is off by 30 deg or more.
"""

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.motion import Motion
from imuproc.core.sites import is_foot, is_lower_leg, side_of
from imuproc.files.settings_model import FUKUCHI, TRIED, StageSettings, number, span

FloatArray = NDArray[np.float64]

_INSTANTS = 5
"""Of each contact at which the posture is read."""


class UprightSettings(StageSettings):
    """Which posture in mid-stance tells that standing set the zero."""

    foot_deg: tuple[float, float] = span(
        (-25.0, 15.0),
        (-90.0, 90.0),
        "Median foot pitch in mid-stance.",
        f"-6 to 0 deg in {FUKUCHI}, -7 to -2 deg in simulated sprints; a set position taken for "
        "standing is off by 30 deg or more",
    )
    shin_deg: tuple[float, float] = span(
        (46.0, 92.0),
        (0.0, 180.0),
        "Median shin angle in mid-stance.",
        f"62 to 72 deg in {FUKUCHI}, 65 to 74 deg in simulated sprints; a set position taken for "
        "standing is off by 30 deg or more",
    )
    stance_share: tuple[float, float] = span(
        (0.3, 0.5), (0.0, 1.0), "Part of the contact in which they are read.", TRIED
    )
    fewest_contacts: int = number(
        3, (1, 100), "With fewer contacts of a foot nothing is said.", unit="contacts"
    )


def is_zero_upright(motion: Motion, contacts: Contacts, settings: UprightSettings) -> bool:
    """Whether the zero of all segments can be that of quiet standing.

    Parameters
    ----------
    motion : Motion
    contacts : Contacts
    settings : UprightSettings

    Returns
    -------
    bool
        True as well where nothing can be said.
    """
    middle = np.linspace(*settings.stance_share, _INSTANTS)
    shin_low, shin_high = (bound - 90.0 for bound in settings.shin_deg)
    for site, segment in motion.segments.items():
        own = contacts.take(contacts.side == side_of(site))
        # Of one that has turned on its limb the zero need not hold.
        few = len(own) < settings.fewest_contacts
        if not is_lower_leg(site) or few or segment.slip_u_rad > 0.0:
            continue
        length = (own.toe_off_s - own.touchdown_s)[:, None]
        middle_s = own.touchdown_s[:, None] + length * middle
        pitch = np.degrees(np.median(np.interp(middle_s, motion.time_s, segment.pitch_rad)))
        low, high = settings.foot_deg if is_foot(site) else (shin_low, shin_high)
        if not low < pitch < high:
            return False
    return True
