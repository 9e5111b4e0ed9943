"""A recorded trace in, what it shows of a rise out: the request checked and the answer put together.

Rules for this file: the reduced form that the readers hand over; bar, s, V, A. No CSV here: a reader on the server and one
on the phone reduce a file of any length to points, and may be asked to look closer at a part of it.
"""

from .problems import refuse

FORMAT = "railcase-trace/1"
FEWEST_POINTS, MOST_POINTS, MOST_TARGETS = 8, 40000, 10


def read_trace(request: dict) -> dict:
    """Return what a recorded trace shows of a rise (shape: "Trace result" of the case contract).

    Inputs, one key each:
      "t" [s] times of the points, not falling; all lists have its length; 8 to 40,000 points. Either every sample or
        buckets of neighbouring samples, wide where nothing happens: then t and the others are means of the bucket.
      "p" [bar], or "volts" [V] with "sensor" [[V, bar], [V, bar]], the linear transfer of the sensor.
      "p_low", "p_high" (buckets only; of volts where volts are given): the lowest and highest value of the bucket that two
        samples in a row reached, so that a single-sample spike is in neither; for a bucket of one sample its value. The
        mean of a bucket is taken of values clipped to these.
      "battery_v" [V] or "current_a" [A] of battery and starter, None where there is none; optional.
      "samples" rows read, "dropped" rows that could not be, "sample_interval_s" median step of the first 2,000 good rows.
      "targets" [bar] pressures to time to; "cylinders" (None: speed unknown); "start_s" correction by hand (optional).
    Returns: {"format", "samples", "dropped", "sample_interval_s", "start_s", "start_from" "battery_voltage" |
      "starter_current" | "pressure" | "hand", "start_standard_uncertainty", "rest_bar", "steady_bar", "peak_bar", "time_to"
      [{"target_bar", "seconds", "standard_uncertainty"}] (seconds None: not reached or not to be told, a warning says which),
      "rise_10_90_s", "slope_max_bar_per_s", "ripple_bar" (half of crest to trough), "ripple_hz", each None where it cannot
      be told; "crank_pressure" {"value", "standard_uncertainty"} or None; "cranking" {"speed_rpm", "standard_uncertainty",
      "compressions", "relative" [share of the mean, in firing order from an unknown first]} or None;
      "look_closer" [from_s, to_s] or None: where the points lie too far apart, reduce that part of the file anew, join it
      with the points outside, ask again (at most twice); "chart" {"onset_s", "t10_s", "t90_s", "low_bar", "high_bar",
      "from_s", "to_s"}; "warnings" [text]}.
    Refuses: missing, too_few, too_many, not_a_number, impossible_value, not_rising, wrong_length.
    """
    raise refuse("not_ready", "trace", "is not ready yet")
