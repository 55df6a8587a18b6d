"""What each width of check would cost in airtime, and leave undetected, at a layout's length."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from packetcodec.cli.tables.figures import milliseconds
from packetcodec.cli.tables.sheet import Sheet, table
from packetcodec.crc import MODEM_NOTE, WIDTHS, Crc, default_crc
from packetcodec.crc.distance import joint_check_bits, packet_distance
from packetcodec.radio import LoRa
from packetcodec.schema import MAX_BYTES
from packetcodec.wire import LayoutPlan, Plan

#: Bits of the modem's own payload CRC.
_MODEM_BITS = 16


def choices_table(layout: LayoutPlan, plan: Plan, modems: Sequence[LoRa]) -> Sheet:
    """A table of the schema's own check, of none, and of the default of every width."""
    rows = [
        (
            f"{row['check']} (this schema)" if row["chosen"] else row["check"], row["bytes"], row["distance"],
            *(f"1 in 2^{row[name]}" if row[name] else "all" for name in ("wire_bits", "payload_bits", "noise_bits")),
            *(milliseconds(modem.airtime(row["bytes"])) for modem in modems),
        )
        for row in _rows(layout, plan)
    ]  # fmt: skip
    columns = (
        "check", "bytes", "Hamming\ndistance", "undetected\non a wire", "on air,\nin payload", "on air,\nnoise",
        *(f"SF{modem.spreading_factor}" for modem in modems),
    )  # fmt: skip
    return table(f'Checks for layout "{layout.name}", airtime at 125 kHz', columns, rows, groups=(5, len(modems)))


#: What stands below the tables.
WORDS = (
    "Undetected: the share of packets of random bits that pass. On air the modem checks its own CRC too, and there are two "
    "cases: errors in the payload alone must pass both polynomials, and noise over payload and the modem's CRC passes by "
    "chance, 1 in 2^(16 + width) whatever the polynomials. " + MODEM_NOTE,
    (
        "Where the two polynomials have a common factor, mostly x + 1, the two checks together detect less of the errors in "
        "the payload than their widths add up to: 1 in 2^31 passes instead of 1 in 2^32."
    ),
)


def choices_json(layout: LayoutPlan, plan: Plan, modems: Sequence[LoRa]) -> list[dict[str, Any]]:
    """The same for programs; 1 in 2^bits passes undetected on a wire, on air in the payload, on air in noise."""
    return [
        row | {"airtime_ms": {modem.label: modem.airtime_ms(row["bytes"]) for modem in modems}}
        for row in _rows(layout, plan)
    ]


def _rows(layout: LayoutPlan, plan: Plan) -> Iterator[dict[str, Any]]:
    for crc in _choices(layout, plan):
        size = layout.longest - layout.check_bytes + (crc.size if crc else 0)
        alone = crc.width if crc else 0
        yield {
            "check": f"CRC-{crc.width}" if crc and not crc.name else crc.name if crc else "none",
            "chosen": crc is not None and crc == plan.crc, "bytes": size,
            "distance": str(packet_distance(crc, size)) if crc else "1", "wire_bits": alone,
            "payload_bits": joint_check_bits(crc.polynomial, crc.width) if crc else _MODEM_BITS,
            "noise_bits": _MODEM_BITS + alone,
        }  # fmt: skip


def _choices(layout: LayoutPlan, plan: Plan) -> Iterator[Crc | None]:
    yield None
    body = layout.longest - layout.check_bytes
    defaults = [default_crc(width, body * 8) for width in WIDTHS if body + width // 8 <= MAX_BYTES]
    if plan.crc is not None and plan.crc not in defaults:
        defaults.append(plan.crc)
    yield from sorted(defaults, key=lambda crc: crc.width)
