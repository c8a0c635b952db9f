"""Hand-made step tables for assessment tests."""

import pandas as pd


def steps(shin, u=1.0, phase="drive", sides=None, run="R07-01", **columns):
    count = len(shin)
    table = {
        "run": run,
        "step": range(1, count + 1),
        "side": sides or [("left", "right")[k % 2] for k in range(count)],
        "phase": phase,
        "phase_alternative": "",
        "speed_mps": 9.0,
        "shin_angle_touchdown_deg": [float(x) for x in shin],
        "shin_angle_touchdown_deg_u": u,
        "dorsiflexion_swing_mean_deg": 8.0,
        "dorsiflexion_swing_mean_deg_u": 1.0,
        "contact_time_s": 0.12,
        "contact_time_s_u": 0.004,
    }
    made = pd.DataFrame({**table, **columns})
    for name in [name for name in made if name.endswith("_u")]:
        if f"{name}_repeat" not in made:
            made[f"{name}_repeat"] = made[name]
    return made
