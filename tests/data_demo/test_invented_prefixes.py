"""The demo's part numbers and makers are nobody's: held against those known in the trade."""

from __future__ import annotations

import re
from functools import cache

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_file import load_chip
from pinfolio.schema import Chip

DEMO_PREFIXES = {"TQZ", "OGX", "MDQ", "KYE"}

# Letters that part numbers of real makers of integrated circuits begin with. From memory, so
# neither complete nor dated; pro-electron style, Japanese, American and Eastern European series.
LETTERS = """
    A AD ADC ADG ADM ADP ADV AK AL AM AMP AN AP APA AS AT AVS AY
    B BA BB BD BH BP BR BU BUF
    CA CAT CBT CCU CD CDP CF CGY CLC CM CMP COP CS CX CXA CXB CXD CXK CXP CY
    D DA DAC DC DG DM DMA DP DPA DPL DPU DS DSP DTI
    E EF EFB EL EM EP EPM ES ESM ESS ET
    F FA FAN FCB FCH FCM FM FMS FX G GAL GD GL GM GS GX
    H HA HCF HCPL HCT HD HEF HEP HG HI HM HMC HN HT HY
    ICE ICL ICM ICS ICX IDT IM IMP IN INA IP IR IRF IS ISD ISL ISP IX IXA
    JCP JLC JRC JU K KA KB KDA KF KIA KID KL KM KP KR KS KT
    L LA LAG LB LC LCA LD LE LF LH LM LMC LMV LMX LP LR LS LSC LT LTC LU LV LVA LX LZ
    M MA MAA MAB MAC MAF MAX MB MBA MBM MBMS MC MCA MCC MCM MCP MCU MDA MDAC MF MGA MH MHB MHW
    MIC MJ MK ML MLX MM MMC MN MP MPC MPD MPU MPY MSC MSL MSM MSP MT MTV MV MWA MX MXO
    N NCP NE NJL NJM NJU NJW NM NMC NS NSC NSV NTE NX OB OEC OM OP OPA OPT OR OZ
    P PA PAL PBD PBL PC PCA PCB PCD PCE PCF PCM PGA PIC PLC PLL PM PNA PSD PT PVPU
    Q QS R RA RAY RC REF REG RF RFM RH RM RPT RT RTL
    S SA SAA SAB SAD SAE SAF SAJ SAK SAS SBA SBB SC SCH SCL SCN SDA SDAB SE SED SFC SFH SG SGS SH
    SHF SI SII SK SL SLB SM SMC SMP SMS SN SO SP SPC SPT SPU SRM SSI SSM SSS ST STA STK STM STP
    STR STRS STRW STV SVM SW SY SZ
    T TA TAA TAB TAC TAE TAF TAS TB TBA TBB TBC TC TCA TCM TCD TD TDA TDB TDC TDE TDF TEA TEB TFA
    TFK TL TLC TLE TLV TM TMM TMP TMPZ TMS TP TPA TPIC TPS TPU TQM TQP TS TSA TSB TSH TSL TUA TVP
    TVPO TW U UA UAA UAB UAF UC UCA UCN UCQ UDA UDN UDS UGN ULA ULN ULQ ULS UM UMC UPA UPB UPC UPD
    V VAD VC VCA VCU VDP VFC VHI VIC VIPER VPC VPS VPU VPX VSP VT W WD WM WT X XC XLS XR XRD XX
    Y YAC YM YMF YMZ YSS Z ZA ZN ZNA ZNREF ZTK
"""
REAL_PREFIXES = frozenset(LETTERS.split())

# Names of real makers, from memory. Those of up to four letters are looked for as whole words.
REAL_MAKERS = """
    Acer|Actel|Agere|Allegro|Altera|AMD|AMI|Analog Devices|Atmel|Brooktree|Burr-Brown|Cherry|Cirrus
    Conexant|Crystal|Cypress|Daewoo|Dallas|Elantec|Ericsson|ESS|Exar|Fairchild|Faselec|Ferranti
    Freescale|Fujitsu|General Electric|General Instrument|GoldStar|Grundig|Harris|Hitachi|Holtek
    Hynix|Hyundai|Infineon|Inmos|Intel|Intermetall|International Rectifier|Intersil|ITT|IXYS|JRC
    JVC|Kawasaki|KEC|Kodenshi|Korea Electronics|Lattice|LG|Linear|LSI Logic|Matsushita|Maxim
    Microchip|Micrel|Micronas|Mitel|Mitsubishi|Mitsumi|MOS Technology|Mostek|Motorola|Mullard
    National|NEC|New Japan|Nippon|NXP|Oki|ON Semiconductor|Panasonic|Philips|Plessey|PMI|Princeton
    Raytheon|RCA|Realtek|Renesas|Ricoh|Rohm|Samsung|Sanken|Sanyo|Seiko|SGS|Sharp|Shindengen
    Siemens|Signetics|Silicon General|Siliconix|Siltronix|Sony|Sprague|SSI|ST|STMicroelectronics
    Supertex|Telefunken|Temic|Tesla|Texas Instruments|TFK|Thomson|Toko|Toshiba|Trident|TriQuint
    Tungsram|UMC|Unitrode|Valvo|Vishay|VLSI|Winbond|Xicor|Xilinx|Yamaha|Zetex|Zilog|Zoran
"""
MAKERS = [name.strip() for name in re.split(r"[|\n]", REAL_MAKERS) if name.strip()]


@cache
def chips() -> tuple[Chip, ...]:
    return tuple(load_chip(path) for path in chip_files())


def prefix(part: str) -> str:
    """Leading letters of a part number.

    >>> prefix("TQZ5752N")
    'TQZ'
    """
    found = re.match(r"[A-Z]+", part.upper())
    return found.group() if found else ""


def real_maker_in(name: str) -> str | None:
    """The real maker whose name is inside ``name``, if there is one."""
    for maker in MAKERS:
        edge = r"\b" if len(maker) <= 4 else ""
        if re.search(edge + re.escape(maker) + edge, name, re.IGNORECASE):
            return maker
    return None


def test_list_of_real_prefixes_is_wide() -> None:
    assert len(REAL_PREFIXES) > 100
    # Series that stood in every television of the 1980s and 1990s: common practice.
    assert {"TDA", "AN", "LA", "M", "HA", "TA", "MC", "SAA", "STR", "CXA"} <= REAL_PREFIXES


def test_demo_prefixes_are_no_real_makers() -> None:
    assert set() == DEMO_PREFIXES & REAL_PREFIXES


def test_every_part_of_the_demo_has_an_invented_prefix() -> None:
    for chip in chips():
        related = [relation.part for relation in (*chip.replaces, *chip.similar)]
        for part in (chip.part, *related):
            assert prefix(part) in DEMO_PREFIXES, part


def test_each_prefix_belongs_to_one_maker() -> None:
    owners = {(prefix(chip.part), chip.maker) for chip in chips()}
    assert len(owners) == len({letters for letters, _ in owners})


def test_no_demo_maker_has_a_real_makers_name() -> None:
    assert {chip.maker: real_maker_in(chip.maker) for chip in chips()} == {
        chip.maker: None for chip in chips()
    }


@pytest.mark.parametrize("name", ["Toshiba Denki", "Halbleiter ITT", "neuesiemens"])
def test_a_real_makers_name_would_be_found(name: str) -> None:
    assert real_maker_in(name)
