"""How well clocks are known against each other follows the ties between them."""

import numpy as np

from imuproc.core.clocks import Clocks, ClockTie

AT_S = np.array([100.0, 110.0])


def tie(site, to, offset_u_s, drift_u_ppm=0.0):
    return ClockTie(site, to, 0.0, 0.0, 100.0, offset_u_s, drift_u_ppm)


TREE = Clocks(
    shared=False,
    ties={
        "left_foot": tie("left_foot", "left_shank", 0.001),
        "right_foot": tie("right_foot", "left_foot", 0.004, 100.0),
        "right_shank": tie("right_shank", "right_foot", 0.001),
    },
)


def test_one_clock_for_all_is_certain() -> None:
    assert Clocks().compute_u_s("left_foot", "pelvis", AT_S).tolist() == [0.0, 0.0]


def test_uncertainty_grows_along_the_ties_and_with_time() -> None:
    np.testing.assert_allclose(TREE.compute_u_s("left_foot", "left_shank", AT_S), 0.001)
    # 100 ppm over 10 s are 1 ms.
    np.testing.assert_allclose(
        TREE.compute_u_s("left_foot", "right_foot", AT_S), [0.004, np.hypot(0.004, 0.001)]
    )
    np.testing.assert_allclose(
        TREE.compute_u_s("left_shank", "right_shank", AT_S)[0], np.sqrt(18e-6)
    )
    # What left foot and left shank have in common does not count between them and the right leg.
    np.testing.assert_allclose(
        TREE.compute_u_s("right_shank", "left_foot", AT_S)[0], np.sqrt(17e-6)
    )


def test_what_nothing_ties_is_not_known_at_all() -> None:
    assert np.isinf(TREE.compute_u_s("left_foot", "pelvis", AT_S)).all()
    assert TREE.find_root("right_shank") == "left_shank"
    assert TREE.find_root("pelvis") == "pelvis"
