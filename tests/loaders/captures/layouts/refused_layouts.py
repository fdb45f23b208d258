"""Files whose volts or times could only be guessed: refused, with the reason."""

from __future__ import annotations

import numpy as np

from .record import ONE_V, TIME_S, TWO_V, refusal, rows

US = 1e-6
ONE_COUNTS = np.round(ONE_V / 0.008).astype(int)


@refusal("count")
def counts_with_a_scale_but_no_counts_of_a_division() -> str:
    return (
        "Source,CH1\nVertical Units,V\nVertical Scale,0.2\nVertical Offset,0\n"
        "Horizontal Units,s\nSample Interval,4e-08\nRecord Length,400\nData format,counts\n"
        "Waveform data\n"
    ) + rows("{a},", ONE_COUNTS)


@refusal("interval")
def counted_samples_without_an_interval() -> str:
    return "Sample,CH1 (V)\n" + rows("{n},{a:.4f}")


@refusal("dBm")
def a_spectrum() -> str:
    return "Frequency (Hz),CH1 (dBm)\n" + rows("{t:.0f},{a:.2f}", times=np.arange(400) * 1e4)


@refusal("A")
def a_current_alone() -> str:
    return "Time (s),CH1 (A)\n" + rows("{t:.9f},{a:.4f}")


@refusal("range")
def samples_out_of_range() -> str:
    text = rows("{t:.9f},{a:.4f}").splitlines()
    text[200] = text[200].split(",")[0] + ",∞"
    return "Time (s),CH1 (V)\n" + "\n".join(text) + "\n"


@refusal("interval")
def an_interval_that_contradicts_the_time_column() -> str:
    return "Sample interval: 10 ns\nTime (ns),CH1 (V)\n" + rows(
        "{t:.0f},{a:.4f}", times=TIME_S * 1e9
    )


@refusal("step")
def a_gap_in_the_times() -> str:
    times = np.where(np.arange(400) < 200, TIME_S, TIME_S + 3e-6)
    return "Time (s),CH1 (V)\n" + rows("{t:.9f},{a:.4f}", times=times)


@refusal("expected")
def two_records_one_after_the_other() -> str:
    one = "Time (s),CH1 (V)\n" + rows("{t:.9f},{a:.4f}")
    return one + "\n" + one


@refusal("after")
def the_lowest_and_the_highest_at_each_time() -> str:
    return "Time (s),CH1 (V)\n" + "".join(
        f"{t:.9f},{a - 0.05:.4f}\n{t:.9f},{a + 0.05:.4f}\n"
        for t, a in zip(TIME_S, ONE_V, strict=True)
    )


@refusal("one number or two")
def commas_between_and_within_numbers() -> str:
    return "Time (us),CH1 (V)\n" + rows("{t:.2f}|{a:.4f}", times=TIME_S / US).replace(
        ".", ","
    ).replace("|", ",")


@refusal("volts")
def divisions_without_volts_a_division() -> str:
    return "Time (s),CH1 (div)\n" + rows("{t:.9f},{a:.4f}")


@refusal("time")
def times_of_day() -> str:
    return "Time,CH1 (V)\n" + rows("10:15:{n:02d},{a:.4f}")


@refusal("CH7")
def a_unit_of_the_square_of_volts_alone() -> str:
    return "Time (s),CH7 (VV)\n" + rows("{t:.9f},{a:.4f}")


@refusal("interval")
def two_intervals_that_differ() -> str:
    return "Sample interval: 40 ns\nSample rate: 10 MSa/s\nCH1 (V)\n" + rows("{a:.4f}")


@refusal("time")
def two_time_columns_that_differ() -> str:
    lines = [
        f"{t:.9f},{a:.4f},{t + 1e-6:.9f},{b:.4f}"
        for t, a, b in zip(TIME_S, ONE_V, TWO_V, strict=True)
    ]
    return "Time1 (s),CH1 (V),Time2 (s),CH2 (V)\n" + "\n".join(lines) + "\n"
