"""Numbers that the motion stage uses; all of them standard deviations of what is not known."""

from dataclasses import dataclass

from imuproc.core.uncertainty import CLIPPED_ACCEL_SD_MPS2, CLIPPED_GYRO_SD_RADPS


@dataclass(frozen=True)
class MotionSettings:
    """What may be wrong with sensors and body, one standard deviation each.

    Parameters
    ----------
    gyro_matrix_sd : float
        Scale factor and misalignment of the gyroscope (1).
    g_sensitivity_sd_degps_per_g : float
        Answer of the gyroscope to acceleration in deg/s per g.
    accel_bias_sd_mps2, accel_scale_sd : float
        Bias in m/s² and scale factor (1) of the accelerometer.
    accel_usual_off : float
        An accelerometer that reads gravity wrong by a larger share is no usual one (twice what the
        two above make of it).
    wander_sd_deg_per_sqrt_s : float
        Random walk of orientation beyond the named terms.
    rest_velocity_sd_mps : float
        Sway of the sensor in quiet standing.
    ball_velocity_sd_mps : float
        Mean velocity of the ball of the foot over mid-stance. RMS over both feet of 11 runners
        0.02, 0.03 and 0.05 m/s at 2.5, 3.5 and 4.5 m/s, in one foot of ten 0.08 at the fastest
        (Fukuchi et al. 2017, open data).
    ball_within_sd_mps : float
        How far its velocity goes up and down within mid-stance, where it rolls and the shoe gives:
        RMS 0.04 to 0.10 m/s in the same feet.
    ankle_velocity_sd_mps : float
        How far shank and foot disagree about the ankle's velocity in stance, per stance.
    shank_alone_velocity_sd_mps : float
        Change of the ankle's mean velocity from stance to stance when there is no foot sensor.
    stride_velocity_sd_mps : float
        Unexplained change of velocity over a stride.
    belt_velocity_sd_mps : float
        The same on a treadmill, whose belt gains and loses speed under the foot.
    undersampling_share : float
        Error of velocity at an impact, as a share of the bend of the force from sample to sample
        times the sampling interval.
    unseen_accel_sd_mps2 : float
        What a clipped or missing sample of the accelerometer may hide.
    missing_gyro_sd_radps : float
        What a missing sample of the gyroscope may hide; a clipped one brings its own.
    heel_rise_toe_out_deg, heel_rise_toe_out_u_deg : float
        How far the heel-to-toe line points outward of the direction in which the foot turns while
        the heel rises, and its standard uncertainty for one foot. Mean and between-foot SD of 11
        runners, both feet, 2.5 to 4.5 m/s (Fukuchi et al. 2017, open data).
    stance_from, stance_to : float
        Part of the contact in which the ball of the foot is at rest (0 touchdown, 1 toe-off).
    """

    gyro_matrix_sd: float = 0.007
    g_sensitivity_sd_degps_per_g: float = 0.03
    accel_bias_sd_mps2: float = 0.25
    accel_scale_sd: float = 0.007
    accel_usual_off: float = 0.05
    wander_sd_deg_per_sqrt_s: float = 0.1
    rest_velocity_sd_mps: float = 0.02
    ball_velocity_sd_mps: float = 0.08
    ball_within_sd_mps: float = 0.12
    ankle_velocity_sd_mps: float = 0.12
    shank_alone_velocity_sd_mps: float = 0.3
    stride_velocity_sd_mps: float = 0.05
    belt_velocity_sd_mps: float = 1.0
    undersampling_share: float = 0.2
    unseen_accel_sd_mps2: float = CLIPPED_ACCEL_SD_MPS2
    missing_gyro_sd_radps: float = CLIPPED_GYRO_SD_RADPS
    heel_rise_toe_out_deg: float = -3.2
    heel_rise_toe_out_u_deg: float = 4.1
    stance_from: float = 0.35
    stance_to: float = 0.65
