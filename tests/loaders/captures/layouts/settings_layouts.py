"""Settings above, beside or between the samples: start, increment, scale, offset, counts."""

from __future__ import annotations

import numpy as np

from .record import FOUR_V, ONE_V, THREE_V, TIME_S, TWO_V, beside, layout, rows

US = 1e-6
PER_COUNT_V = 0.008
ONE_COUNTS = np.round(ONE_V / PER_COUNT_V).astype(int)
SIGNED_COUNTS = np.round(THREE_V / PER_COUNT_V).astype(int)


@layout()
def settings_in_three_columns_left_of_time_and_volts() -> str:
    settings = """
Record length,400,points
Sample interval,4e-08,s
Trigger point,50,samples
Source,CH1,
Vertical units,V,
Vertical scale,0.2,
Vertical offset,0.1,
Horizontal units,s,
Horizontal scale,2e-06,
Probe factor,10,
Instrument,Quellwald QW-120,
"""
    return beside(settings, "{t:.9f},{a:.4f},", ",,")


@layout(channels={"CH1": ONE_V, "CH2": TWO_V})
def settings_in_two_groups_each_beside_its_channel() -> str:
    left = ["Record length,400", "Source,CH1", "Vertical units,V", "Horizontal units,s"]
    right = ["Record length,400", "Source,CH2", "Vertical units,V", "Horizontal units,s"]
    lines = []
    for n, (t, a, b) in enumerate(zip(TIME_S, ONE_V, TWO_V, strict=True)):
        first, second = (left[n], right[n]) if n < len(left) else (",", ",")
        lines.append(f"{first},{t:.9f},{a:.4f},{second},{t:.9f},{b:.4f}")
    return "\n".join(lines) + "\n"


@layout(channels={"CH1": ONE_V, "CH2": TWO_V})
def start_and_increment_right_of_the_names() -> str:
    return ("X,CH1,CH2,Start,Increment\nSequence,Volt,Volt,-2.000000e-06,4.000000e-08\n") + rows(
        "{n},{a:.4f},{b:.4f},,", ONE_V, TWO_V
    )


@layout()
def start_and_increment_over_short_rows() -> str:
    return "X,CH1,Start,Increment,\nSequence,V,-2.0e-06,4.0e-08,\n" + rows("{n},{a:.4f},")


@layout()
def start_and_increment_lines_above_volts() -> str:
    return "Mirandel 20 export\nStart,-2.0e-06\nIncrement,4.0e-08\nPoints,400\nCH1 (V)\n" + rows(
        "{a:.4f}"
    )


@layout()
def preamble_words_above_counts() -> str:
    return (
        "XINCR;4.0E-8\nXZERO;-2.0E-6\nXUNIT;s\nYMULT;1.0E-4\nYOFF;-1200\nYZERO;0.25\nYUNIT;V\n"
        "NR_PT;400\nWFID;CH1\nCURVE\n"
    ) + rows("{a}", np.round((ONE_V - 0.25) / 1e-4).astype(int) - 1200)


@layout(channels={"CH1": ONE_COUNTS * PER_COUNT_V}, volts=1e-9)
def volts_per_count_and_zero_count() -> str:
    return (
        "Source: CH1\nSample interval: 40 ns\nVolts per count: 0.008\nZero count: 128\n"
        "Start time: -2 us\n\nIndex,Counts\n"
    ) + rows("{n},{a}", ONE_COUNTS + 128)


@layout(channels={"CH1": SIGNED_COUNTS * PER_COUNT_V})
def vertical_scale_offset_and_counts_of_a_division() -> str:
    """25 counts a division of 0.2 V, with a sign: count 0 is 0 V."""
    return (
        "Source,CH1\nVertical Units,V\nVertical Scale,0.2\nVertical Offset,0\n"
        "Counts per division,25\nHorizontal Units,s\nSample Interval,4e-08\n"
        "Start Time,-2e-06\nRecord Length,400\nData format,counts\nWaveform data\n"
    ) + rows("{a},", SIGNED_COUNTS)


@layout()
def volts_with_a_vertical_scale_that_is_not_applied() -> str:
    return (
        "Source,CH1\nVertical Units,V\nVertical Scale,0.2\nVertical Offset,0.35\nProbe,10X\n"
        "Horizontal Scale,2e-06\nSample Interval,4e-08\nFirst Point,-2e-06\nTime,CH1\n"
    ) + rows("{t:.9f},{a:.4f}")


@layout()
def sample_period_with_a_time_column_of_three_figures() -> str:
    text = "Sampling Period,4.00E-08\nSource,CH1\nTime(s),CH1(V)\n"
    return text + rows("{t:.2E},{a:.4f}")


@layout()
def sample_interval_over_times_that_round_to_the_same() -> str:
    return "Sample Interval: 40 ns\nRecord: 400 points\nTime (ms),CH1 (V)\n" + rows(
        "{t:.3f},{a:.4f}", times=TIME_S * 1e3
    )


@layout(start_s=None)
def sample_interval_over_times_that_are_all_zero() -> str:
    return "Sample Interval: 40 ns\nTime (s),CH1 (V)\n" + rows("{t:.4f},{a:.4f}")


@layout()
def index_time_and_volts_under_a_record_length() -> str:
    return "Record Length,400\nIndex,Time(s),CH1(V)\n" + rows("{n},{t:.9f},{a:.4f}")


@layout(start_s=None)
def numbered_samples_with_a_rate() -> str:
    return "Sample rate: 25 MSa/s\nNo.,CH1 (mV)\n" + rows("{n},{a:.1f}", ONE_V * 1e3)


@layout(start_s=None, channels={"CH1": ONE_V, "CH2": TWO_V, "CH3": THREE_V, "CH4": FOUR_V})
def four_channels_with_a_rate_in_samples_a_second() -> str:
    return "Rate,2.5E+07,Sa/s\nPoints,400\nCH1,CH2,CH3,CH4\nV,V,V,V\n" + rows(
        "{a:.4f},{b:.4f},{c:.4f},{d:.4f}", ONE_V, TWO_V, THREE_V, FOUR_V
    )


@layout()
def time_unit_and_volt_unit_in_settings() -> str:
    text = "Horizontal Units,us\nVertical Units,mV\nPoints,400\nX,CH1\n"
    return text + rows("{t:.3f},{a:.1f}", ONE_V * 1e3, times=TIME_S / US)


@layout()
def measurements_and_time_base_above_that_are_no_interval() -> str:
    return (
        "Timebase,2us/div\nTrigger delay,500ns\nFrequency(CH1),15.62kHz\nPeriod(CH1),64us\n"
        "Vpp(CH1),800mV\nSweep time,20 us\nTime(us),CH1(V)\n"
    ) + rows("{t:.2f},{a:.4f}", times=TIME_S / US)


@layout()
def acquisition_rate_above_a_decimated_time_column() -> str:
    """1 GS/s was acquired; every 40th sample was written, as the time column says."""
    return "Acquisition rate: 1 GSa/s\nTime (ns),CH1 (V)\n" + rows(
        "{t:.0f},{a:.4f}", times=TIME_S * 1e9
    )


@layout(channels={"CH1": ONE_V})
def divisions_with_volts_a_division() -> str:
    return "Volts/div,0.2 V\nSample interval,40 ns\nStart,-2 us\nTime (us),CH1 (div)\n" + rows(
        "{t:.2f},{a:.4f}", ONE_V / 0.2, times=TIME_S / US
    )


@layout(channels={"Voltage": ONE_V})
def settings_after_the_samples() -> str:
    return "Time (s),Voltage (V)\n" + rows("{t:.9f},{a:.4f}") + "\nRecord Length,400\nProbe,10\n"


@layout(channels={"CH1": ONE_V})
def a_unit_for_each_channel_in_the_settings() -> str:
    """The second channel is a current probe's."""
    text = "Vertical Units,V,A\nSource,CH1,CH2\nPoints,400\nTIME,CH1,CH2\n"
    return text + rows("{t:.9e},{a:.4f},{b:.4f}", ONE_V, TWO_V)


@layout()
def settings_whose_names_begin_alike() -> str:
    text = "Memory Length,400,\nSource,CH1,\nVertical Units,V,\nVertical Units Div,0,\nLabel,X,\n"
    text += "Vertical Scale,0.2,\nVertical Position,-1.72,\nHorizontal Old Scale,2e-06,\n"
    text += "Sampling Period,4.000E-08,\nTime,28-Apr-26 03:04:26,\nMode,Detail,\nWaveform Data,\n"
    return text + rows("{t:.6e},{a:.4f},")


@layout(channels={"CH1": ONE_V, "CH2": TWO_V})
def start_and_increment_without_a_column_of_numbers() -> str:
    text = "CH1,CH2,Start,Increment,\nVolt,Volt,-2.00000e-06,4.00000e-08\n"
    return text + rows("{a:.5e},{b:.5e},", ONE_V, TWO_V)
