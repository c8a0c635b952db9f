"""Swapped logs: legs that move crosswise are refused by name, and nothing else is."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.conditioning.axes.calibration import CalibrationSettings, calibrate
from imuproc.conditioning.axes.pairing import require_paired_legs
from imuproc.core.errors import RunError
from imuproc.core.recording import SensorLog
from imuproc.core.sites import SITES
from tests.conditioning.made_legs import RUN, STAND, made, timebased
from tests.usual import METHOD

LEGS = SITES[:4]
ASK = {
    "shanks exchanged": ("left_shank", "right_shank"),
    "feet exchanged": ("left_foot", "right_foot"),
}


def conditioned(swap=(), sites=LEGS, alike=False):
    """The made-up runner, two of whose logs may have been exchanged."""
    signals = made((STAND, RUN, STAND), sites)
    if alike:  # both legs do what the left one does
        for kind in ("shank", "foot"):
            for of in (signals.accel_mps2, signals.gyro_radps):
                of[f"right_{kind}"] = of[f"left_{kind}"]
    names = dict(zip(swap, reversed(swap), strict=True))
    based = timebased(signals)
    moved = {site: replace(based.sites[names.get(site, site)], site=site) for site in based.sites}
    nothing = np.zeros(0)
    logs = {
        site: SensorLog(site, nothing, nothing, nothing, f"logs/{site[:7]}.csv") for site in moved
    }
    based = replace(based, sites=moved, recording=replace(based.recording, logs=logs))
    run = signals.run(1)
    return calibrate(based, run, CalibrationSettings()), run


@pytest.mark.parametrize("swap", ASK.values(), ids=ASK.keys())
def test_legs_that_move_crosswise_are_refused_with_the_names_of_the_logs(swap) -> None:
    with pytest.raises(RunError, match="left and right logs look swapped") as caught:
        require_paired_legs(*conditioned(swap), METHOD.calibration.pairing)
    text = str(caught.value)
    assert "run R07-01" in text
    for name in ("left_shank", "left_foot", "right_shank", "right_foot", "logs/left_sh.csv"):
        assert name in text
    assert "Correct the site names" in text


def test_right_names_pass() -> None:
    require_paired_legs(*conditioned(), METHOD.calibration.pairing)


@pytest.mark.parametrize("missing", LEGS)
def test_with_fewer_sensors_nothing_is_claimed(missing) -> None:
    sites = [site for site in LEGS if site != missing]
    require_paired_legs(*conditioned(sites=sites), METHOD.calibration.pairing)


def test_legs_that_move_alike_tell_nothing() -> None:
    """A jump or a squat: every log fits every other."""
    require_paired_legs(
        *conditioned(("left_foot", "right_foot"), alike=True), METHOD.calibration.pairing
    )
