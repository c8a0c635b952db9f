"""Plans of made-up runs."""

import numpy as np
import pytest

from imuproc.synth.plan import FAULTS, Body, Technique, add_faults, draw_plan


def test_body_of_usual_proportions() -> None:
    # Drillis & Contini 1966 as given by Winter (from memory): H = 1.80 m.
    body = Body.from_stature(1.80)
    assert body.shank_m == pytest.approx(0.443, abs=0.001)
    assert body.foot_m == pytest.approx(0.274, abs=0.001)
    assert body.hip_height_m == pytest.approx(0.954, abs=0.001)
    assert body.ball_from_heel_m + body.toe_m == pytest.approx(body.foot_m)


def test_same_seed_same_plan_other_seed_other_athlete() -> None:
    first, again, other = (draw_plan(np.random.default_rng(s)) for s in (4, 4, 5))
    assert first == again
    assert first.technique != other.technique


@pytest.mark.parametrize("fault", FAULTS)
def test_every_fault_changes_the_technique(fault: str) -> None:
    assert add_faults(Technique(), (fault,)) != Technique()  # type: ignore[arg-type]


def test_an_unknown_fault_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="'limp' is not one of toe-drop, reaching"):
        add_faults(Technique(), ("limp",))  # type: ignore[arg-type]
