"""Numbers that the motion stage uses: most of them standard deviations of what is not known."""

from imuproc.files.settings_model import (
    FUKUCHI,
    MEMORY,
    TRIED,
    StageSettings,
    number,
    table,
)

_ANATOMY = "wide, so that any usual mounting fits (dimensions: facts of anatomy, from memory)"


class SlipSettings(StageSettings):
    """When a sensor has turned on its limb."""

    basis = TRIED
    foot_spread_deg: float = number(
        1.5,
        (0.1, 30.0),
        "Standard deviation of a foot's attitude in one stance about its level, both legs "
        "together.",
    )
    shank_spread_deg: float = number(
        2.5,
        (0.1, 30.0),
        "The same of a shank, which leans on all through stance, so that its lean in mid-stance is "
        "as uncertain as the contact's time.",
    )
    asymmetry_deg: float = number(
        4.0, (0.1, 45.0), "Standard deviation between the legs of one runner."
    )
    freedom: float = number(
        4.0,
        (1.0, 100.0),
        "Stances are spread as by Student's t with so many degrees of freedom: some are far off.",
        unit="",
    )
    clearly_misfit: float = number(
        6.0,
        (0.1, 100.0),
        "Instants whose misfit (twice a log likelihood) is larger than the best by this are ruled "
        "out.",
        unit="",
    )
    most_doubtful: int = number(
        2, (0, 20), "A turn whose instant is open by more stances is not taken out.", unit="stances"
    )
    turned_deg: float = number(4.0, (0.1, 45.0), "Two quiet stands differ by less.", MEMORY)
    fewest_stances: int = number(
        2,
        (1, 20),
        "Stances before and after a turn that the stances alone speak for.",
        unit="stances",
    )
    large_deg: float = number(
        5.0, (0.1, 45.0), "Where there is only one standing, smaller turns are not told."
    )
    sure_misfit: float = number(
        15.0,
        (0.0, 1000.0),
        "By so much such a turn must fit better than none.",
        "in 24 recordings without a slip (12 simulated sprints, 12 real runs of Fukuchi et al. "
        "2017) none did by more than 6",
        unit="",
    )


class RateSettings(StageSettings):
    """When the rotation of all sensors does not fit the rate of their samples."""

    basis = (
        "in 11 recordings (5 simulated sprints, 6 real runs of Fukuchi et al. 2017) whose rate was "
        "right the sensors' mean was -1.2 to 0.5 %, with a rate that was 5 % off 3.9 to 5.6 %"
    )
    least_share: float = number(
        0.03, (0.0, 1.0), "Least share by which the rotation of all sensors is too small or large."
    )
    sure_ratio: float = number(3.0, (0.0, 20.0), "And so many standard uncertainties of that.")
    usual_share: float = number(
        0.015,
        (0.0001, 0.5),
        "Scale error of single gyroscopes, one standard deviation.",
        "1 to 2 % as they are sold (from memory)",
    )
    agreeing_sensors: int = number(
        3, (1, 9), "So many sensors (or all there are) must agree.", unit="sensors"
    )


class LeverSettings(StageSettings):
    """Where points of the body lie against the sensors: means and standard deviations."""

    basis = _ANATOMY
    ball_from_foot_sensor_m: tuple[float, float, float] = number(
        (0.06, 0.0, -0.05),
        (-0.5, 0.5),
        "Forward, to the left and upward from an instep sensor to the ball of the foot.",
    )
    ball_from_foot_sensor_sd_m: tuple[float, float, float] = number(
        (0.08, 0.03, 0.04), (0.001, 0.5), "Its standard deviations."
    )
    ankle_from_foot_sensor_m: tuple[float, float, float] = number(
        (-0.06, 0.0, 0.03), (-0.5, 0.5), "From an instep sensor to the ankle."
    )
    ankle_from_foot_sensor_sd_m: tuple[float, float, float] = number(
        (0.06, 0.03, 0.04), (0.001, 0.5), "Its standard deviations."
    )
    ankle_from_shank_sensor_m: tuple[float, float] = number(
        (-0.03, 0.0),
        (-0.5, 0.5),
        "Forward and to the left from a shank sensor to the ankle; downward it is "
        "runs.progress.ankle_m.",
    )
    ankle_from_shank_sensor_sd_m: tuple[float, float, float] = number(
        (0.04, 0.03, 0.10),
        (0.001, 0.5),
        "Standard deviations forward, to the left and upward.",
    )
    rolling_radius_sd_m: float = number(
        0.03, (0.0001, 0.5), "Radius on which a foot rolls in stance, one standard deviation."
    )


class BodyLineSettings(StageSettings):
    """Thighs, pelvis and trunk, of which no point rests in a run."""

    basis = _ANATOMY
    knee_from_thigh_sensor_m: tuple[float, float, float] = number(
        (-0.03, 0.0, -0.20), (-0.6, 0.6), "Centre of the knee from a sensor on the thigh."
    )
    knee_from_thigh_sensor_sd_m: tuple[float, float, float] = number(
        (0.05, 0.06, 0.10), (0.001, 0.6), "Its standard uncertainty."
    )
    knee_from_shank_sensor_m: tuple[float, float, float] = number(
        (-0.03, 0.0, 0.20), (-0.6, 0.6), "Centre of the knee from a sensor on the shank."
    )
    knee_from_shank_sensor_sd_m: tuple[float, float, float] = number(
        (0.05, 0.06, 0.10), (0.001, 0.6), "Its standard uncertainty."
    )
    knee_velocity_sd_mps: float = number(
        0.10,
        (1e-3, 5.0),
        "How far shank and thigh disagree about the knee's mean velocity over a contact or half a "
        "swing: soft tissue moves the sensors on the bone.",
        f"0.03 to 0.2 m/s in {FUKUCHI}",
    )
    knee_within_sd_mps: float = number(
        0.3, (1e-3, 10.0), "How far they disagree about how it goes up and down within.", FUKUCHI
    )
    stride_mean_sd_mps: float = number(
        0.05,
        (1e-3, 5.0),
        "How far pelvis, trunk or a thigh without its shank travel otherwise than the feet in the "
        "mean over a stride.",
        TRIED,
    )
    within_stride_sd_mps: float = number(
        1.5, (0.01, 20.0), "How far their velocity goes up and down within a stride.", TRIED
    )
    longest_stride_s: float = number(
        1.6, (0.3, 5.0), "What takes longer is no stride, or one contact of it is missing.", MEMORY
    )
    most_misfit: float = number(
        2.5,
        (0.1, 100.0),
        "A thigh that disagrees with its shank about the knee by more, in the median over contacts "
        "and swings, is not on that leg, or loose.",
        f"0.1 to 1 in simulated sprints and {FUKUCHI}, 4 to 6 where thighs are exchanged",
        unit="standard deviations",
    )
    margin_share: float = number(
        0.1,
        (0.0, 0.45),
        "Part at both ends of contacts and swings that is left out: soft tissue shakes there.",
        TRIED,
    )


class MotionSettings(StageSettings):
    """What may be wrong with sensors and body, one standard deviation each."""

    basis = "mid-grade sensors (data sheets, from memory)"
    gyro_matrix_sd: float = number(
        0.007, (1e-6, 0.5), "Scale factor and misalignment of the gyroscope.", unit=""
    )
    g_sensitivity_sd_degps_per_g: float = number(
        0.03, (1e-6, 10.0), "Answer of the gyroscope to acceleration.", unit="deg/s per g"
    )
    accel_bias_sd_mps2: float = number(0.25, (1e-4, 20.0), "Bias of the accelerometer.")
    accel_scale_sd: float = number(
        0.007, (1e-6, 0.5), "Scale factor of the accelerometer.", unit=""
    )
    accel_usual_off: float = number(
        0.05,
        (0.0, 1.0),
        "An accelerometer that reads gravity wrong by a larger share is no usual one.",
        "twice what bias and scale factor make of it",
        unit="",
    )
    wander_sd_deg_per_sqrt_s: float = number(
        0.1,
        (0.0001, 20.0),
        "Random walk of orientation beyond the named terms.",
        unit="deg/sqrt(s)",
    )
    tilt_sd_deg: float = number(
        2.0,
        (0.01, 45.0),
        "Tilt of the orientation that quiet standing gave, before stances are looked at.",
        TRIED,
    )
    shank_heading_sd_deg: float = number(
        3.0,
        (0.01, 90.0),
        "Heading of a shank that is tied to a foot, against its swings.",
        TRIED,
    )
    rest_velocity_sd_mps: float = number(
        0.02, (1e-4, 5.0), "Sway of the sensor in quiet standing.", TRIED
    )
    rest_piece_s: float = number(
        0.5, (0.05, 10.0), "In rests velocity is taken to be nothing about so often.", TRIED
    )
    ball_velocity_sd_mps: float = number(
        0.08,
        (1e-3, 5.0),
        "Mean velocity of the ball of the foot over mid-stance.",
        f"RMS over both feet 0.02, 0.03 and 0.05 m/s at 2.5, 3.5 and 4.5 m/s, in one foot of ten "
        f"0.08 at the fastest: {FUKUCHI}",
    )
    ball_within_sd_mps: float = number(
        0.12,
        (1e-3, 5.0),
        "How far its velocity goes up and down within mid-stance, where it rolls and the shoe "
        "gives.",
        "RMS 0.04 to 0.10 m/s in the same feet",
    )
    ankle_velocity_sd_mps: float = number(
        0.12,
        (1e-3, 5.0),
        "How far shank and foot disagree about the ankle's velocity in stance, per stance.",
        TRIED,
    )
    shank_alone_velocity_sd_mps: float = number(
        0.3,
        (1e-3, 10.0),
        "Change of the ankle's mean velocity from stance to stance when there is no foot sensor.",
        TRIED,
    )
    shank_alone_common_sd_mps: float = number(
        0.8, (1e-3, 20.0), "What that velocity has alike in all stances.", TRIED
    )
    stride_velocity_sd_mps: float = number(
        0.05, (0.0, 10.0), "Unexplained change of velocity over a stride.", TRIED
    )
    belt_velocity_sd_mps: float = number(
        1.0,
        (0.0, 20.0),
        "The same on a treadmill, whose belt gains and loses speed under the foot.",
        TRIED,
    )
    usual_stride_s: float = number(
        0.5, (0.1, 3.0), "Time of a usual stride: over it unseen turns and changes add up.", TRIED
    )
    undersampling_share: float = number(
        0.2,
        (0.0, 10.0),
        "Error of velocity at an impact, as a share of the bend of the force from sample to sample "
        "times the sampling interval.",
        TRIED,
    )
    unseen_accel_sd_mps2: float = number(
        60.0, (0.0, 1000.0), "What a clipped or missing sample of the accelerometer hides.", MEMORY
    )
    missing_gyro_sd_radps: float = number(
        3.0,
        (0.0, 100.0),
        "What a missing sample of the gyroscope hides, and a clipped one where nothing tells more.",
        MEMORY,
    )
    heel_rise_toe_out_deg: float = number(
        -3.2,
        (-45.0, 45.0),
        "How far the heel-to-toe line points outward of the direction in which the foot turns "
        "while the heel rises.",
        f"mean of {FUKUCHI}, both feet",
    )
    heel_rise_toe_out_u_deg: float = number(
        4.1, (0.0, 45.0), "Its standard uncertainty for one foot.", f"{FUKUCHI}, both feet"
    )
    heel_rises_from: float = number(
        0.55, (0.0, 1.0), "Part of the contact from which on the heel rises.", TRIED, unit=""
    )
    no_axis_ratio: float = number(
        0.3,
        (0.0, 1.0),
        "Rate about the lesser axis over that about the main one, from which on there is no main "
        "axis of the heel's rise.",
        TRIED,
    )
    stance_from: float = number(
        0.35,
        (0.0, 1.0),
        "Part of the contact from which on the ball of the foot is at rest (0 touchdown, 1 "
        "toe-off).",
        TRIED,
        unit="",
    )
    stance_to: float = number(
        0.65, (0.0, 1.0), "Part of the contact until which it is.", TRIED, unit=""
    )
    huber: float = number(
        1.5,
        (0.5, 20.0),
        "Stances that fit worse than so many standard deviations count less (Huber 1964, Ann Math "
        "Stat 35:73).",
        "usual value of the method",
        unit="",
    )
    straight_deg: float = number(
        4.0,
        (0.0, 90.0),
        "A way that bends by less is taken for straight.",
        "feet set down some cm aside of each other turn single chords by about a degree; such a "
        "bend leaves angles as they are to within 0.25 %",
    )
    levers: LeverSettings = table(LeverSettings)
    body_line: BodyLineSettings = table(BodyLineSettings)
    slip: SlipSettings = table(SlipSettings)
    rate: RateSettings = table(RateSettings)

    ordered = (("stance_from", "stance_to"),)
