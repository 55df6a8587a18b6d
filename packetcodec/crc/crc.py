"""One cyclic redundancy check: its parameters, its value, its code word.

Owns one rule: how a check is computed and in which byte order it is appended. An unreflected CRC goes high
byte first and a reflected one low byte first, so that the whole packet is a code word of the polynomial: a
decoder needs one call over the whole packet, whose result is the `residue`, and every burst of errors up to
the width of the check is noticed. (In the other order bits only trade places: the Hamming distance stays, but
bursts across the seam between data and check can slip through.)

Parameters are those of the public RevEng catalogue: `polynomial` in normal form without its top bit,
`initial` the register before the first byte. In the catalogue's model the register is unreflected even where
the bytes are reflected; that is the form in which this module takes and gives registers.

>>> ibm = Crc("CRC-16/IBM-3740", 16, 0x1021, initial=0xFFFF, reflected=False, xor_out=0)
>>> hex(ibm.check_value())
'0x29b1'
>>> packet = ibm.append(b"cow 12")
>>> ibm.function()(packet) == ibm.residue()
True
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Final, Literal, cast

from crcmod import mkCrcFun

from packetcodec.errors import PacketcodecError
from packetcodec.frozen import Frozen, kept

if TYPE_CHECKING:
    from collections.abc import Callable

    _Engine = Callable[[bytes, int, object], int]

WIDTHS: Final = (8, 16, 24, 32)
"""Bits that a check may have."""

CHECK_INPUT: Final = b"123456789"
"""What the catalogue computes the check value of each CRC over."""

MODEM_POLYNOMIAL: Final = 0x1021
"""Polynomial of the payload CRC that a LoRa modem appends itself (16 bits, start 0).

Source: read in the decoder gr-lora_sdr (lib/add_crc_impl.cc), which was reverse-engineered; not a maker's
document.
"""

MODEM_NOTE: Final = (
    "The LoRa modem's own payload CRC (16 bits, 0x1021) covers the air only, not the serial line between "
    "radio and host. An application CRC with the same polynomial adds nothing behind it: errors in the "
    "payload that escape one escape both."
)
"""What to know about a check behind the modem's own."""


class Crc(Frozen):
    """The parameters of a CRC, as the RevEng catalogue lists them.

    Attributes:
        name: catalogue name, or any name of the user's for own parameters.
        width: 8, 16, 24 or 32 bits.
        polynomial: normal form (highest power first) without the top bit; odd.
        initial: register before the first byte, 0 .. 2**width - 1.
        reflected: bytes enter, and the check leaves, lowest bit first (refin and refout of the catalogue).
        xor_out: XORed with the register to give the check, 0 .. 2**width - 1.

    Raises:
        PacketcodecError: a parameter outside its range, or a polynomial that is no use as a check.

    >>> crc = Crc("own", 16, 0x5935, initial=0xFFFF, reflected=False, xor_out=0)
    >>> crc.append(b"cow 12").hex()
    '636f77203132cc0a'
    """

    name: str
    width: int
    polynomial: int
    initial: int
    reflected: bool
    xor_out: int

    def __post_init__(self) -> None:
        demand_generator(self.polynomial, self.width, name=self.name)
        self._demand("initial", self.initial)
        self._demand("xor_out", self.xor_out)

    @kept
    def size(self) -> int:
        """Bytes of the check."""
        return self.width // 8

    @kept
    def append_order(self) -> Literal["big", "little"]:
        """Byte order in which the check is appended so that the whole packet is a code word."""
        return "little" if self.reflected else "big"

    @kept
    def _functions(self) -> dict[int | None, Callable[[bytes], int]]:
        """Register to `function` of it, once it was asked for: making one takes a millisecond."""
        return {}

    def of(self, data: bytes, seed: int | None = None) -> int:
        """CRC of `data`, from the register `seed` (default: `initial`)."""
        return self.function(seed)(data)

    def append(self, data: bytes, seed: int | None = None) -> bytes:
        """`data` with its check behind it: a whole code word."""
        return bytes(data) + self.of(data, seed).to_bytes(self.size, self.append_order)

    def check_value(self) -> int:
        """CRC of the nine ASCII bytes ``123456789``, the value a catalogue lists as its check."""
        return self.of(CHECK_INPUT)

    def register_after(self, data: bytes) -> int:
        """Register after `data`; ``of(b, seed=register_after(a)) == of(a + b)``."""
        register = self.of(data) ^ self.xor_out
        return self.as_run(register)

    def as_run(self, number: int) -> int:
        """A register or the polynomial in the direction in which the register runs: mirrored where bytes are reflected."""
        return mirrored(number, self.width) if self.reflected else number

    def function(self, initial: int | None = None) -> Callable[[bytes], int]:
        """The fastest callable ``bytes -> CRC`` from the register `initial` (default: `self.initial`)."""
        found = self._functions.get(initial)
        if found is None:
            register = self.initial if initial is None else initial
            self._demand("initial", register)
            found = _compiled(self.width, self.polynomial, register, self.reflected, self.xor_out)
            self._functions[initial] = found
        return found

    def engine(self, initial: int | None = None) -> tuple[_Engine, object, int]:
        """The C function below `function`, its table and its start, for compiled codecs.

        ``f(data, start, table)`` is the register after `data`, without `xor_out` and in the direction in
        which it runs. It saves the call of a Python function per packet.
        """
        # The library's functions take (data, crc, table, fun); all but the data have defaults.
        defaults = cast("tuple[int, object, _Engine]", self.function(initial).__defaults__)
        start, table, function = defaults
        return function, table, start ^ self.xor_out

    def residue(self, initial: int | None = None) -> int:
        """What `function` returns over every whole code word (data and appended check).

        It is the same for every `initial`. The residue that the catalogue lists is this one without
        `xor_out`: ``residue() ^ xor_out``.
        """
        return self.function(initial)(self.append(b"", initial))

    def _demand(self, what: str, number: int) -> None:
        if not 0 <= number < 1 << self.width:
            raise PacketcodecError(f"{self.name}: {what} {number:#x} is outside 0..{(1 << self.width) - 1:#x}")


def demand_generator(polynomial: int, width: int, *, name: str = "CRC") -> None:
    """Refuse what is no generator of a check: a width other than 8, 16, 24, 32, or an even polynomial.

    Raises:
        PacketcodecError: with `name` in front, the bound and the value.
    """
    if width not in WIDTHS:
        raise PacketcodecError(f"{name}: width {width} is not one of 8, 16, 24, 32 bits")
    if not 0 < polynomial < 1 << width:
        largest = (1 << width) - 1
        raise PacketcodecError(
            f"{name}: polynomial {polynomial:#x} is outside 0x1..{largest:#x} (its top bit is not written)"
        )
    if polynomial % 2 == 0:
        raise PacketcodecError(
            f"{name}: polynomial {polynomial:#x} is even: without the term +1 its last check bit never "
            "changes (give the normal form, not the reversed or Koopman's notation)"
        )


def mirrored(number: int, width: int) -> int:
    """The lowest `width` bits of a number in the opposite order.

    >>> f"{mirrored(0b0011_0001, 8):08b}"
    '10001100'
    """
    return int(f"{number:0{width}b}"[::-1], 2)


@lru_cache(maxsize=512)
def _compiled(
    width: int,
    polynomial: int,
    initial: int,
    reflected: bool,  # noqa: FBT001 - positional, as the key of the cache
    xor_out: int,
) -> Callable[[bytes], int]:
    # The library wants the polynomial with its top bit, and the start as the CRC of no bytes at all: in the
    # direction in which the register runs, and already XORed with the final value.
    register = mirrored(initial, width) if reflected else initial
    function = mkCrcFun(1 << width | polynomial, initCrc=register ^ xor_out, rev=reflected, xorOut=xor_out)
    return cast("Callable[[bytes], int]", function)
