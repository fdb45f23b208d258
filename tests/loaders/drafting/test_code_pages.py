"""Tables in the code pages of Western Europe, Russia, Japan and China are read, or asked about.

The words are headings of the trade from memory, common practice; Python's codecs write the bytes.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.drafting.text_table import DraftError, decode_text

ROWS = "1,GND,{0},0\n2,CVBS IN,{1},3.1\n"
TABLES = {
    "cp1252": ("Stift,Bezeichnung,Funktion,Spannung\n", "Masse für Zeile", "Sägezahn, größer"),
    "cp1251": ("вывод,обозначение,назначение,напряжение\n", "общий", "вход видеосигнала"),
    "cp932": ("端子番号,記号,機能,電圧\n", "接地", "コンポジット映像入力"),
    "gbk": ("引脚,符号,功能,电压\n", "接地", "复合视频信号输入"),
}
NAMES = {"cp1252": "CP1252", "cp1251": "CP1251", "cp932": "Shift-JIS", "gbk": "GBK"}


@pytest.mark.parametrize("encoding", TABLES)
def test_a_table_in_a_code_page_is_read(encoding: str) -> None:
    heading, *functions = TABLES[encoding]
    text = heading + ROWS.format(*functions)
    assert decode_text(text.encode(encoding), "t.csv") == (text, NAMES[encoding])


FIGURES = ["3.4 µs", "25 °C", "±5 V", "12 V ± 5 %", "10µF", "30°", "GND", "burst key", ""]


@given(st.lists(st.sampled_from(FIGURES)), st.sampled_from([",", ";", "\n"]))
def test_signs_of_measure_are_read_in_the_western_page(cells: list[str], between: str) -> None:
    text = between.join(cells)
    assert decode_text(text.encode("cp1252"), "t.csv")[0] == text


def test_an_uncertain_encoding_is_asked_for() -> None:
    with pytest.raises(DraftError, match=r"text that may be .* --encoding"):
        decode_text("參數,值\n1,GND\n".encode("gbk"), "t.csv")
