"""Target sets: what is read, what is refused and in which words."""

import numpy as np
import pytest

from imuproc.assessment.targets import DEFAULT, choose_set, read_targets
from imuproc.core.errors import SessionError

OWN = """
schema = 1
[[set]]
name = "R07 spring"
[[set.band]]
figure = "shin_angle_touchdown_deg"
phase = "drive"
steps = [[40, 50], [46, 58]]
basis = "common practice, no source"
[[set.band]]
figure = "contact_time_s"
phase = "upright"
high = 0.12
basis = "common practice, no source"
"""


def written(tmp_path, text):
    path = tmp_path / "targets.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_default_set_asks_for_what_the_trade_asks_for():
    bands = {(b.figure, b.phase): b for b in read_targets()[DEFAULT].bands}
    low, high = bands["shin_angle_touchdown_deg", "drive"].get_limits(
        np.arange(1, 9), np.full(8, np.nan)
    )
    assert low[0] < 45.0 < high[0]  # about 45 deg at the first contact: common practice, no source
    assert np.all(np.diff(low) >= 0.0)
    assert np.all(np.diff(high) >= 0.0)
    assert high.max() < 90.0  # past vertical is reaching in the drive phase
    low, high = bands["shin_angle_touchdown_deg", "upright"].get_limits(
        np.array([20]), np.array([9.5])
    )
    # 92 to 96 deg at 9.5 m/s: open data of Dorn, Schache & Pandy 2012, J Exp Biol 215:1944.
    assert low[0] < 92.0 < 96.0 < high[0]
    low, high = bands["shin_angle_touchdown_deg", "upright"].get_limits(
        np.array([20]), np.array([4.5])
    )
    assert np.isnan(low + high)  # a jog is not judged
    toe = bands["dorsiflexion_swing_mean_deg", "upright"]
    assert toe.get_limits(np.array([20]), np.array([9.0]))[0] == -5.0


def test_every_band_of_the_default_set_says_what_it_rests_on():
    for band in read_targets()[DEFAULT].bands:
        assert "no source" in band.basis or any(
            year in band.basis for year in ("2012", "2017", "2021", "2026")
        )


@pytest.mark.parametrize(
    ("speed_mps", "usual_s"),
    [
        (6.6, 0.155),  # open plate data of one person
        (6.94, 0.145),  # photoelectric bars at 25 km/h (Lubrano et al. 2026, open data)
        (9.5, 0.122),  # Dorn, Schache & Pandy 2012, J Exp Biol 215:1944, open data
        (10.3, 0.109),  # steps 16 to 25 of five elite sprinters (Blauberger et al. 2021)
    ],
)
def test_published_contact_times_lie_well_within_the_band_of_their_speed(speed_mps, usual_s):
    for band in read_targets()[DEFAULT].bands:
        if band.figure == "contact_time_s":
            high = band.get_limits(np.array([20]), np.array([speed_mps]))[1][0]
            assert 1.05 * usual_s < high < 1.25 * usual_s


def test_every_band_and_difference_of_the_default_set_says_what_is_worth_a_word():
    targets = read_targets()[DEFAULT]
    assert all(band.least_excess > 0.0 for band in targets.bands)
    assert {one.figure for one in targets.differences} >= {
        "shin_angle_touchdown_deg", "dorsiflexion_swing_mean_deg", "contact_time_s",
    }  # fmt: skip


def test_an_own_set_joins_the_default_one_and_its_last_pair_holds_on(tmp_path):
    sets = read_targets(written(tmp_path, OWN))
    assert set(sets) == {DEFAULT, "R07 spring"}
    shin = choose_set(sets, "R07 spring").bands[0]
    np.testing.assert_array_equal(
        shin.get_limits(np.array([1, 2, 7]), np.full(3, np.nan))[0], [40.0, 46.0, 46.0]
    )
    assert choose_set(sets, None).name == DEFAULT


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("schema = 1", "schema = 2", "schema: found the number 2; allowed: the number 1"),
        ("contact_time_s", "contact_time", "did you mean 'contact_time_s'"),
        ('phase = "upright"', 'phase = "slowing"', "phase"),
        ("high = 0.12", "high = 0.12\nlow = 0.2", "low below high"),
        ("high = 0.12", "", "low, high or both; or steps; or by_speed"),
        ("[[40, 50], [46, 58]]", "[[40, 50], [60, 58]]", "low below high"),
        ("[[40, 50], [46, 58]]", "[[40, 50, 60]]", "steps"),
        ("high = 0.12", "hihg = 0.12", "high"),
        ("high = 0.12", "by_speed = [[8, 0, 0.1], [6, 0, 0.2]]", "rising speeds"),
        ("high = 0.12", "by_speed = [[8, 0.2, 0.1]]", "low below high"),
        ("high = 0.12", "high = 0.12\nleast_excess = -1", "least_excess"),
        ('phase = "drive"', 'phase = "drve"', "did you mean 'drive'"),
        ("high = 0.12", "high = 0.12\n[[set.difference]]\nfigure = 'shin'", "figure"),
        ('basis = "common practice, no source"\n[[', "[[", "basis: this key is missing"),
    ],
)
def test_a_wrong_set_is_refused_with_its_key(tmp_path, old, new, said):
    with pytest.raises(SessionError, match=r"targets\.toml") as caught:
        read_targets(written(tmp_path, OWN.replace(old, new, 1)))
    assert said in str(caught.value)


def test_two_bands_for_one_figure_and_phase_are_refused(tmp_path):
    twice = OWN + OWN[OWN.index("[[set.band]]") : OWN.index("[[set.band]]", 80)]
    with pytest.raises(SessionError, match=r"set\[1\].band\[3\].*a second band"):
        read_targets(written(tmp_path, twice))


def test_a_set_that_is_not_there_is_named_with_those_that_are():
    with pytest.raises(SessionError, match=r"found 'sprng'; allowed: .*default"):
        choose_set(read_targets(), "sprng")
