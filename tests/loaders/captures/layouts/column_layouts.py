"""Headings, units, indices and separators of the columns."""

from __future__ import annotations

from .record import FOUR_V, ONE_V, THREE_V, TIME_S, TWO_V, layout, rows

US = 1e-6
TWO = {"CH1": ONE_V, "CH2": TWO_V}
ALL = {"CH1": ONE_V, "CH2": TWO_V, "CH3": THREE_V, "CH4": FOUR_V}


@layout(channels={"1": ONE_V})
def axis_word_and_a_channel_number_then_units() -> str:
    return "x-axis,1\nsecond,Volt\n" + rows("{t:+.6E},{a:+.5E}")


@layout(channels={"1": ONE_V, "2": TWO_V, "3": THREE_V, "4": FOUR_V})
def axis_word_and_four_channel_numbers() -> str:
    return "x-axis,1,2,3,4\nsecond,Volt,Volt,Volt,Volt\n" + rows(
        "{t:+.6E},{a:+.5E},{b:+.5E},{c:+.5E},{d:+.5E}", ONE_V, TWO_V, THREE_V, FOUR_V
    )


@layout(channels={"3": THREE_V}, channel="3")
def a_channel_chosen_by_its_number() -> str:
    return axis_word_and_four_channel_numbers()


@layout(channels={"CH3": THREE_V}, channel="ch3")
def a_channel_chosen_by_its_name() -> str:
    return "Time,CH1,CH2,CH3,CH4\n(s),(V),(V),(V),(V)\n" + rows(
        "{t:.9f},{a:.4f},{b:.4f},{c:.4f},{d:.4f}", ONE_V, TWO_V, THREE_V, FOUR_V
    )


@layout(channels={"Channel A": ONE_V, "Channel B": TWO_V})
def units_in_brackets_below_and_a_blank_line() -> str:
    return "Time,Channel A,Channel B\n(us),(mV),(V)\n\n" + rows(
        "{t:.8f},{a:.6f},{b:.6f}", ONE_V * 1e3, TWO_V, times=TIME_S / US
    )


@layout(channels=ALL)
def separators_at_the_end_of_every_line() -> str:
    return "Time(s),CH1(V),CH2(V),CH3(V),CH4(V),\n" + rows(
        "{t:.9f},{a:.4f},{b:.4f},{c:.4f},{d:.4f},", ONE_V, TWO_V, THREE_V, FOUR_V
    )


@layout()
def two_separators_at_the_end_of_the_numbers_only() -> str:
    return "Time(s),CH1(V)\n" + rows("{t:.9f},{a:.4f},,")


@layout()
def a_blank_first_heading_over_row_numbers() -> str:
    return ",Time (s),CH1 (V)\n" + rows("{n},{t:.9f},{a:.4f}")


@layout()
def a_blank_first_heading_over_times() -> str:
    return ",CH1 (V)\ns,\n" + rows("{t:.9f},{a:.4f}")


@layout(channels=TWO)
def a_blank_first_column() -> str:
    return ",Time (s),CH1 (V),CH2 (V)\n" + rows(",{t:.9f},{a:.4f},{b:.4f}", ONE_V, TWO_V)


@layout()
def row_numbers_from_one_without_headings_over_them() -> str:
    return "Time (ns),CH1 (V)\n" + "".join(
        f"{n + 1},{t * 1e9:.0f},{a:.4f}\n"
        for n, (t, a) in enumerate(zip(TIME_S, ONE_V, strict=True))
    )


@layout(channels=TWO)
def a_time_column_for_each_channel() -> str:
    return "Time1 (s),CH1 (V),Time2 (s),CH2 (V)\n" + rows(
        "{t:.9f},{a:.4f},{t:.9f},{b:.4f}", ONE_V, TWO_V
    )


@layout(channels=TWO)
def source_and_unit_lines() -> str:
    return "Source,CH1,CH2\nSecond,Volt,Volt\n" + rows("{t:.9f},{a:.4f},{b:.4f}", ONE_V, TWO_V)


@layout(channels={"CH1": ONE_V, "D0": TWO_V * 0 + 1.0})
def a_logic_line_beside_the_channel() -> str:
    return "Time (s),CH1 (V),D0\n" + rows("{t:.9f},{a:.4f},1")


@layout(channels={"CH1": ONE_V}, channel="CH1")
def a_current_beside_the_channel_asked_for() -> str:
    return "Time (s),CH1 (V),CH2 (A)\n" + rows("{t:.9f},{a:.4f},{b:.4f}", ONE_V, TWO_V)


@layout()
def a_pod_of_logic_lines_in_hexadecimal() -> str:
    return "Time (s),CH1 (V),D7-D0\n" + rows("{t:.9f},{a:.4f},0x{n:02X}")


@layout()
def units_in_every_cell() -> str:
    return "Time,CH1\n" + rows("{t:.2f} us,{a:.1f} mV", ONE_V * 1e3, times=TIME_S / US)


@layout()
def volts_before_time() -> str:
    return "CH1 (V),Time (s)\n" + rows("{a:.4f},{t:.9f}")


@layout()
def remarks_with_number_signs() -> str:
    return "# Osterkamp recorder, 400 points\n# 2026-01-31 10:15:00\n# Time[s] CH1[V]\n" + rows(
        "{t:.9f} {a:.4f}"
    )


@layout()
def remarks_with_per_cent_signs() -> str:
    return "% Osterkamp recorder\n% t/us\tCH1/mV\n" + rows(
        "{t:.2f}\t{a:.1f}", ONE_V * 1e3, times=TIME_S / US
    )


@layout()
def unit_after_a_slash_or_a_comma() -> str:
    return "t / µs;CH1, mV\n" + rows("{t:.2f};{a:.1f}", ONE_V * 1e3, times=TIME_S / US)


@layout()
def unit_in_the_name_of_a_variable() -> str:
    return "time_ns,CH1_mV\n" + rows("{t:.0f},{a:.1f}", ONE_V * 1e3, times=TIME_S * 1e9)


@layout(start_s=None, channels={"CH1": ONE_V})
def one_long_line_of_samples() -> str:
    values = ",".join(f"{a:.4f}" for a in ONE_V)
    return f"Sample interval,40 ns\nCH1,{values}\n"


@layout(channels={"Waveform 1": ONE_V})
def a_name_with_a_number_and_a_quoted_comma() -> str:
    return '"Time, in s","Waveform 1, in V"\n' + rows('"{t:.9f}","{a:.4f}"')


@layout()
def numbers_padded_to_a_width() -> str:
    return "     Time(us)       CH1(V)\n" + rows("{t:13.4f}{a:13.4f}", times=TIME_S / US)
