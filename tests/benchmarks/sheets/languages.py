"""Words of data sheets in eight languages: headings, states of a set, functions of pins.

The words are common practice of the trade in each language, written from memory.
"""

from __future__ import annotations

from typing import Literal

Language = Literal["en", "de", "fr", "es", "it", "ja", "zh", "ru"]
LANGUAGES: tuple[Language, ...] = ("en", "de", "fr", "es", "it", "ja", "zh", "ru")
DECIMAL_COMMA: frozenset[Language] = frozenset({"de", "fr", "es", "it", "ru"})
ENCODINGS: dict[Language, str] = {"ja": "shift_jis", "zh": "gbk", "ru": "cp1251", "de": "cp1252"}

_HEADINGS = """
pin | Pin | Anschluss | Broche | Patilla | Piedino | 端子番号 | 引脚 | Вывод
symbol | Symbol | Symbol | Symbole | Símbolo | Simbolo | 記号 | 符号 | Обозначение
function | Function | Funktion | Fonction | Función | Funzione | 機能 | 功能 | Назначение
dc | DC voltage | Gleichspannung | Tension continue | Tensión continua | Tensione continua \
| 直流電圧 | 直流电压 | Постоянное напряжение
ac | AC voltage | Wechselspannung | Tension alternative | Tensión alterna \
| Tensione alternata | 交流電圧 | 交流电压 | Переменное напряжение
frequency | Frequency | Frequenz | Fréquence | Frecuencia | Frequenza | 周波数 | 频率 | Частота
resistance | Resistance | Widerstand | Résistance | Resistencia | Resistenza | 抵抗 | 电阻 \
| Сопротивление
min | min. | min. | min. | mín. | min. | 最小 | 最小 | мин.
typ | typ. | typ. | typ. | típ. | tip. | 標準 | 典型 | тип.
max | max. | max. | max. | máx. | max. | 最大 | 最大 | макс.
unit | Unit | Einheit | Unité | Unidad | Unità | 単位 | 单位 | Ед. изм.
parameter | Parameter | Kenngröße | Paramètre | Parámetro | Parametro | 項目 | 参数 | Параметр
condition | Condition | Bedingung | Condition | Condición | Condizione | 条件 | 条件 | Условие
rating | Maximum rating | Grenzwert | Valeur limite | Valor límite | Valore limite \
| 最大定格 | 极限值 | Предельное значение
threshold | Input threshold | Eingangsschwelle | Seuil d'entrée | Umbral de entrada \
| Soglia d'ingresso | 入力しきい値 | 输入阈值 | Порог входа
no signal | no signal | ohne Signal | sans signal | sin señal | senza segnale | 無信号 | 无信号 \
| без сигнала
colour bars | colour bars | Farbbalken | mire de barres | barras de color | barre di colore \
| カラーバー | 彩条 | цветные полосы
package | Package | Gehäuse | Boîtier | Encapsulado | Contenitore | パッケージ | 封装 | Корпус
note | measured with 10 MΩ | gemessen mit 10 MΩ | mesuré avec 10 MΩ | medido con 10 MΩ \
| misurato con 10 MΩ | 10 MΩで測定 | 用10 MΩ测量 | измерено с 10 MΩ
total | Total current | Gesamtstrom | Courant total | Corriente total | Corrente totale \
| 合計電流 | 总电流 | Общий ток
group one | Colour section | Farbteil | Partie couleur | Sección de color | Sezione colore \
| 色信号部 | 彩色部分 | Канал цветности
group two | Sync section | Synchronteil | Partie synchro | Sección de sincronismo \
| Sezione sincronismi | 同期部 | 同步部分 | Канал синхронизации
see | see note | siehe Text | voir texte | ver texto | vedi testo | 本文参照 | 见正文 | см. текст
"""

_FUNCTIONS = """
VCC | supply voltage | Versorgungsspannung | tension d'alimentation | tensión de alimentación \
| tensione di alimentazione | 電源電圧 | 电源电压 | напряжение питания
GND | ground | Masse | masse | masa | massa | 接地 | 地 | общий
VIN | video input | Videoeingang | entrée vidéo | entrada de vídeo | ingresso video \
| 映像入力 | 视频输入 | вход видеосигнала
VOUT | video output | Videoausgang | sortie vidéo | salida de vídeo | uscita video \
| 映像出力 | 视频输出 | выход видеосигнала
CIN | chroma input | Farbarteingang | entrée chroma | entrada de croma | ingresso croma \
| 色信号入力 | 色度输入 | вход цветности
SCO | sandcastle output | Sandcastle-Ausgang | sortie sandcastle | salida sandcastle \
| uscita sandcastle | サンドキャッスル出力 | 沙堡脉冲输出 | выход стробирующего импульса
HOUT | horizontal output | Horizontalausgang | sortie lignes | salida horizontal \
| uscita orizzontale | 水平出力 | 行输出 | выход строчной развёртки
VDR | vertical drive | Vertikalansteuerung | commande trame | excitación vertical \
| pilotaggio verticale | 垂直ドライブ | 场激励 | кадровое управление
XTAL | crystal | Quarz | quartz | cristal | quarzo | 水晶 | 晶振 | кварц
LPF | loop filter | Schleifenfilter | filtre de boucle | filtro de lazo | filtro ad anello \
| ループフィルタ | 环路滤波 | фильтр петли
CON | contrast control | Kontrasteinstellung | réglage contraste | control de contraste \
| controllo contrasto | コントラスト調整 | 对比度控制 | регулировка контрастности
SAT | saturation control | Farbsättigung | réglage saturation | control de saturación \
| controllo saturazione | 色飽和度調整 | 色饱和度控制 | регулировка насыщенности
AOUT | audio output | Tonausgang | sortie son | salida de audio | uscita audio \
| 音声出力 | 伴音输出 | выход звука
REF | reference voltage | Referenzspannung | tension de référence | tensión de referencia \
| tensione di riferimento | 基準電圧 | 基准电压 | опорное напряжение
"""

_PARAMETERS = """
VBK | burst key level | Burst-Key-Pegel | niveau burst key | nivel de burst key \
| livello burst key | バーストキーレベル | 色同步选通电平 | уровень строба вспышки
VTH | switching threshold | Schaltschwelle | seuil de commutation | umbral de conmutación \
| soglia di commutazione | スイッチしきい値 | 开关阈值 | порог переключения
VO | output amplitude | Ausgangsamplitude | amplitude de sortie | amplitud de salida \
| ampiezza d'uscita | 出力振幅 | 输出幅度 | амплитуда выхода
ICC | supply current | Stromaufnahme | courant d'alimentation | corriente de alimentación \
| corrente di alimentazione | 電源電流 | 电源电流 | ток потребления
VI | input level | Eingangspegel | niveau d'entrée | nivel de entrada | livello d'ingresso \
| 入力レベル | 输入电平 | уровень входа
"""


def _read_words(text: str) -> dict[str, dict[Language, str]]:
    words = {}
    for line in text.strip().splitlines():
        key, *translations = [each.strip() for each in line.split("|")]
        words[key] = dict(zip(LANGUAGES, translations, strict=True))
    return words


HEADINGS = _read_words(_HEADINGS)
FUNCTIONS = _read_words(_FUNCTIONS)
PARAMETERS = _read_words(_PARAMETERS)
