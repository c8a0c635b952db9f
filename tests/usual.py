"""The usual settings of the method, as its stages take them."""

from imuproc.conditioning.sanity import compute_least_rate_hz
from imuproc.pipeline.settings import Settings

METHOD = Settings()
ANKLE_M = METHOD.runs.progress.ankle_m
ON_CLOCK = (METHOD.timebase, METHOD.motion.missing_gyro_sd_radps)
SOUND = (METHOD.sanity, METHOD.runs.fastest_limb_radps)
LEAST_HZ = compute_least_rate_hz(METHOD.sanity)
TIED = (METHOD.clocks, METHOD.timebase.stamps, METHOD.timebase.range)
COARSE = (METHOD.coarse, METHOD.unaided, METHOD.fusion, ANKLE_M)
UNAIDED = (METHOD.unaided, METHOD.fusion)
GAPS = (METHOD.estimators.gaps, METHOD.motion.unseen_accel_sd_mps2)
LONGEST_STEP_S = METHOD.estimators.stride.longest_step_s
