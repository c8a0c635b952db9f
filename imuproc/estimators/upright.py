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
from imuproc.core.sites import is_foot, side_of

FloatArray = NDArray[np.float64]

_FOOT_DEG = (-25.0, 15.0)
_SHIN_DEG = (46.0, 92.0)
_MIDDLE = np.linspace(0.3, 0.5, 5)
_FEWEST = 3


def upright_zero(motion: Motion, contacts: Contacts) -> bool:
    """Whether the zero of all segments can be that of quiet standing.

    Parameters
    ----------
    motion : Motion
    contacts : Contacts

    Returns
    -------
    bool
        True as well where nothing can be said.
    """
    for site, segment in motion.segments.items():
        own = contacts.take(contacts.side == side_of(site))
        # Of one that has turned on its limb the zero need not hold.
        if site == "pelvis" or len(own) < _FEWEST or segment.slip_u_rad > 0.0:
            continue
        length = (own.toe_off_s - own.touchdown_s)[:, None]
        middle_s = own.touchdown_s[:, None] + length * _MIDDLE
        pitch = np.degrees(np.median(np.interp(middle_s, motion.time_s, segment.pitch_rad)))
        low, high = _FOOT_DEG if is_foot(site) else (_SHIN_DEG[0] - 90.0, _SHIN_DEG[1] - 90.0)
        if not low < pitch < high:
            return False
    return True
