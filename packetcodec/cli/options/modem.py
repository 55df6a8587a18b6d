"""The modem as options of a command: LoRa in its generations, (G)FSK, LR-FHSS.

Owns one rule: which settings belong to which modem. What a modem refuses is said by `packetcodec.radio`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from packetcodec.cli.options.usage import wrong_option
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

if TYPE_CHECKING:
    from collections.abc import Callable

_2G4 = "sx128x"
_2G4_DEFAULT = "812.5"
_KHZ = {f"{hertz / 1000:g}": hertz for hertz in (*BANDWIDTHS, *BANDWIDTHS_2G4)}
_NARROW = [f"{hertz / 1000:g}" for hertz in BANDWIDTHS]
_WIDE = [f"{hertz / 1000:g}" for hertz in BANDWIDTHS_2G4]
_RATES = {f"4/{rate}": rate for rate in (5, 6, 7, 8)}
#: With long interleaving, at 2.4 GHz only.
_LONG = {f"LI 4/{rate}": rate for rate in (5, 6, 8)}
#: Header blocks of LR-FHSS as the LoRaWAN data rates send them; the others from memory.
_HEADERS = {"1/3": 3, "2/3": 2, "1/2": 2, "5/6": 2}
_FACTORS_HELP = "Spreading factors, such as 7-12 or 7,9,12."
#: Options of the LoRa modem, which mean nothing with --fsk.
_LORA: dict[str, dict[str, Any]] = {
    "--sf": {"default": "7-12", "show_default": True, "help": _FACTORS_HELP},
    "--bandwidth": {
        "type": click.Choice(list(_KHZ)), "metavar": "KHZ", "default": "125", "show_default": True,
        "help": f"LoRa bandwidth: {', '.join(_NARROW)}; at 2.4 GHz {', '.join(_WIDE)} (default there: {_2G4_DEFAULT}).",
    },
    "--coding-rate": {
        "type": click.Choice([*_RATES, *_LONG]), "default": "4/5", "show_default": True,
        "help": "Coding rate; those with LI (long interleaving) at 2.4 GHz only.",
    },
    "--preamble": {"type": int, "default": 8, "show_default": True, "help": "Preamble symbols."},
    "--implicit-header": {"is_flag": True, "help": "LoRa without its explicit header."},
    "--no-payload-crc": {"is_flag": True, "help": "LoRa without the modem's own payload CRC."},
    "--low-data-rate": {
        "type": click.Choice(["auto", "on", "off"]), "default": "auto", "show_default": True,
        "help": f"The modem's low-data-rate optimization. {LOW_DATA_RATE_REMARK}",
    },
    "--chip": {
        "type": click.Choice([*CHIPS, _2G4]), "default": CHIPS[0], "show_default": True,
        "help": f"Generation of the LoRa modem; {_2G4} is the one at 2.4 GHz.",
    },
}  # fmt: skip


def factors_option(default: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """The option --sf of a command without other settings of a radio; its value is for `modems_of`."""
    return click.option("--sf", default=default, show_default=True, help=_FACTORS_HELP)


def lora_of(sf: str) -> tuple[LoRa, ...]:
    """LoRa at 125 kHz, coding rate 4/5, with the spreading factors of --sf.

    Raises:
        click.UsageError: the text is not of its form, or names a factor that there is not.
    """
    with wrong_option():
        return tuple(LoRa(spreading_factor=factor) for factor in _factors(sf))


def modem_options() -> list[Callable[[Callable[..., Any]], Callable[..., Any]]]:
    """The options, in the order of their help."""
    return [
        *(click.option(name, **how) for name, how in _LORA.items()),
        click.option("--fsk", metavar="BIT/S", type=int, help="(G)FSK at this bit rate instead of LoRa."),
        click.option(
            "--lr-fhss", type=click.Choice(list(CODING_RATES)), help="LR-FHSS at this coding rate instead of LoRa."
        ),
    ]


def modems_of(*, fsk: int | None, lr_fhss: str | None, **lora: Any) -> tuple[Modem, ...]:
    """The modems that the options say.

    Raises:
        click.UsageError: an option that is not of its form, that belongs to another modem, or that the modem refuses.
    """
    if fsk is None and lr_fhss is None:
        return _lora_modems(**lora)
    _refuse_lora_options("--lr-fhss" if fsk is None else "--fsk")
    if fsk is not None and lr_fhss is not None:
        raise click.UsageError("--lr-fhss: --fsk is given too, a packet is sent by one modem")
    with wrong_option():
        if fsk is not None:
            return (Fsk(bit_rate=fsk),)
        return (LrFhss(coding_rate=lr_fhss or "", headers=_HEADERS[lr_fhss or ""]),)


def _given(option: str) -> bool:
    name = option.strip("-").replace("-", "_")
    return click.get_current_context().get_parameter_source(name) is not ParameterSource.DEFAULT


def _refuse_lora_options(other: str) -> None:
    for option in _LORA:
        if _given(option):
            raise click.UsageError(f"{option}: is about LoRa, and {other} sends without it")


def _lora_modems(
    *, sf: str, chip: str, bandwidth: str, coding_rate: str, preamble: int, implicit_header: bool, no_payload_crc: bool,
    low_data_rate: str,
) -> tuple[Modem, ...]:  # fmt: skip
    how: dict[str, Any] = {
        "preamble": preamble, "explicit_header": not implicit_header, "payload_crc": not no_payload_crc,
        "coding_rate": (_RATES | _LONG)[coding_rate], "bandwidth_hz": _KHZ[bandwidth],
    }  # fmt: skip
    make: type[LoRa | LoRa2G4] = LoRa2G4 if chip == _2G4 else LoRa
    if make is LoRa2G4:
        if low_data_rate != "auto":
            raise click.UsageError(f"--low-data-rate: {chip} decides itself, on at SF11 and SF12")
        how["long_interleaving"] = coding_rate in _LONG
        if not _given("--bandwidth"):
            how["bandwidth_hz"] = _KHZ[_2G4_DEFAULT]
    else:
        if coding_rate in _LONG:
            raise click.UsageError(f"--coding-rate: {coding_rate} is for --chip {_2G4} only")
        how |= {"chip": chip, "low_data_rate": {"auto": None, "on": True, "off": False}[low_data_rate]}
    factors = _factors(sf)
    if 6 in factors and chip == "sx127x" and not implicit_header:
        raise click.UsageError(f"--sf: SF6 on chip {chip} has no explicit header: give --implicit-header too")
    with wrong_option():
        return tuple(make(spreading_factor=factor, **how) for factor in factors)


def _factors(text: str) -> list[int]:
    found: list[int] = []
    try:
        for part in text.upper().replace("SF", "").split(","):
            first, _, last = part.partition("-")
            found += range(int(first), min(int(last or first), int(first) + 99) + 1)  # no modem has that many
    except ValueError:
        raise click.UsageError(f"--sf: {text} is not like 7-12 or 7,9,12") from None
    if not found:
        raise click.UsageError(f"--sf: {text} holds no spreading factor")
    return list(dict.fromkeys(found))
