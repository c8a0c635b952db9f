import numpy as np

from imuproc.core.columns import BY_NAME
from imuproc.core.reference import Reference


def three_contacts() -> Reference:
    nothing = np.full(3, np.nan)
    return Reference(
        source="video.csv",
        side=np.array(["left", "right", "left"]),
        touchdown_s=np.array([1.0, 1.25, 1.5]),
        toe_off_s=np.array([1.15, 1.4, np.nan]),
        contact_time_s=nothing,
        flight_time_s=nothing,
        angles={"shin_angle_touchdown_deg": np.array([50.0, 55.0, 60.0])},
        has_clock=True,
        resolution_s=1 / 240,
        threshold_n=None,
        kind="video",
    )


def test_contacts_are_picked_with_everything_that_belongs_to_them():
    reference = three_contacts()
    for keep in (np.array([2, 0]), np.array([True, False, True])):
        picked = reference.take(keep)
        order = [0, 2] if keep.dtype == bool else [2, 0]
        assert len(picked) == 2
        assert picked.side.tolist() == ["left", "left"]
        assert np.array_equal(picked.touchdown_s, reference.touchdown_s[order])
        assert np.array_equal(picked.toe_off_s, reference.toe_off_s[order], equal_nan=True)
        assert np.array_equal(
            picked.angles["shin_angle_touchdown_deg"],
            reference.angles["shin_angle_touchdown_deg"][order],
        )
        assert picked.resolution_s == reference.resolution_s
        assert picked.kind == "video"


def test_angles_go_by_names_of_the_step_table():
    assert set(three_contacts().angles) <= set(BY_NAME)
