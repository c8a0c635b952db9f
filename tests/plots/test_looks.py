from itertools import combinations

import numpy as np
import pytest
from colorspacious import cspace_converter, deltaE
from numpy.typing import NDArray

from imuproc.core.columns import FIGURES
from imuproc.plots.looks import GREEN, INK, LEFT, PURPLE, RIGHT, SOFT, name_of

DRAWN = (GREEN, INK, LEFT, PURPLE, RIGHT, SOFT)
TOGETHER = [(LEFT, RIGHT), *combinations((INK, GREEN, PURPLE), 2)]


def srgb(colour: str) -> NDArray[np.float64]:
    return np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255.0


@pytest.mark.parametrize("colour", DRAWN)
def test_lines_stand_out_from_white_paper(colour: str) -> None:
    """Contrast of graphical objects: 3 to 1 (W3C, WCAG 2.2, success criterion 1.4.11)."""
    part = srgb(colour)
    linear = np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)
    luminance = float(linear @ [0.2126, 0.7152, 0.0722])
    assert 1.05 / (luminance + 0.05) >= 3.0


@pytest.mark.parametrize("kind", ["protanomaly", "deuteranomaly", "tritanomaly"])
@pytest.mark.parametrize("pair", TOGETHER)
def test_the_colour_blind_tell_colours_apart(pair: tuple[str, str], kind: str) -> None:
    """As colorspacious (Machado et al. 2009) has them seen; a difference of 20 is our own bar."""
    seen = cspace_converter({"name": "sRGB1+CVD", "cvd_type": kind, "severity": 100}, "sRGB1")
    one, other = (np.clip(seen(srgb(colour)), 0.0, 1.0) for colour in pair)
    assert deltaE(one, other, input_space="sRGB1") > 20.0


def test_names_are_words_with_a_unit() -> None:
    names = {name_of(figure) for figure in FIGURES}
    assert len(names) == len(FIGURES)
    assert {
        "Contact time (s)",
        "Shin angle at touchdown (deg)",
        "Foot pitch at toe-off (deg)",
        "Dorsiflexion, mean of late swing (deg)",
        "Step frequency (Hz)",
        "Speed (m/s)",
        "Touchdown (s)",
    } <= names
    assert not any("_" in name for name in names)
