"""The demo's part numbers and makers are nobody's: held against those known in the trade."""

from __future__ import annotations

import re
from functools import cache

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.schema import Chip

DEMO_PREFIXES = {"TQZ", "OGX", "MDQ", "KYE"}

# Letters that part numbers of real makers of integrated circuits begin with. From memory, so
# neither complete nor dated: pro-electron, Japanese, American and Eastern European series. A
# doubtful one is kept, since it only forbids more.
LETTERS = """
    A AAT ACF ACP ACPL AD ADA ADC ADE ADF ADG ADL ADM ADN ADNS ADP ADR ADS ADSP ADT ADUC ADUM
    ADV ADXL ADXRS AFE AK AKD AL ALC ALD AM AMP AMS AN AP APA APL APM APU APW AS ASIX AT ATA
    ATAM ATF ATJ ATMEGA ATTINY AVR AVS AX AY B BA BB BCM BD BF BGA BGY BH BL BM BP BPW BQ BR BS
    BSI BT BTS BU BUF BV BX CA CAP CAT CAV CBT CCB CCR CCU CD CDM CDP CDQ CE CEM CF CG CGY CH CI
    CL CLC CM CMM CMP CMX CN CO COM COP CPC CPU CRE CS CSC CSP CT CU CX CXA CXB CXD CXK CXL CXP
    CXQ CXT CY CYM D DA DAC DBL DC DCP DCR DCV DDA DDC DDP DDU DEM DF DG DH DIR DIT DIX DL DM
    DMA DN DP DPA DPL DPU DRP DRV DS DSP DTA DTC DTI DTM DTP DVP DW DX E EA ECG ECL EF EFB EFCIS
    EFM EFR EFT EK EKR EL ELM EM EMC EMP EP EPC EPF EPL EPM ERA ES ESD ESM ESP ESS ET ETC ETL
    EUA EUP EX EY F FA FAN FBL FCA FCB FCH FCM FDC FDD FIP FLC FM FMM FMS FP FPD FS FSA FSQ FST
    FT FTL FW FX FZ FZA FZH FZK FZL G GA GAL GAP GB GC GD GF GIM GL GM GMM GMS GPL GS GSS GT GV
    GX GXB H HA HAL HBC HBF HC HCC HCF HCMS HCPL HCS HCT HD HDM HDSP HEF HEP HFA HFBR HG HGT HI
    HIN HIP HL HLCD HLMP HM HMC HN HOS HPA HR HS HSP HT HTC HTS HV HVR HW HX HY HYB HYM HZ IA IB
    IC ICB ICC ICD ICE ICL ICM ICO ICS ICX ID IDP IDPC IDT IFX IHD IL ILA ILC ILD ILQ ILX IM IMP
    IN INA INS IP IPS IQ IQS IR IRF IRIS IRM IRS IS ISD ISL ISO ISP ISPLSI IT ITE ITS ITT IX IXA
    IXD IXDD IXDN JCP JLC JM JRC JT JU K KA KAF KB KBC KBP KDA KEC KF KFM KGF KIA KIC KID KIS KL
    KM KMB KN KP KR KRA KRC KRE KS KSA KSC KSD KSE KSP KSZ KT KTA KTC KU KX L LA LAG LAN LAT LB
    LC LCA LCD LD LE LED LF LFE LG LH LHF LHI LK LM LMA LMC LME LMH LMM LMP LMT LMV LMX LN LNBH
    LNBP LNK LOG LP LPC LR LRS LS LSC LSI LT LTC LTV LU LV LVA LVDS LW LX LY LZ LZE M MA MAA MAB
    MAC MACH MAF MAN MAS MAT MAU MAV MAX MB MBA MBC MBF MBL MBM MBMS MBR MC MCA MCC MCCS MCE MCF
    MCK MCM MCP MCT MCU MCX MCY MD MDA MDAC MDB MDC MDD MDU MEA MEM MF MFC MG MGA MGF MH MHA MHB
    MHC MHD MHE MHF MHG MHQ MHS MHW MI MIC MICRF MIP MJ MJA MJB MJD MJE MK MKB MKL MKV ML MLA
    MLE MLM MLO MLX MM MMA MMBT MMC MME MMH MMK MN MOC MOS MP MPA MPC MPD MPM MPQ MPS MPSA MPU
    MPX MPY MQ MR MRA MRF MS MSA MSC MSCC MSD MSF MSGEQ MSK MSL MSM MSP MSS MT MTA MTC MTD MTK
    MTM MTP MTV MUR MUX MV MVA MVAM MVS MWA MWS MX MXA MXD MXL MXO MZH MZJ MZK N NAU NB NCD NCN
    NCP NCS NCV NDP NDS NE NEC NF NFM NH NIC NJ NJD NJG NJL NJM NJR NJU NJUS NJW NL NLAS NLSX
    NLV NM NMA NMC NMH NMOS NP NPC NR NRF NS NSC NSM NSR NSV NSVB NT NTD NTE NTP NUC NV NVM NVMA
    NX NZX OA OB OCX OD OEC OF OKI OM ON ONET OP OPA OPB OPL OPT OPTI OQ OR ORCA OS OV OX OXU OZ
    P PA PAL PALC PAM PAS PAT PAU PB PBA PBC PBD PBL PBM PC PCA PCB PCD PCE PCF PCK PCM PCU PDI
    PDS PDU PE PEB PEC PEF PEX PG PGA PI PIC PIP PJ PKB PKD PKS PL PLA PLC PLL PLS PLSI PLX PM
    PMA PMB PMC PME PMI PN PNA POWR PP PPC PPLL PQ PS PSB PSC PSD PSM PSMN PSOC PT PTC PTN PVA
    PVPU PW PWD PWM PWR PWS PX PXA PZ Q QB QCA QCC QED QL QMV QP QS QSB QT QTC QX R RA RAA RAY
    RB RBV RC RCA RCV RDA RDC RE REF REG RF RFD RFM RFPA RG RH RIC RJK RK RL RM RN ROB ROE ROM
    RP RPT RQ RS RSC RT RTC RTD RTL RTM RU RV RVG RX RXD RY S SA SAA SAB SAC SAD SAE SAF SAJ SAK
    SAP SAS SAT SAW SAX SAY SB SBA SBB SBP SC SCA SCC SCD SCH SCI SCL SCN SCP SCT SCX SCY SD SDA
    SDAB SDC SDD SDH SDM SDP SE SEC SECL SED SEF SEMB SEN SF SFC SFF SFH SFP SG SGA SGL SGM SGS
    SH SHC SHF SHM SI SIC SII SIL SIM SIP SIR SIS SIT SIX SK SKY SL SLA SLB SLE SLF SLK SLP SLX
    SM SMA SMAJ SMB SMC SMD SMJ SMM SMP SMS SMV SMX SN SNC SNJ SNLS SNR SO SOC SP SPB SPC SPCA
    SPF SPI SPL SPM SPMC SPR SPT SPU SPV SPX SQ SR SRC SRF SRI SRM SRX SSC SSD SSE SSI SSL SSM
    SSN SSP SSS ST STA STB STC STD STE STF STH STI STK STL STLC STM STMP STN STO STP STPM STR
    STRG STRS STRW STRX STS STT STU STV STW STX SUB SUN SVA SVC SVI SVM SVP SW SWC SWD SX SXA
    SXC SY SYN SYS SYT SZ SZA T TA TAA TAB TAC TAD TAE TAF TAG TAHB TAR TAS TB TBA TBB TBC TBD
    TBE TBF TBM TC TCA TCB TCD TCE TCK TCM TCN TCS TCT TCV TD TDA TDB TDC TDD TDE TDF TDS TE TEA
    TEB TEC TEE TEM TESEO TF TFA TFDU TFK TFMS TG TGA TH TI TIC TIL TIM TIP TISP TK TL TLC TLCS
    TLE TLG TLI TLN TLP TLS TLV TM TMA TMC TMF TML TMM TMP TMPZ TMR TMS TMX TN TNETD TNY TOIM
    TOP TORX TOTX TP TPA TPC TPD TPF TPIC TPL TPQ TPS TPU TPV TQ TQM TQP TR TRC TRF TRS TS TSA
    TSB TSC TSD TSG TSH TSI TSK TSL TSM TSOP TSP TSS TST TSU TSV TSX TT TUA TUB TUC TUF TUP TUSB
    TV TVA TVM TVP TVPO TVS TW TX TXB TXC TXS TY TZA TZM U UA UAA UAB UAC UAF UB UBA UBB UC UCA
    UCB UCC UCD UCE UCN UCQ UCS UCX UCY UD UDA UDN UDQ UDS UE UF UG UGN UGS UHD UHF UHP UJA UL
    ULA ULC ULE ULN ULNS ULQ ULS UM UMA UMC UMD UMF UMX UN UPA UPB UPC UPD UPG UPI UPX UR US USB
    USD UT UTC UTCM UTR UVC UX UZ V VAD VAM VAS VB VBC VC VCA VCT VCU VDA VDD VDP VDU VF VFC VG
    VHC VHI VIA VIC VIP VIPER VK VL VLA VM VN VNB VND VNH VNP VNQ VNS VP VPC VPS VPU VPX VR VRE
    VSC VSMY VSP VT VU VUC VW VX VXB VY W WAU WD WE WIN WM WMS WPC WS WSI WT WTV WX X XA XC XCF
    XCR XCV XE XL XLS XMC XO XR XRA XRD XRK XRP XRT XTR XX XZ Y YAC YD YDA YGV YL YM YMF YMZ YSS
    YTZ Z ZA ZABG ZABT ZAMP ZC ZD ZDT ZHX ZL ZLDO ZLNB ZM ZN ZNA ZNREF ZR ZRA ZRB ZRC ZRT ZSC
    ZSM ZSR ZT ZTK ZTX ZVN ZVP ZXBM ZXCL ZXCT ZXLD ZXMN ZXRE ZXSC ZXTP
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
    assert len(REAL_PREFIXES) > 1000
    # Series that stood in every television of the 1980s and 1990s: common practice.
    assert {"TDA", "AN", "LA", "M", "HA", "TA", "MC", "SAA", "STR", "CXA"} <= REAL_PREFIXES


def test_demo_prefixes_are_no_real_makers() -> None:
    assert set() == DEMO_PREFIXES & REAL_PREFIXES


@pytest.mark.parametrize("demo", sorted(DEMO_PREFIXES))
def test_no_longer_real_prefix_begins_or_is_begun_by_a_demo_prefix(demo: str) -> None:
    """Two letters say too little: some maker has almost every pair."""
    longer = [real for real in REAL_PREFIXES if len(real) >= 3]
    assert [real for real in longer if real.startswith(demo) or demo.startswith(real)] == []


def test_every_part_of_the_demo_has_an_invented_prefix() -> None:
    for chip in chips():
        related = [relation.part for relation in (*chip.replaces, *chip.similar)]
        for part in (chip.part, *chip.markings, *related):
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
