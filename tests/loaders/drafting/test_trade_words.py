"""The same small table in eight languages gives the same chip; unknown headings are asked about.

The tables are invented. The headings are those that dictionaries of the trade give for pin, name,
function, voltage and the like; common practice.
"""

from __future__ import annotations

import pytest
from pinfolio.loaders.drafting.heading_words import classify_heading
from pinfolio.loaders.drafting.pin_table import PinTable
from pinfolio.loaders.drafting.role_guesses import suggest_role
from pinfolio.loaders.drafting.table_reader import read_pin_table
from pinfolio.loaders.drafting.text_table import DraftError
from pinfolio.loaders.drafting.trade_words import find_heading_key, find_role, find_unit, simplify

TABLES = {
    "English": ["Pin no.", "Symbol", "Function", "DC no signal (V)",
        "video input", "line output", "ground", "supply"],
    "German": ["Anschluss-Nr.", "Bezeichnung", "Funktion", "Spannung ohne Signal (V)",
        "Videoeingang", "Zeilenausgang", "Masse", "Betriebsspannung"],
    "French": ["N° broche", "Nom", "Fonction", "Tension sans signal (V)",
        "entrée vidéo", "sortie ligne", "masse", "alimentation"],
    "Spanish": ["Patilla", "Nombre", "Función", "Tensión sin señal (V)",
        "entrada de vídeo", "salida de línea", "masa", "alimentación"],
    "Italian": ["Piedino", "Nome", "Funzione", "Tensione senza segnale (V)",
        "ingresso video", "uscita di riga", "massa", "alimentazione"],
    "Japanese": ["端子番号", "端子名", "機能", "電圧 無信号 (V)",
        "映像入力", "水平出力", "接地", "電源"],
    "Chinese": ["引脚", "符号", "功能", "电压 无信号（V）",
        "视频输入", "行输出", "接地端", "电源"],
    "Russian": ["№ вывода", "Обозначение", "Назначение", "Напряжение без сигнала (В)",
        "вход видеосигнала", "выход строчной развёртки", "общий", "питание"],
}  # fmt: skip
CHARACTERISTICS = {
    "German": "Kennwert;Min.;Typ.;Max.;Einheit;V",
    "French": "Paramètre;Min;Typique;Max;Unité;V",
    "Spanish": "Parámetro;Mín.;Típico;Máx.;Unidad;V",
    "Italian": "Parametro;Minimo;Tipico;Massimo;Unità;V",
    "Japanese": "項目;最小;標準;最大;単位;V",
    "Chinese": "参数;最小值;典型值;最大值;单位;V",
    "Russian": "Параметр;Мин.;Типовое;Макс.;Ед. изм.;В",
}


def read(text: str, **overrides: int) -> PinTable:
    return read_pin_table(text.encode(), "t.csv", overrides)


@pytest.mark.parametrize("language", TABLES)
def test_a_table_of_pins_in_each_language(language: str) -> None:
    *headings, video, line, ground, supply = TABLES[language]
    rows = [f"1;A;{video};3.5", f"2;B;{line};1.6", f"3;C;{ground};0", f"4;D;{supply};8"]
    table = read("\n".join([";".join(headings), *rows]))
    assert table.unread == ()
    assert [(p.texts["symbol"], str(p.dc["no signal"].quantity)) for p in table.pins] == [
        ("A", "3.5 V"), ("B", "1.6 V"), ("C", "0 V"), ("D", "8 V"),
    ]  # fmt: skip
    assert [pin.texts["function"] for pin in table.pins] == [video, line, ground, supply]
    roles = [suggest_role("X", pin.texts["function"]) for pin in table.pins]
    assert roles == ["input", "output", "ground", "supply"]


@pytest.mark.parametrize("language", CHARACTERISTICS)
def test_a_table_of_characteristics_in_each_language(language: str) -> None:
    *headings, unit = CHARACTERISTICS[language].split(";")
    (parameter,) = read(f"{';'.join(headings)}\nx;7,2;8,0;8,8;{unit}\n").parameters
    assert str(parameter.value) == "min 7.2 V typ 8.0 V max 8.8 V"


@pytest.mark.parametrize(
    "heading",
    [
        "Versorgungsspannung (V)", "Schwellenspannung", "tension d'alimentation (V)",
        "tensión de alimentación", "tensione di soglia", "電源電圧", "电源电压",
        "напряжение питания",
    ],
)  # fmt: skip
def test_a_supply_or_a_threshold_is_no_dc_in_any_language(heading: str) -> None:
    assert classify_heading(0, [heading]) is None


def test_a_heading_counts_as_a_whole_only() -> None:
    assert find_heading_key("Spannung") == "dc"
    assert find_heading_key("Spannung der Quelle") is None
    assert simplify("Anschluss-Nr.（１）") == "anschluss nr 1"


def test_units_in_another_script() -> None:
    assert [find_unit(cell) for cell in ("мкА", " кГц ", "Ом", "V")] == ["µA", "kHz", "Ω", None]


def test_a_part_of_a_word_is_no_role() -> None:
    assert find_role("Eingangsstufe") is None
    assert find_role("地址") is None


def test_position_name_type_signal() -> None:
    text = "Position,Name,Type,Signal\n1,A,Input,video\n2,B,Output,drive\n3,GND,Power,return\n"
    pins = read(text).pins
    assert [pin.number for pin in pins] == [1, 2, 3]
    assert pins[0].texts == {"symbol": "A", "role": "Input", "function": "video"}
    assert read("Position,Type,Signal\n1,Input,A\n2,Output,B\n").pins[0].texts["symbol"] == "A"


def test_a_lone_type_column_is_no_typical_value() -> None:
    pins = read("Pin;Name;Typ\n1;A;Eingang\n2;B;Ausgang\n").pins
    assert [pin.texts["role"] for pin in pins] == ["Eingang", "Ausgang"]
    assert suggest_role("A", "", "Eingang") == "input"


def test_an_unknown_heading_over_one_to_n_is_asked_about_in_one_question() -> None:
    text = "Contact,Code,Job\n1,A,input of video\n2,B,output of video\n3,C,supply of all\n"
    with pytest.raises(DraftError) as refused:
        read(text)
    (fault,) = refused.value.faults
    assert fault.found == "column 1 'Contact' counts 1 to 3"
    assert fault.write == "--column number=1 --column symbol=2 --column function=3"
    pins = read(text, number=1, symbol=2, function=3).pins
    assert [pin.texts["symbol"] for pin in pins] == ["A", "B", "C"]


def test_columns_with_known_headings_are_not_asked_about_again() -> None:
    with pytest.raises(DraftError) as refused:
        read("Contact,Symbol,DC (V)\n1,A,3\n3,B,4\n2,C,5\n")
    assert refused.value.faults[0].write == "--column number=1"


@pytest.mark.parametrize("numbers", [(2, 3, 4), (1, 1, 2), (1, 2, 4)])
def test_other_numbers_are_not_asked_about(numbers: tuple[int, ...]) -> None:
    rows = "".join(f"{number},x{number},price\n" for number in numbers)
    with pytest.raises(DraftError, match="no table of pins"):
        read(f"Amount,Sort,Text\n{rows}")


@pytest.mark.parametrize(
    "headings",
    [
        "Вывод;Обозначение;Напряжение мин. (В);Напряжение тип. (В);Напряжение макс. (В)",
        "Pin;Simbolo;Tensione min. (V);Tensione tip. (V);Tensione max. (V)",
        "Pin;Símbolo;Tensión mín. (V);Tensión típ. (V);Tensión máx. (V)",
        "Broche;Symbole;Tension min. (V);Tension typ. (V);Tension max. (V)",
    ],
)
def test_short_words_for_typical_head_the_value_between_the_limits(headings: str) -> None:
    table = read(f"{headings}\n1;A;3,0;3,4;3,8\n2;B;;5,0;\n")
    values = [str(pin.dc[""].quantity) for pin in table.pins]
    assert values == ["min 3.0 V typ 3.4 V max 3.8 V", "5.0 V"]
    assert table.unread == ()


@pytest.mark.parametrize("heading", ["Тип", "Тип вывода"])
def test_a_column_of_words_below_type_is_the_role_also_beside_limits(heading: str) -> None:
    for limit in (";Напряжение (В)", ";Напряжение мин. (В)"):
        table = read(f"Вывод;Обозначение;{heading}{limit}\n1;A;вход;3,0\n2;B;выход;3,2\n")
        assert [pin.texts["role"] for pin in table.pins] == ["вход", "выход"]
