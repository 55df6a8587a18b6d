"""The CRCs of the public catalogue, by name, and the one a new schema starts with.

Owns one rule: what a CRC's name means. The table holds every CRC of 8, 16, 24 and 32 bits of the public
RevEng catalogue with its aliases and its check, the CRC of ``123456789``. Parameters: read in the package
crccheck 1.3.1 (MIT), and 32 of the rows also in the copy of the catalogue that the source of crc-catalog
holds; every check recomputed. All of them are reflected at both ends or at neither, as `Crc` demands.

>>> find_crc("crc-32c").name
'CRC-32/ISCSI'
>>> default_crc(16, data_bits=96).name
'CRC-16/EN-13757'
"""

from __future__ import annotations

from typing import Final

from packetcodec.crc.crc import WIDTHS, Crc
from packetcodec.errors import PacketcodecError
from packetcodec.frozen import Frozen
from packetcodec.spelling import nearest

_TABLE = """
name                      poly      init      reflected  xorout    check     aliases
CRC-8/AUTOSAR             2f        ff        no         ff        df
CRC-8/BLUETOOTH           a7        00        yes        00        26
CRC-8/CDMA2000            9b        ff        no         00        da
CRC-8/DARC                39        00        yes        00        15
CRC-8/DVB-S2              d5        00        no         00        bc
CRC-8/GSM-A               1d        00        no         00        37
CRC-8/GSM-B               49        00        no         ff        94
CRC-8/HITAG               1d        ff        no         00        b4
CRC-8/I-432-1             07        00        no         55        a1        CRC-8/ITU
CRC-8/I-CODE              1d        fd        no         00        7e
CRC-8/LTE                 9b        00        no         00        ea
CRC-8/MAXIM-DOW           31        00        yes        00        a1        CRC-8/MAXIM DOW-CRC
CRC-8/MIFARE-MAD          1d        c7        no         00        99
CRC-8/NRSC-5              31        ff        no         00        f7
CRC-8/OPENSAFETY          2f        00        no         00        3e
CRC-8/ROHC                07        ff        yes        00        d0
CRC-8/SAE-J1850           1d        ff        no         ff        4b
CRC-8/SMBUS               07        00        no         00        f4        CRC-8
CRC-8/TECH-3250           1d        ff        yes        00        97        CRC-8/AES CRC-8/EBU
CRC-8/WCDMA               9b        00        yes        00        25
CRC-16/ARC                8005      0000      yes        0000      bb3d      ARC CRC-16/LHA CRC-IBM
CRC-16/CDMA2000           c867      ffff      no         0000      4c06
CRC-16/CMS                8005      ffff      no         0000      aee7
CRC-16/DDS-110            8005      800d      no         0000      9ecf
CRC-16/DECT-R             0589      0000      no         0001      007e      R-CRC-16
CRC-16/DECT-X             0589      0000      no         0000      007f      X-CRC-16
CRC-16/DNP                3d65      0000      yes        ffff      ea82
CRC-16/EN-13757           3d65      0000      no         ffff      c2b7
CRC-16/GENIBUS            1021      ffff      no         ffff      d64e      CRC-16/DARC CRC-16/EPC CRC-16/EPC-C1G2 CRC-16/I-CODE
CRC-16/GSM                1021      0000      no         ffff      ce3c
CRC-16/IBM-3740           1021      ffff      no         0000      29b1      CRC-16/AUTOSAR CRC-16/CCITT-FALSE
CRC-16/IBM-SDLC           1021      ffff      yes        ffff      906e      CRC-16/ISO-HDLC CRC-16/ISO-IEC-14443-3-B CRC-16/X-25 CRC-B X-25
CRC-16/ISO-IEC-14443-3-A  1021      c6c6      yes        0000      bf05      CRC-A
CRC-16/KERMIT             1021      0000      yes        0000      2189      CRC-16/CCITT CRC-16/CCITT-TRUE CRC-16/V-41-LSB CRC-CCITT KERMIT
CRC-16/LJ1200             6f63      0000      no         0000      bdf4
CRC-16/M17                5935      ffff      no         0000      772b
CRC-16/MAXIM-DOW          8005      0000      yes        ffff      44c2      CRC-16/MAXIM
CRC-16/MCRF4XX            1021      ffff      yes        0000      6f91
CRC-16/MODBUS             8005      ffff      yes        0000      4b37      MODBUS
CRC-16/NRSC-5             080b      ffff      yes        0000      a066
CRC-16/OPENSAFETY-A       5935      0000      no         0000      5d38
CRC-16/OPENSAFETY-B       755b      0000      no         0000      20fe
CRC-16/PROFIBUS           1dcf      ffff      no         ffff      a819      CRC-16/IEC-61158-2
CRC-16/RIELLO             1021      b2aa      yes        0000      63d0
CRC-16/SPI-FUJITSU        1021      1d0f      no         0000      e5cc      CRC-16/AUG-CCITT
CRC-16/T10-DIF            8bb7      0000      no         0000      d0db
CRC-16/TELEDISK           a097      0000      no         0000      0fb3
CRC-16/TMS37157           1021      89ec      yes        0000      26b1
CRC-16/UMTS               8005      0000      no         0000      fee8      CRC-16/BUYPASS CRC-16/VERIFONE
CRC-16/USB                8005      ffff      yes        ffff      b4c8
CRC-16/XMODEM             1021      0000      no         0000      31c3      CRC-16/ACORN CRC-16/LTE CRC-16/V-41-MSB XMODEM ZMODEM
CRC-24/BLE                00065b    555555    yes        000000    c25a56
CRC-24/FLEXRAY-A          5d6dcb    fedcba    no         000000    7979bd
CRC-24/FLEXRAY-B          5d6dcb    abcdef    no         000000    1f23b8
CRC-24/INTERLAKEN         328b63    ffffff    no         ffffff    b4f3e6
CRC-24/LTE-A              864cfb    000000    no         000000    cde703
CRC-24/LTE-B              800063    000000    no         000000    23ef52
CRC-24/OPENPGP            864cfb    b704ce    no         000000    21cf02    CRC-24
CRC-24/OS-9               800063    ffffff    no         ffffff    200fa5
CRC-32/AIXM               814141ab  00000000  no         00000000  3010bf7f  CRC-32Q
CRC-32/AUTOSAR            f4acfb13  ffffffff  yes        ffffffff  1697d06a
CRC-32/BASE91-D           a833982b  ffffffff  yes        ffffffff  87315576  CRC-32D
CRC-32/BZIP2              04c11db7  ffffffff  no         ffffffff  fc891918  CRC-32/AAL5 CRC-32/DECT-B B-CRC-32
CRC-32/CD-ROM-EDC         8001801b  00000000  yes        00000000  6ec2edc4
CRC-32/CKSUM              04c11db7  00000000  no         ffffffff  765e7680  CKSUM CRC-32/POSIX
CRC-32/ISCSI              1edc6f41  ffffffff  yes        ffffffff  e3069283  CRC-32/BASE91-C CRC-32/CASTAGNOLI CRC-32/INTERLAKEN CRC-32C
CRC-32/ISO-HDLC           04c11db7  ffffffff  yes        ffffffff  cbf43926  CRC-32 CRC-32/ADCCP CRC-32/V-42 CRC-32/XZ PKZIP
CRC-32/JAMCRC             04c11db7  ffffffff  yes        00000000  340bc6d9  JAMCRC
CRC-32/MEF                741b8cd7  ffffffff  yes        00000000  d2c22f51
CRC-32/MPEG-2             04c11db7  ffffffff  no         00000000  0376e6e7
CRC-32/XFER               000000af  00000000  no         00000000  bd0be338  XFER
"""  # noqa: E501 - one line per CRC


class Entry(Frozen):
    """One row of the catalogue.

    Attributes:
        crc: the parameters, under the name the catalogue prefers.
        check: CRC of the nine ASCII bytes ``123456789`` as published.
        aliases: other names, in alphabetical order.

    >>> [entry.crc.name for entry in ENTRIES if isinstance(entry, Entry) and "MODBUS" in entry.aliases]
    ['CRC-16/MODBUS']
    """

    crc: Crc
    check: int
    aliases: tuple[str, ...]


def _entry(row: str) -> Entry:
    name, polynomial, initial, reflected, xor_out, check, *aliases = row.split()
    crc = Crc(
        name=name,
        width=4 * len(polynomial),
        polynomial=int(polynomial, 16),
        initial=int(initial, 16),
        reflected=reflected == "yes",
        xor_out=int(xor_out, 16),
    )
    return Entry(crc, int(check, 16), tuple(aliases))


ENTRIES: Final = tuple(map(_entry, _TABLE.strip().splitlines()[1:]))
"""The whole catalogue, by width and then by name."""

_BY_NAME = {name.upper(): entry.crc for entry in ENTRIES for name in (entry.crc.name, *entry.aliases)}

# Which CRC holds up to how many data bits: the largest Hamming distance that the catalogue has there for the
# packets people send (from about 10 bytes of data on, tests compare), and never the modem's own 0x1021.
_DEFAULTS: Final = {
    8: ((119, "CRC-8/AUTOSAR"), (None, "CRC-8/SAE-J1850")),  # distance 4; 3 up to 247 bits, then 2
    16: ((135, "CRC-16/EN-13757"), (241, "CRC-16/M17"), (None, "CRC-16/OPENSAFETY-B")),  # 6; 5; 4
    24: ((None, "CRC-24/FLEXRAY-A"),),  # 6 up to 2024 bits
    32: ((47, "CRC-32/ISCSI"), (None, "CRC-32/AUTOSAR")),  # 10; 8 up to 274 bits, then 6
}


def names(width: int | None = None) -> tuple[str, ...]:
    """Catalogue names, without aliases: of all widths, or of `width` bits."""
    return tuple(entry.crc.name for entry in ENTRIES if width in (None, entry.crc.width))


def find_crc(name: str) -> Crc:
    """The CRC that the catalogue knows by `name` or alias, upper or lower case.

    Raises:
        PacketcodecError: no such CRC; the message names the nearest one.
    """
    crc = _BY_NAME.get(name.upper())
    if crc is None:
        near = nearest(name.upper(), _BY_NAME)
        hint = f": did you mean {near}?" if near else ""
        raise PacketcodecError(f'CRC "{name}" is not in the catalogue for 8, 16, 24 and 32 bits{hint}')
    return crc


def default_crc(width: int, data_bits: int) -> Crc:
    """The CRC that a new schema starts with: a large distance at this length, and not the modem's polynomial.

    Args:
        width: 8, 16, 24 or 32.
        data_bits: longest packet without its check, in bits; 1 or more.

    Raises:
        PacketcodecError: an argument outside its range.
    """
    if width not in WIDTHS:
        raise PacketcodecError(f"check of {width} bits: not one of 8, 16, 24, 32")
    if data_bits < 1:
        raise PacketcodecError(f"check over {data_bits} bits of data: fewer than 1")
    return find_crc(next(name for bits, name in _DEFAULTS[width] if bits is None or data_bits <= bits))
