"""Every quality flag in words: what it means, what to do about it, and how what was found is told.

What a flag withholds, and who is told of it, is in ``flag_policy``.
"""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Flag:
    """One kind of trouble.

    Parameters
    ----------
    name : str
        Short name that stands in the ``flags`` column.
    sentence : str
        What it means, for people.
    advice : str
        What to do about it.
    details : tuple of str
        Templates of what was found, as :func:`imuproc.core.flag_words.describe_flag` fills them
        with the values of a flag that was raised: the first that needs no other values than those
        there.
    """

    name: str
    sentence: str
    advice: str
    details: tuple[str, ...] = ()


_ANOTHER_POSTURE: Final = "still from {from_s:.1f} to {to_s:.1f} s, but in another posture"

_ALL: Final[tuple[Flag, ...]] = (
    Flag(
        "no_standing",
        "There is no quiet standing before or after the run, so the segment axes are unknown.",
        "Have the athlete stand still and upright for 3 s before the start. Times are still given; "
        "angles, lengths and speed are not given.",
        details=(_ANOTHER_POSTURE,),
    ),
    Flag(
        "no_standing_before",
        "There is no quiet standing before the run; the standing after it was used.",
        "Have the athlete stand still and upright for 3 s before the start.",
        details=(_ANOTHER_POSTURE,),
    ),
    Flag(
        "no_standing_after",
        "There is no quiet standing after the run, so drift could not be checked against it.",
        "Have the athlete stand still and upright for 2 s after the run.",
        details=(_ANOTHER_POSTURE,),
    ),
    Flag(
        "standing_differs",
        "Gravity in the sensor is not the same in standing before and after the run.",
        "Check that the sensor did not slip on the limb and that the athlete stood alike. Unless "
        "the detail says that nothing changed in the run, its angles are less certain by so much, "
        "or missing.",
        details=(
            "by {by_deg:.1f} deg{kept_in_run:, but nothing changed from the first contact to the "
            "last}",
            "by {by_deg:.1f} deg",
        ),
    ),
    Flag(
        "sensor_slipped",
        "A sensor turned on its limb during the run.",
        "Its signals were turned back from then on; figures of the stride in which it turned are "
        "missing or less certain. Fasten it better.",
        details=("by {by_deg:.1f} deg between {from_s:.2f} and {to_s:.2f} s",),
    ),
    Flag(
        "mounting_sign_unsure",
        "The forward direction of a sensor could not be told with confidence.",
        "Check that the site names match the sensors; compare with another run of the same day.",
        details=(
            "{left_out:not used: without quiet standing, and without a shank sensor on the same "
            "leg, nothing tells which way a foot sensor faces}",
        ),
    ),
    Flag(
        "gap",
        "Samples are missing.",
        "Figures that need them have a larger uncertainty or are not given.",
        details=(
            "{lost_s:.2f} s are missing in fast motion, so its orientation is lost: used from "
            "{used_from_s:.10g} to {used_to_s:.10g} s",
            "{left_out:not used: }{lost_s:.2f} s are missing in fast motion, so its orientation "
            "is lost",
            "{left_out:not used: }{missing_s:.2f} s are missing from {from_s:.10g} s on",
            "{stretches:gap}, {samples:sample}; the longest {longest_s:.3g} s from "
            "{longest_at_s:.10g} s on",
        ),
    ),
    Flag(
        "low_rate",
        "The sampling rate is below 200 Hz, so event times are less certain.",
        "Log at 200 Hz or more; 500 Hz is good.",
        details=(
            "{sensor}: a new sample in one of {rows:g} rows only",
            "{rate_hz:.4g} Hz",
        ),
    ),
    Flag(
        "rate_differs",
        "Time does not run as the logs say, or all gyroscopes have the same wrong scale.",
        "All figures but the events, as the logs count them, are not given. Correct the sampling "
        "rate, the unit of the time column or the scale of gyro in the layout, and process again.",
        details=(
            "all rotation is {off_pct:.1f} % (u {off_u_pct:.1f} %) {rotation} for the time that "
            "the stamps tell: {fitting_hz:.4g} in place of {rate_hz:.4g} samples per second would "
            "fit",
        ),
    ),
    Flag(
        "irregular_stamps",
        "Time stamps are uneven.",
        "Signals were put on a regular clock; check the logger's settings.",
        details=(
            "steps vary by {spread_pct:.0f} % of the sampling period (SD){evened:; samples were "
            "taken evenly, so the stamps were evened}",
        ),
    ),
    Flag(
        "samples_dropped",
        "Single samples are missing here and there; they were bridged.",
        "Nothing for a few; if there are many, check the logger's storage or radio link.",
        details=("{samples:sample} missing in {stretches:place}, bridged",),
    ),
    Flag(
        "duplicate_stamps",
        "Several samples carry the same time stamp.",
        "They were spread evenly up to the next stamp; let the logger write finer stamps.",
        details=("{samples:sample} with the stamp of the one before",),
    ),
    Flag(
        "bad_stamps",
        "Some time stamps were no numbers, ran backwards or lay far from all others.",
        "Their samples were dropped; check the logger or how the file was made.",
        details=("{samples:sample} dropped, {why}",),
    ),
    Flag(
        "partly_covered",
        "A sensor was not running for the whole recording.",
        "Figures outside its time are missing; start all sensors before the athlete stands still.",
        details=(
            "from {covered_from_s:.10g} to {covered_to_s:.10g} s only",
            "not {span}",
        ),
    ),
    Flag(
        "log_cut_short",
        "A log breaks off, as when power is lost, the card is pulled or a copy is not finished.",
        "What came before was used and is right, what came after is missing. Copy the log again; "
        "if it is as short on the logger, stop the recording before power or card are taken.",
        details=(
            "{source}: {reason}",
            "{reason}",
        ),
    ),
    Flag(
        "stuck_channel",
        "One axis of a sensor stood still while its other axes moved, or all of its accelerometer "
        "or gyroscope while the other one moved.",
        "Its samples were left out, and figures that need them are not given; have the sensor "
        "checked.",
        details=(
            "{sensor} axis {axis} {span}",
            "{sensor}, all axes, {span}",
        ),
    ),
    Flag(
        "samples_held",
        "A sensor repeated one sample on all axes where others should have been.",
        "The repeats count as missing: short ones were bridged, figures that need longer ones are "
        "less certain or missing. Check the radio link, and what the logger writes for samples "
        "that are lost.",
        details=(
            "{samples:sample} in {stretches:place}; the longest {longest_s:.3g} s from "
            "{longest_at_s:.10g} s on",
        ),
    ),
    Flag(
        "spikes",
        "Single samples are far off their neighbours.",
        "They were left out and bridged; if there are many, check the sensor and its wiring.",
        details=("{samples:sample} left out, the first at {first_s:.10g} s",),
    ),
    Flag(
        "axes_disagree",
        "Accelerometer and gyroscope of a sensor do not turn together.",
        "The sensor was left out. Columns are exchanged or have the wrong sign: correct the layout "
        "and process again.",
        details=(
            "{left_out:not used: }turned as the gyroscope says, gravity and the acceleration of "
            "the run are off by {off_mps2:.1f} m/s^2; with {columns} of the gyroscope for its x, "
            "y, z they are off by {then_off_mps2:.1f} m/s^2",
        ),
    ),
    Flag(
        "gravity_off",
        "At rest the accelerometer does not read 1 g within 5 %.",
        "Calibrate the accelerometer, or check its range setting.",
        details=("{found_mps2:.4g} m/s^2 in place of {expected_mps2:.4g}",),
    ),
    Flag(
        "accel_clipped",
        "The accelerometer was at the end of its range.",
        "Use a larger range (32 g or more on feet). Lengths and speed may be missing.",
        details=("{samples:sample} in {stretches:stretch}, first at {first_s:.10g} s",),
    ),
    Flag(
        "gyro_clipped",
        "The gyroscope was at the end of its range.",
        "Use a larger range (2000 deg/s or more). Clipped peaks were rounded off; figures of the "
        "steps concerned are less certain or missing.",
        details=("{samples:sample} in {stretches:stretch}, first at {first_s:.10g} s",),
    ),
    Flag(
        "gyro_zero_moved",
        "At rest the gyroscope reads another rate after the run than before it.",
        "Angles of this sensor are less certain or missing; let sensors warm up, and have this "
        "one checked.",
        details=("by {by_degps:.1f} deg/s{left_out:: not used}",),
    ),
    Flag(
        "missing_foot",
        "There is no usable foot sensor on this side.",
        "Foot pitch, dorsiflexion and step length are missing; events come from the shank alone.",
    ),
    Flag(
        "missing_shank",
        "There is no usable shank sensor on this side.",
        "Shin angle and dorsiflexion are missing; events come from the foot alone.",
    ),
    Flag(
        "missing_leg",
        "There is no usable sensor on one of the legs, so its steps are missing.",
        "Flight time, step time and frequency, step length and speed need both legs.",
        details=("{side}",),
    ),
    Flag(
        "sides_swapped",
        "The left and right logs look swapped.",
        "Check which sensor was on which leg, correct the session file and process again.",
        details=(
            "after touchdown the left foot rolls inward by {left_deg:.0f} deg and the right one "
            "by {right_deg:.0f} deg; feet in their place roll inward",
            "left shank swings with right foot (correlation {crossed:.2f}, with left foot "
            "{own:.2f}), and right shank with left foot",
        ),
    ),
    Flag(
        "thigh_apart",
        "A thigh sensor does not move with the shank of its leg, so its figures are not given.",
        "Left and right thigh may be exchanged: check which sensor was where and its fastening, "
        "correct the session file and process again.",
        details=("{misfit:.1f} times as far apart at the knee as usual",),
    ),
    Flag(
        "segments_swapped",
        "The shank and foot logs of one leg look swapped.",
        "Figures of this leg, step lengths and speed are not given. Check which sensor "
        "was on shank "
        "and foot, correct the session file and process again.",
        details=(
            "{side} leg: the log named foot moves as a shank does; it turns toe down {faster:.2f} "
            "times as fast as the one named shank turns forward, and over the run {more:.2f} "
            "times as much",
        ),
    ),
    Flag(
        "clock_unsure",
        "The clocks of the two legs are not well known against each other.",
        "Flight and step times and step lengths are less certain, see their uncertainty; have the "
        "athlete jump on both feet twice before the run and twice after it, with standing around "
        "each jump.",
        details=("left and right leg are known against each other to {apart_u_s:.0fms} only",),
    ),
    Flag(
        "clock_separate",
        "Not all sensors' clocks could be tied together, so those that could were worked on by "
        "themselves.",
        "Figures that need both legs are missing. Let all loggers share one clock, or have the "
        'athlete jump on both feet before and after the run and state clock = "jump".',
        details=(
            "{no_jump:no jump or tap was found that all sensors saw; }this part holds "
            "{sites:list}; times count as {clock_of:plain} counts them",
        ),
    ),
    Flag(
        "clock_differs",
        "The logs do not share one clock although the session file says so.",
        "Figures that need it are missing or come from clocks tied by the running itself. Check "
        'how the loggers are synchronised, or state clock = "jump" or "separate".',
        details=(
            "{foot:plain} is {off_s:+.0fms} off {shank:plain} from {from_s:.0f} to {to_s:.0f} s",
            "the right leg runs {strides:.1f} strides apart from the left one from {from_s:.0f} to "
            "{to_s:.0f} s",
            "right contacts lie {off_pct:.0f} % of a stride off the middle between left ones, as "
            "if {late_s:+.0fms} late, from {from_s:.0f} to {to_s:.0f} s",
        ),
    ),
    Flag(
        "outside_evidence",
        "Some steps are faster, change speed more, or land in another way than any that the method "
        "was checked on with force plates.",
        "Nothing to do: contact times and what follows from them carry a larger uncertainty. "
        "Steps, sides and runs compare as well as ever.",
        details=("{outside} of {steps:step}",),
    ),
    Flag(
        "run_refused",
        "One of the runs in the log could not be processed and is missing.",
        "See the reason; the other runs of the log are not concerned.",
        details=("{reason}",),
    ),
    Flag(
        "step_missed",
        "Two contacts of the same foot follow each other: a step between them was not found.",
        "Treat this step's flight and step time with care; they are not given.",
    ),
    Flag(
        "event_unsure",
        "Touchdown or toe-off of this step is less certain than usual.",
        "See the uncertainty; check against video if the step matters.",
        details=("{figure:figure}",),
    ),
    Flag(
        "implausible",
        "A figure was outside the plausible range and is not given.",
        "Check sensor mounting, site names and ranges.",
        details=("{figure:figure}",),
    ),
    Flag(
        "drift_large",
        "Drift is too large: the angle is not given.",
        "Stand still before and after the run; check sensor ranges and fastening.",
        details=("{figure:figure}",),
    ),
    Flag(
        "velocity_unsure",
        "Velocity could not be trusted, so lengths and speed are not given.",
        "Use a larger accelerometer range on the feet; calibrate an accelerometer that does not "
        "read 1 g at rest.",
        details=(
            "{figure:figure}",
            "{found_mps2:.4g} m/s^2 in place of {expected_mps2:.4g}",
        ),
    ),
    Flag(
        "distance_differs",
        "The distance covered cannot be the one that the session file states.",
        "Check the stated distance, and whether the athlete ran it to the end; if both are right, "
        "do not trust lengths and speed.",
        details=(
            "{covered_m:.1f} m covered from step 1 to the end of the effort (standard uncertainty "
            "{covered_u_m:.1f} m), {stated_m:g} m stated",
        ),
    ),
    Flag(
        "belt_speed_differs",
        "The mean speed over the belt is not the belt speed that the session file states.",
        "Check the stated belt speed; if it is right, do not trust lengths and speed.",
        details=(
            "{found_mps:.2f} m/s measured (standard uncertainty {found_u_mps:.2f} m/s), "
            "{stated_mps:g} m/s stated",
        ),
    ),
)

FLAGS: Final[dict[str, Flag]] = {flag.name: flag for flag in _ALL}
