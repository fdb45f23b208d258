"""The words of the generated catalogue, commonest first: makers, stages, signals and the rest.

Makers and their prefixes are invented; stages and signals are the trade's own words.
"""

from __future__ import annotations

from typing import Final

# Maker and the letters its part numbers begin with.
MAKERS: Final = (
    ("Tannhof Halbleiter", ("TQZ", "TQY")),
    ("Kvarnby Elektronik", ("KYE", "KYQ")),
    ("Mirador Quartz", ("MDQ", "MQX")),
    ("Ogawara Denshi", ("OGX", "OXQ")),
    ("Quellmark", ("QZ", "QZX")),
    ("Zandvliet Semi", ("ZQV", "ZVX")),
    ("Wexcombe Devices", ("WQ", "WQX")),
    ("Jorunn Kretser", ("JZQ",)),
    ("Vale Quay Instruments", ("VQX", "VQY")),
    ("Yamaji Kousan", ("YQK",)),
    ("Brixholt", ("BQX",)),
    ("Pettigrew Solid State", ("PQJ",)),
    ("Halloran Circuits", ("HQZ",)),
    ("Lindqvist Komponent", ("LQZ",)),
    ("Fennimore", ("FQY",)),
    ("Gaxton Integrated", ("GXQ",)),
    ("Norrvik", ("NQX",)),
    ("Rovere Microcircuiti", ("RQV",)),
    ("Sajonara Works", ("SQJ",)),
    ("Drexelby", ("DZQ",)),
    ("Carrick Zinc", ("CZQ",)),
    ("Umbra Silicio", ("UQZ",)),
    ("Xanten Werk", ("XQW",)),
    ("Ashdown Linear", ("AQX",)),
)

# What a chip does in the set, with the stages that are common in it (places in STAGES).
KINDS: Final = (
    ("jungle", 0),
    ("chroma/luma processor", 4),
    ("vision IF", 30),
    ("sync/deflection processor", 14),
    ("audio processor", 44),
    ("sound IF", 38),
    ("RGB matrix", 22),
    ("vertical output", 18),
    ("audio amplifier", 46),
    ("tuning processor", 52),
    ("recorder Y/C processor", 8),
    ("servo processor", 58),
    ("video amplifier", 24),
    ("power supply controller", 64),
    ("comb filter", 10),
    ("vision and sound IF", 32),
    ("RGB switch", 23),
    ("delay line", 11),
)

# Stage, and what it is called in a pin's symbol.
STAGES: Final = (
    ("composite video", "CVBS"), ("sync separator", "SYNC"), ("luminance", "Y"),
    ("AGC", "AGC"), ("chrominance", "C"), ("burst gate", "BG"), ("colour killer", "KILL"),
    ("subcarrier oscillator", "FSC"), ("APC", "APC"), ("chroma bandpass", "CBP"),
    ("comb filter", "COMB"), ("delay line", "DL"), ("R-Y demodulator", "R-Y"),
    ("B-Y demodulator", "B-Y"), ("line oscillator", "HOSC"), ("line drive", "HDRV"),
    ("AFC", "AFC"), ("flyback pulse", "FBP"), ("vertical ramp", "VRAMP"),
    ("vertical drive", "VDRV"), ("east-west", "EW"), ("sandcastle", "SC"), ("red", "R"),
    ("green", "G"), ("blue", "B"), ("contrast", "CONT"), ("brightness", "BRI"),
    ("saturation", "SAT"), ("black level clamp", "CLMP"), ("beam current limiter", "BCL"),
    ("IF amplifier", "IF"), ("video demodulator", "VDET"), ("AFT", "AFT"),
    ("tuner AGC", "RFAGC"), ("noise inverter", "NINV"), ("synchronous detector", "SDET"),
    ("intercarrier sound", "SIF"), ("video buffer", "VBUF"), ("sound IF limiter", "LIM"),
    ("FM demodulator", "FMD"), ("quadrature coil", "QUAD"), ("de-emphasis", "DEEM"),
    ("stereo decoder", "ST"), ("pilot detector", "PIL"), ("left channel", "L"),
    ("right channel", "R CH"), ("volume", "VOL"), ("bass", "BASS"), ("treble", "TRE"),
    ("audio mute", "MUTE"), ("ripple filter", "RIP"), ("loudspeaker", "SPK"),
    ("serial data", "SDA"), ("serial clock", "SCL"), ("tuning voltage", "VT"),
    ("band switch", "BAND"), ("remote control", "RC"), ("on-screen display", "OSD"),
    ("capstan", "CAP"), ("drum", "DRUM"), ("head switching", "HSW"), ("control track", "CTL"),
    ("FM luminance", "YFM"), ("colour-under", "CU"), ("error amplifier", "EA"),
    ("soft start", "SS"), ("overcurrent", "OC"), ("standby", "STBY"), ("reset", "RES"),
    ("crystal", "XTAL"), ("voltage reference", "VREF"), ("white peak limiter", "WPL"),
    ("dark current", "CUT"), ("noise reduction", "NR"), ("pedestal", "PED"),
    ("teletext", "TXT"), ("protection", "PROT"), ("test", "TEST"),
)  # fmt: skip

# Signal, its ending in a symbol, the pin's role, and how often out of a hundred it moves.
SIGNALS: Final = (
    ("input", "IN", "input", 60),
    ("output", "OUT", "output", 65),
    ("filter", "FIL", "filter", 12),
    ("control voltage", "CTL", "control", 5),
    ("decoupling", "DEC", "decoupling", 0),
    ("feedback input", "FB", "input", 40),
    ("reference voltage", "REF", "reference", 0),
    ("time constant", "TC", "filter", 15),
    ("switch", "SW", "control", 8),
    ("peak detector", "PK", "filter", 15),
    ("oscillator", "OSC", "oscillator", 80),
    ("gain adjustment", "ADJ", "control", 0),
    ("phase detector", "PD", "filter", 20),
    ("clamp capacitor", "CC", "filter", 45),
    ("driver output", "DRV", "output", 75),
    ("tank circuit", "TANK", "oscillator", 60),
    ("level sense", "SNS", "input", 25),
    ("bias", "BIAS", "decoupling", 0),
    ("monitor output", "MON", "output", 60),
    ("data line", "D", "bus", 50),
)

QUALIFIERS: Final = (
    "100 nF to ground", "from the delay line", "active low", "emitter follower",
    "to the picture-tube board", "open collector", "internally biased", "from the tuner",
    "adjusted on the board", "high impedance", "first loop", "second loop", "for NTSC",
    "for PAL", "for SECAM", "low in standby", "clamped at line rate", "with hysteresis",
    "to the speaker amplifier", "not used in monitors", "external resistor sets the current",
    "through a coupling capacitor", "switched by the bus", "at field rate",
)  # fmt: skip

CONDITION_MEANINGS: Final = (
    ("colour bars", "Set on, 75 % colour bars at the aerial socket, controls in the middle."),
    ("no signal", "Set on, aerial unplugged, controls in the middle."),
)

_SYLLABLES: Final = (
    "ba", "be", "bo", "cra", "dal", "den", "fer", "fil", "gan", "gor", "hel", "jin", "kal",
    "kor", "lam", "lin", "mar", "mel", "nor", "pal", "per", "ron", "sal", "sen", "tar", "tol",
    "var", "ven", "wel", "zan",
)  # fmt: skip


def make_rare_word(rank: int) -> str:
    """A different word for every number, like the long tail of words in real data."""
    word = ""
    while True:
        rank, place = divmod(rank, len(_SYLLABLES))
        word = _SYLLABLES[place] + word
        if rank == 0 and len(word) > 5:
            return word
