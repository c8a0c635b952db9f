"""Every quality flag: name, sentence for people, what to do about it.

``serious`` flags mean that figures of the run or step may be wrong or are withheld.
"""

from dataclasses import dataclass, field, replace
from typing import Final

from imuproc.core.marks import Marks


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
    serious : bool
        Whether figures may be wrong or are withheld.
    information : bool
        Whether it tells only how much is known of such runs: nothing is wrong, nothing to do.
    """

    name: str
    sentence: str
    advice: str
    serious: bool = False
    information: bool = False


@dataclass(frozen=True)
class RaisedFlag:
    """A flag raised on a run (``step`` None) or on one step, with its details.

    Parameters
    ----------
    name : str
        Name of a flag in ``FLAGS``.
    detail : str
        What, where and how much.
    site : str
        Sensor concerned; empty when it is the whole run.
    step : int or None
        Step number concerned.
    run : str
        Id of the run concerned where a log held several; empty otherwise.
    marks : Marks or None
        Samples that it is about, while it is not settled which runs they concern.
    """

    name: str
    detail: str = ""
    site: str = ""
    step: int | None = None
    run: str = ""
    marks: Marks | None = field(default=None, compare=False, repr=False)

    def within(self, from_s: float, to_s: float) -> "RaisedFlag | None":
        """The flag of a part of the log, which ends at given times in s; None where it has none.

        One that is about no samples in particular is one of every part.
        """
        if self.marks is None:
            return self
        own = self.marks.within(from_s, to_s)
        return replace(self, detail=own.detail(), marks=None) if len(own.samples) else None


_ALL: Final[tuple[Flag, ...]] = (
    Flag(
        "no_standing",
        "There is no quiet standing before or after the run, so the segment axes are unknown.",
        "Have the athlete stand still and upright for 3 s before the start. Times are still given, "
        "angles are withheld.",
        serious=True,
    ),
    Flag(
        "no_standing_before",
        "There is no quiet standing before the run; the standing after it was used.",
        "Have the athlete stand still and upright for 3 s before the start.",
    ),
    Flag(
        "no_standing_after",
        "There is no quiet standing after the run, so drift could not be checked against it.",
        "Have the athlete stand still and upright for 2 s after the run.",
    ),
    Flag(
        "standing_differs",
        "Gravity in the sensor is not the same in standing before and after the run.",
        "Check that the sensor did not slip on the limb and that the athlete stood alike. Unless "
        "the detail says that nothing changed in the run, its angles are less certain by so much, "
        "or withheld.",
    ),
    Flag(
        "sensor_slipped",
        "A sensor turned on its limb during the run.",
        "Its signals were turned back from then on; figures of the stride in which it turned are "
        "withheld or less certain. Fasten it better.",
    ),
    Flag(
        "mounting_sign_unsure",
        "The forward direction of a sensor could not be told with confidence.",
        "Check that the site names match the sensors; compare with another run of the same day.",
        serious=True,
    ),
    Flag(
        "gap",
        "Samples are missing.",
        "Figures that need them have a larger uncertainty or are withheld.",
    ),
    Flag(
        "low_rate",
        "The sampling rate is below 200 Hz, so event times are less certain.",
        "Log at 200 Hz or more; 500 Hz is good.",
    ),
    Flag(
        "rate_differs",
        "Time does not run as the logs say, or all gyroscopes have the same wrong scale.",
        "All figures but the events, as the logs count them, are withheld. Correct the sampling "
        "rate, the unit of the time column or the scale of gyro in the layout, and process again.",
        serious=True,
    ),
    Flag(
        "irregular_stamps",
        "Time stamps are uneven.",
        "Signals were put on a regular clock; check the logger's settings.",
    ),
    Flag(
        "samples_dropped",
        "Single samples are missing here and there; they were bridged.",
        "Nothing for a few; if there are many, check the logger's storage or radio link.",
    ),
    Flag(
        "duplicate_stamps",
        "Several samples carry the same time stamp.",
        "They were spread evenly up to the next stamp; let the logger write finer stamps.",
    ),
    Flag(
        "bad_stamps",
        "Some time stamps were no numbers, ran backwards or lay far from all others.",
        "Their samples were dropped; check the logger or how the file was made.",
    ),
    Flag(
        "partly_covered",
        "A sensor was not running for the whole recording.",
        "Figures outside its time are missing; start all sensors before the athlete stands still.",
    ),
    Flag(
        "log_cut_short",
        "A log breaks off, as when power is lost, the card is pulled or a copy is not finished.",
        "What came before was used and is right, what came after is missing. Copy the log again; "
        "if it is as short on the logger, stop the recording before power or card are taken.",
    ),
    Flag(
        "stuck_channel",
        "One axis of a sensor stood still while its other axes moved, or all of its accelerometer "
        "or gyroscope while the other one moved.",
        "Its samples were left out, and figures that need them are withheld; have the sensor "
        "checked.",
        serious=True,
    ),
    Flag(
        "samples_held",
        "A sensor repeated one sample on all axes where others should have been.",
        "The repeats count as missing: short ones were bridged, figures that need longer ones are "
        "less certain or withheld. Check the radio link, and what the logger writes for samples "
        "that are lost.",
    ),
    Flag(
        "spikes",
        "Single samples are far off their neighbours.",
        "They were left out and bridged; if there are many, check the sensor and its wiring.",
    ),
    Flag(
        "axes_disagree",
        "Accelerometer and gyroscope of a sensor do not turn together.",
        "The sensor was left out. Columns are exchanged or have the wrong sign: correct the layout "
        "and process again.",
        serious=True,
    ),
    Flag(
        "gravity_off",
        "At rest the accelerometer does not read 1 g within 5 %.",
        "Calibrate the accelerometer, or check its range setting.",
    ),
    Flag(
        "accel_clipped",
        "The accelerometer was at the end of its range.",
        "Use a larger range (32 g or more on feet). Lengths and speed may be withheld.",
    ),
    Flag(
        "gyro_clipped",
        "The gyroscope was at the end of its range.",
        "Use a larger range (2000 deg/s or more). Clipped peaks were rounded off; figures of the "
        "steps concerned are less certain or withheld.",
        serious=True,
    ),
    Flag(
        "gyro_zero_moved",
        "At rest the gyroscope reads another rate after the run than before it.",
        "Angles of this sensor are less certain or withheld; let sensors warm up, and have this "
        "one checked.",
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
    ),
    Flag(
        "sides_swapped",
        "The left and right logs look swapped.",
        "Check which sensor was on which leg, correct the session file and process again.",
        serious=True,
    ),
    Flag(
        "segments_swapped",
        "The shank and foot logs of one leg look swapped.",
        "Figures of this leg, step lengths and speed are withheld. Check which sensor was on shank "
        "and foot, correct the session file and process again.",
        serious=True,
    ),
    Flag(
        "clock_unsure",
        "The clocks of the two legs are not well known against each other.",
        "Flight and step times and step lengths are less certain, see their uncertainty; have the "
        "athlete jump on both feet twice before the run and twice after it, with standing around "
        "each jump.",
    ),
    Flag(
        "clock_separate",
        "Not all sensors' clocks could be tied together, so those that could were worked on by "
        "themselves.",
        "Figures that need both legs are missing. Let all loggers share one clock, or have the "
        'athlete jump on both feet before and after the run and state clock = "jump".',
        serious=True,
    ),
    Flag(
        "clock_differs",
        "The logs do not share one clock although the session file says so.",
        "Figures that need it are withheld or come from clocks tied by the running itself. Check "
        'how the loggers are synchronised, or state clock = "jump" or "separate".',
        serious=True,
    ),
    Flag(
        "outside_evidence",
        "Some steps are faster, change speed more, or land in another way than any that the method "
        "was checked on with force plates.",
        "Nothing to do: contact times and what follows from them carry a larger uncertainty. "
        "Steps, sides and runs compare as well as ever.",
        information=True,
    ),
    Flag(
        "run_refused",
        "One of the runs in the log could not be processed and is missing.",
        "See the reason; the other runs of the log are not concerned.",
        serious=True,
    ),
    Flag(
        "step_missed",
        "Two contacts of the same foot follow each other: a step between them was not found.",
        "Treat this step's flight and step time with care; they are withheld.",
    ),
    Flag(
        "event_unsure",
        "Touchdown or toe-off of this step is less certain than usual.",
        "See the uncertainty; check against video if the step matters.",
    ),
    Flag(
        "implausible",
        "A figure was outside the plausible range and was withheld.",
        "Check sensor mounting, site names and ranges.",
        serious=True,
    ),
    Flag(
        "drift_large",
        "The angle could not be held free of drift, so it is withheld.",
        "Stand still before and after the run; check sensor ranges and fastening.",
        serious=True,
    ),
    Flag(
        "velocity_unsure",
        "Velocity could not be trusted, so lengths and speed are withheld.",
        "Use a larger accelerometer range on the feet; calibrate an accelerometer that does not "
        "read 1 g at rest.",
    ),
    Flag(
        "distance_differs",
        "The distance covered cannot be the one that the session file states.",
        "Check the stated distance, and whether the athlete ran it to the end; if both are right, "
        "do not trust lengths and speed.",
    ),
    Flag(
        "belt_speed_differs",
        "The mean speed over the belt is not the belt speed that the session file states.",
        "Check the stated belt speed; if it is right, do not trust lengths and speed.",
    ),
)

FLAGS: Final[dict[str, Flag]] = {flag.name: flag for flag in _ALL}

INFORMATION: Final = frozenset(flag.name for flag in _ALL if flag.information)
"""Flags that tell only how much is known of a run."""
