"""Made-up results of the right form, so that reports are tested without the method."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from imuproc.core.columns import FIGURES, repeat_name, step_table_columns, uncertainty_name
from imuproc.core.contacts import Contacts
from imuproc.core.flags import RaisedFlag
from imuproc.core.motion import Motion
from imuproc.core.recording import Athlete, ConditionedRecording, Recording, Run
from imuproc.core.result import Result
from imuproc.core.uncertainty import PARTS_OF, SET_UP

UNCERTAINTY = {"s": 0.003, "hz": 0.05, "deg": 0.8, "m": 0.03, "mps": 0.12}


def fake_steps(count: int = 6, run: str = "R07-01", first_side: str = "left") -> pd.DataFrame:
    """A step table with an accelerating run in it; the last step lacks flight and step time."""
    number = np.arange(1, count + 1)
    contact = 0.108 + 0.085 * np.exp(-(number - 1) / 4.15)
    step_time = np.full(count, 0.23)
    touchdown = 10.0 + 0.23 * (number - 1)
    step_time[-1:] = np.nan
    figures = {name: np.full(count, np.nan) for name in FIGURES}
    figures |= {
        "touchdown_s": touchdown,
        "toe_off_s": touchdown + contact,
        "contact_time_s": contact,
        "flight_time_s": step_time - contact,
        "step_time_s": step_time,
        "step_frequency_hz": 1.0 / step_time,
        "shin_angle_touchdown_deg": 94.0 - 48.0 * np.exp(-(number - 1) / 3.0),
        "foot_pitch_touchdown_deg": np.full(count, -12.0),
        "dorsiflexion_touchdown_deg": np.full(count, 8.0),
        "dorsiflexion_swing_mean_deg": np.linspace(-12.0, 9.5, count),
    }
    sides = ["left", "right"] if first_side == "left" else ["right", "left"]
    table = pd.DataFrame(
        {
            "session": "harbour-2031-04-12",
            "athlete": "R07",
            "run": run,
            "step": number,
            "side": [sides[(n - 1) % 2] for n in number],
            "phase": ["drive" if n < 4 else "transition" for n in number],
            "phase_alternative": "",
            **figures,
            "flags": "",
        }
    )
    for name in FIGURES:
        unit = name.rsplit("_", 1)[1]
        u = np.where(np.isnan(table[name]), np.nan, UNCERTAINTY[unit])
        table[uncertainty_name(name)], table[repeat_name(name)] = u, u
    return table[step_table_columns()]


def fake_parts(steps: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Parts of the uncertainties of a step table: alike in size, none common to a set-up."""
    out = {}
    for name in FIGURES:
        own = [part for part in PARTS_OF[name] if part not in SET_UP]
        share = steps[repeat_name(name)].to_numpy() / np.sqrt(len(own))
        zero = np.where(np.isnan(share), np.nan, 0.0)
        columns = {part: share if part in own else zero for part in PARTS_OF[name]}
        out[name] = pd.DataFrame(columns)
    return out


def fake_recording(run: str = "R07-01", athlete: str = "R07") -> Recording:
    """A recording without any log: enough for what stands around the method."""
    return Recording(
        session="harbour-2031-04-12",
        athlete=Athlete(id=athlete),
        run=Run(id=run, start="three-point", distance_m=30.0),
        logs={},
    )


def fake_result(
    recording: Recording, steps: pd.DataFrame | None = None, flags: Sequence[RaisedFlag] = ()
) -> Result:
    """A result around a step table."""
    empty = np.empty(0)
    steps = fake_steps(run=recording.run.id) if steps is None else steps
    return Result(
        session=recording.session,
        athlete=recording.athlete.id,
        run=recording.run.id,
        steps=steps,
        uncertainty=fake_parts(steps),
        curves=pd.DataFrame({"time_s": empty}),
        contacts=Contacts(np.empty(0, dtype="U5"), empty, empty, empty, empty),
        motion=Motion(empty, {}),
        conditioned=ConditionedRecording(recording, empty, 500.0, {}),
        flags=tuple(flags),
        history=(),
    )
