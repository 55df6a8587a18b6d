"""The modem as options of a command: LoRa in its generations, (G)FSK, LR-FHSS.

Owns one rule: which settings belong to which modem. What a modem refuses is said by `packetcodec.radio`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from packetcodec.cli.options.usage import given, one_of, wrong_option
from packetcodec.radio import (
    BANDWIDTHS,
    BANDWIDTHS_2G4,
    CHIPS,
    CODING_RATES,
    LOW_DATA_RATE_REMARK,
    Fsk,
    LoRa,
    LoRa2G4,
    LrFhss,
    Modem,
)

#: Chips of the one sort send below this, those of the other above it.
_AMID_HZ = 10**9
_2G4 = "sx128x"
_2G4_DEFAULT_HZ = 812_500
_NARROW, _WIDE = ({f"{hertz / 1000:g}": hertz for hertz in row} for row in (BANDWIDTHS, BANDWIDTHS_2G4))
#: Coding rates, and whether the interleaving is long, which it is at 2.4 GHz only.
_RATES = {f"4/{rate}": (rate, False) for rate in (5, 6, 7, 8)} | {f"LI 4/{rate}": (rate, True) for rate in (5, 6, 8)}
#: Header blocks of LR-FHSS as the LoRaWAN data rates send them; the others from memory.
_HEADERS = {"1/3": 3, "2/3": 2, "1/2": 2, "5/6": 2}


def _factors(_context: click.Context, _option: click.Parameter, text: str) -> list[int]:
    found: list[int] = []
    try:
        for part in text.upper().replace("SF", "").split(","):
            first, dash, last = part.partition("-")
            found += range(int(first), min(int(last if dash else first), int(first) + 99) + 1)  # no modem has that many
    except ValueError:
        raise click.BadParameter(f"{text} is not like 7-12 or 7,9,12") from None
    if not found:
        raise click.BadParameter(f"{text} holds no spreading factor")
    return list(dict.fromkeys(found))


def factors_option(default: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """The option --sf; a command without other settings of a radio gives its value to `lora_of`."""
    words = "Spreading factors, such as 7-12 or 7,9,12."
    return click.option("--sf", "spreading_factor", default=default, show_default=True, help=words, callback=_factors)


#: Settings of the LoRa modem, which mean nothing with another one, by what the library calls them.
_LORA: dict[str, tuple[str, dict[str, Any]]] = {
    "bandwidth_hz": ("--bandwidth", one_of(
        _NARROW | _WIDE, metavar="KHZ", default="125", show_default=True,
        help=f"LoRa bandwidth: {', '.join(_NARROW)}; at 2.4 GHz {', '.join(_WIDE)} "
        f"(default there: {_2G4_DEFAULT_HZ / 1000:g}).",
    )),
    "coding_rate": ("--coding-rate", one_of(
        _RATES, default="4/5", show_default=True, help="Coding rate; those with LI (long interleaving) at 2.4 GHz only."
    )),
    "preamble": ("--preamble", {"type": int, "default": 8, "show_default": True, "help": "Preamble symbols."}),
    "implicit_header": ("--implicit-header", {"is_flag": True, "help": "LoRa without its explicit header."}),
    "no_payload_crc": ("--no-payload-crc", {"is_flag": True, "help": "LoRa without the modem's own payload CRC."}),
    "low_data_rate": ("--low-data-rate", one_of(
        {"auto": None, "on": True, "off": False}, default="auto", show_default=True,
        help=f"The modem's low-data-rate optimization. {LOW_DATA_RATE_REMARK}",
    )),
    "chip": ("--chip", {
        "type": click.Choice([*CHIPS, _2G4]), "default": CHIPS[0], "show_default": True,
        "help": f"Generation of the LoRa modem; {_2G4} is the one at 2.4 GHz, and the default there.",
    }),
}  # fmt: skip


def lora_of(spreading_factor: list[int], make: Callable[..., Any] = LoRa, **how: Any) -> tuple[Any, ...]:
    """LoRa, at 125 kHz and coding rate 4/5 where nothing else is said, with each of the spreading factors."""
    with wrong_option():
        return tuple(make(spreading_factor=factor, **how) for factor in spreading_factor)


def modem_options() -> list[Callable[[Callable[..., Any]], Callable[..., Any]]]:
    """The options, in the order of their help."""
    return [
        factors_option("7-12"),
        *(click.option(option, name, **how) for name, (option, how) in _LORA.items()),
        click.option("--fsk", "bit_rate", metavar="BIT/S", type=int, help="(G)FSK at this bit rate instead of LoRa."),
        click.option(
            "--lr-fhss", type=click.Choice(list(CODING_RATES)), help="LR-FHSS at this coding rate instead of LoRa."
        ),
    ]


def chip_of(chip: str, lowest_hz: int) -> str:
    """The chip: where none is said, the one that sends at the frequencies of a region."""
    return _2G4 if lowest_hz > _AMID_HZ and not given("chip") else chip


def demand_chip(modems: tuple[Modem, ...], frequency_hz: int) -> None:
    """Refuse a LoRa modem that does not send at a frequency.

    Raises:
        UsageError: it does not.
    """
    high = frequency_hz > _AMID_HZ
    if any(isinstance(modem, LoRa if high else LoRa2G4) for modem in modems):
        low_chips, megahertz = " and ".join(CHIPS), f"{frequency_hz / 1e6:g} MHz"
        words = (f"{low_chips} send below 1 GHz", _2G4) if high else (f"{_2G4} sends at 2.4 GHz", low_chips)
        raise click.UsageError(f"--chip: {words[0]}; for {megahertz} it is {words[1]}")


def modems_of(*, bit_rate: int | None, lr_fhss: str | None, **lora: Any) -> tuple[Modem, ...]:
    """The modems that the options say."""
    if bit_rate is None and lr_fhss is None:
        return _lora_modems(**lora)
    other = "--lr-fhss" if bit_rate is None else "--fsk"
    for name, option in (("spreading_factor", "--sf"), *((name, option) for name, (option, _) in _LORA.items())):
        if given(name):
            raise click.UsageError(f"{option}: is about LoRa, and {other} sends without it")
    if bit_rate is not None and lr_fhss is not None:
        raise click.UsageError("--lr-fhss: --fsk is given too, a packet is sent by one modem")
    with wrong_option():
        if bit_rate is not None:
            return (Fsk(bit_rate=bit_rate),)
        return (LrFhss(coding_rate=lr_fhss or "", headers=_HEADERS[lr_fhss or ""]),)


def _lora_modems(
    *, spreading_factor: list[int], chip: str, coding_rate: tuple[int, bool], implicit_header: bool, no_payload_crc: bool,
    low_data_rate: bool | None, **how: Any,
) -> tuple[Modem, ...]:  # fmt: skip
    rate, long = coding_rate
    how |= {"coding_rate": rate, "explicit_header": not implicit_header, "payload_crc": not no_payload_crc}
    if chip == _2G4:
        if low_data_rate is not None:
            raise click.UsageError(f"--low-data-rate: {chip} decides itself, on at SF11 and SF12")
        if not given("bandwidth_hz"):
            how["bandwidth_hz"] = _2G4_DEFAULT_HZ
        return lora_of(spreading_factor, LoRa2G4, long_interleaving=long, **how)
    if long:
        raise click.UsageError(f"--coding-rate: LI 4/{rate} is for --chip {_2G4} only")
    if 6 in spreading_factor and chip == "sx127x" and not implicit_header:
        raise click.UsageError(f"--sf: SF6 on chip {chip} has no explicit header: give --implicit-header too")
    return lora_of(spreading_factor, chip=chip, low_data_rate=low_data_rate, **how)
