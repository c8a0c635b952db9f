"""Every number of the settings is used: on some scene another value shows in the results.

In figures, uncertainties, curves, events, flags, or in whether and why a run is refused; that a
setting is recorded does not count. ``python scripts/find_setting_effects.py`` makes the table anew.
"""

import pytest

from imuproc.pipeline.settings import Settings
from tests.pipeline.scenes import SCENES
from tests.pipeline.setting_effects import REASONS, change_number, list_numbers, read_table
from tests.pipeline.stage_effects import EFFECTS
from tests.pipeline.watched import Watched, nest_tables

MOST_REASONS = 22


@pytest.mark.parametrize("scene", SCENES)
def test_each_setting_shows_on_its_scene(scene: str) -> None:
    watched = Watched(SCENES[scene].make(), SCENES[scene].base)
    effects = read_table()[scene]
    assert effects, "a scene on which no setting shows only takes time"
    assert [
        p for p, value in effects.items() if not watched.find_difference(change_number(p, value))
    ] == []
    assert watched.find_difference({}) == ""


@pytest.mark.parametrize("place", EFFECTS)
def test_a_setting_shows_in_its_stage(place: str) -> None:
    value, work_out = EFFECTS[place]
    usual, changed = Settings(), Settings.model_validate(nest_tables(change_number(place, value)))
    assert work_out(changed) != work_out(usual)


def test_no_setting_is_left_out_but_for_a_reason() -> None:
    table = read_table()
    reasons = table[REASONS]
    told = [*EFFECTS, *(place for part in table.values() for place in part)]
    assert sorted(told) == sorted(list_numbers())
    assert all(len(reason) > 20 for reason in reasons.values())
    assert len(reasons) <= MOST_REASONS


def test_a_setting_that_a_scene_has_no_use_for_shows_nothing_there() -> None:
    watched = Watched(SCENES["left_leg"].make())
    assert watched.find_difference({"motion.belt_velocity_sd_mps": 5.0}) == ""
