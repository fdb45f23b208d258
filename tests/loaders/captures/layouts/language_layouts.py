"""Decimal commas, other languages and other encodings."""

from __future__ import annotations

import codecs

from .record import ONE_V, TIME_S, TWO_V, layout, rows

US = 1e-6


def _comma(text: str) -> str:
    return text.replace(".", ",")


@layout(channels={"Kanal 1": ONE_V})
def decimal_comma_and_semicolons() -> str:
    return "Zeit (µs);Kanal 1 (mV)\n" + _comma(
        rows("{t:.2f};{a:.1f}", ONE_V * 1e3, times=TIME_S / US)
    )


@layout(channels={"Kanal A": ONE_V, "Kanal B": TWO_V})
def decimal_comma_units_below_and_a_blank_line() -> str:
    return "Zeit;Kanal A;Kanal B\n(us);(mV);(V)\n\n" + _comma(
        rows("{t:.8f};{a:.6f};{b:.6f}", ONE_V * 1e3, TWO_V, times=TIME_S / US)
    )


@layout(channels={"CH1": ONE_V, "CH2": TWO_V})
def decimal_comma_in_quotes() -> str:
    return (
        '"Time (s)","CH1 (V)","CH2 (V)"\n'
        + '"'
        + _comma(rows("{t:.9f}|{a:.4f}|{b:.4f}", ONE_V, TWO_V, end='"\n"'))
        .replace("|", '","')
        .removesuffix('"')
    )


@layout(start_s=None)
def decimal_comma_in_the_interval_too() -> str:
    return "Sample interval;4,0E-08;s\nCH1;V\n" + _comma(rows("{a:.4f};"))


@layout(start_s=None)
def decimal_comma_in_the_rate_and_tabs() -> str:
    return "Abtastrate\t25,0 MHz\nSample rate\t25,0 MHz\nNr.\tCH1 [V]\n" + _comma(
        rows("{n}\t{a:.4f}")
    )


@layout(channels={"Größe": ONE_V})
def code_page_1252() -> bytes:
    return ("t (µs);Größe (V)\r\n" + rows("{t:.2f};{a:.4f}", times=TIME_S / US, end="\r\n")).encode(
        "cp1252"
    )


@layout()
def code_page_850() -> bytes:
    return ("t (µs);CH1 (V)\r\n" + rows("{t:.2f};{a:.4f}", times=TIME_S / US, end="\r\n")).encode(
        "cp850"
    )


@layout(channels={"CH1": ONE_V})
def japanese_code_page_with_a_greek_mu() -> bytes:
    return ("時間(μs),CH1(V)\r\n" + rows("{t:.2f},{a:.4f}", times=TIME_S / US, end="\r\n")).encode(
        "cp932"
    )


@layout(channels={"CH1": ONE_V})
def chinese_code_page() -> bytes:
    return (
        "采样间隔,40ns\r\n时间(us),CH1(V)\r\n"
        + rows("{t:.2f},{a:.4f}", times=TIME_S / US, end="\r\n")
    ).encode("gb18030")


@layout()
def utf_16_with_a_mark() -> bytes:
    text = "Time (μs)\tCH1 (mV)\r\n" + rows("{t:.2f}\t{a:.1f}", ONE_V * 1e3, times=TIME_S / US)
    return codecs.BOM_UTF16_LE + text.encode("utf-16-le")


@layout(channels={"Voie 1": ONE_V})
def french_headings() -> str:
    return "Temps (µs);Voie 1 (V)\n" + _comma(rows("{t:.2f};{a:.4f}", times=TIME_S / US))


@layout(channels={"Канал 1": ONE_V})
def cyrillic_headings() -> str:
    return "Время, мкс;Канал 1, В\n" + _comma(rows("{t:.2f};{a:.4f}", times=TIME_S / US))


@layout()
def true_minus_signs() -> str:
    return "Time (us),CH1 (V)\n" + rows("{t:.2f},{a:.4f}", times=TIME_S / US).replace("-", "−")
