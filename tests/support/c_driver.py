"""A program around emitted C that decodes packets, encodes what they say again, and prints digests of all that
came out.

The digest is CRC-32 over one record a packet: the fault's number; after no fault the layout's id, every member
as four bytes, the presence bytes, the points, and the packet that encoding gives. `record` says the same of the
Python codec.
"""

from __future__ import annotations

import zlib
from typing import TYPE_CHECKING

from packetcodec import STATUSES, PacketFault, Plan
from packetcodec.emit.c.names import c_plan
from packetcodec.wire import Point, from_raw, pack, unpack

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

BLOCK = 1000


def packed(data: Iterable[bytes]) -> bytes:
    """Packets as the program reads them: a byte that says how long, then the packet."""
    return b"".join(bytes([len(item)]) + item for item in data)


def record(plan: Plan, data: bytes) -> bytes:
    """What the program feeds to its digest for a packet, by the Python codec's plan."""
    try:
        _, layout, codes, points = unpack({plan.version: plan}, data)
    except PacketFault as fault:
        return bytes([STATUSES.index(fault.status)])
    said = bytearray([0, layout.id])
    for field, raw in zip(layout.fields, codes, strict=True):
        said += _word(0 if raw == field.absent_code else from_raw(field, raw))
    said += bytes(
        raw != field.absent_code for field, raw in zip(layout.fields, codes, strict=True) if field.absent_code is not None
    )
    if layout.trail:
        said.append(len(points))
        for point in points:
            said += _word(point.latitude) + _word(point.longitude)
            if layout.trail.altitude:
                said += _word(-(2**31) if point.altitude is None else point.altitude)
            if layout.trail.interval_seed:
                said += _word(point.age or 0)
        again = pack(plan, layout, codes, [Point(*point) for point in points])
    else:
        again = data  # what a decoder accepts, it encodes again to the same bytes
    return bytes(said) + bytes([len(again)]) + again


def _word(number: int) -> bytes:
    return (number % 2**32).to_bytes(4, "little")


def digests(plan: Plan, data: Iterable[bytes]) -> Iterator[str]:
    """The lines that the program prints."""
    crc = 0
    for count, item in enumerate(data, 1):
        crc = zlib.crc32(record(plan, item), crc)
        if count % BLOCK == 0:
            yield f"{crc:08x}"
    yield f"{crc:08x}"


def program(plan: Plan) -> str:
    """The program in C; with EMBEDDED, for an AVR, it takes the packets of packets.h and prints the last digest
    through its UART."""
    c = c_plan(plan)
    feeds = []
    for layout in c.layouts:
        trail = layout.plan.trail
        feeds.append(f"    if (id == {layout.plan.id}) {{ const {layout.type} *p = &packet.as.{layout.member};")
        feeds += [f"        word((uint32_t)p->{member.name});" for member in layout.members]
        feeds += [f"        byte(p->{member.has});" for member in layout.optional]
        if trail:
            feeds.append("        byte(p->trail_count);")
            feeds.append("        for (uint8_t i = 0; i < p->trail_count; i++) {")
            feeds.append("            word((uint32_t)p->trail[i].latitude_e7); word((uint32_t)p->trail[i].longitude_e7);")
            if trail.altitude:
                feeds.append("            word((uint32_t)p->trail[i].altitude_cm);")
            if trail.interval_seed:
                feeds.append("            word(p->trail[i].age_s);")
            feeds.append("        }")
        feeds.append(f"        fault = {layout.encode}(p, again, sizeof again, &length, NULL); }}")
    most = max(layout.longest for layout in plan.layouts)
    text = _C.replace("@PREFIX@", c.prefix).replace("@MAX@", str(most)).replace("@BLOCK@", str(BLOCK))
    return text.replace("@FEEDS@", "\n".join(feeds))


_C = """\
#include "@PREFIX@_packets.h"
#include <string.h>

static uint32_t crc = 0xffffffffUL;

static void byte(uint8_t x)
{
    crc ^= x;
    for (uint8_t i = 0; i < 8; i++) crc = crc & 1 ? crc >> 1 ^ 0xedb88320UL : crc >> 1;
}

static void word(uint32_t x)
{
    for (uint8_t i = 0; i < 4; i++) byte((uint8_t)(x >> 8 * i));
}

static void take(const uint8_t *data, size_t size)
{
    @PREFIX@_packet packet;
    uint8_t again[@MAX@];
    size_t length = 0;
    @PREFIX@_fault fault;
    uint8_t id;

    memset(&packet, 0x5a, sizeof packet);
    fault = @PREFIX@_decode(&packet, data, size, NULL);
    byte((uint8_t)fault);
    if (fault) {
        const uint8_t *p = (const uint8_t *)&packet;
        for (size_t i = 0; i < sizeof packet; i++) if (p[i] != 0x5a) byte(0xee); /* not left alone */
        return;
    }
    id = packet.layout;
    byte(id);
@FEEDS@
    if (fault) { byte(0xef); return; }
    byte((uint8_t)length);
    for (size_t i = 0; i < length; i++) byte(again[i]);
}

#ifdef EMBEDDED
#include "packets.h"
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
static void out(char c) { UDR0 = (uint8_t)c; }

int main(void)
{
    static const char digits[] = "0123456789abcdef";
    const uint8_t *at = packets, *end = packets + sizeof packets;
    uint8_t data[255];
    int8_t i;
    UCSR0B = 1 << TXEN0;
    while (at < end) {
        uint8_t size = pgm_read_byte(at++);
        for (uint8_t n = 0; n < size; n++) data[n] = pgm_read_byte(at++);
        take(data, size);
    }
    crc = ~crc;
    out('=');
    for (i = 28; i >= 0; i = (int8_t)(i - 4)) out(digits[crc >> i & 15]);
    out('\\n');
    cli();
    sleep_mode(); /* with interrupts off it ends the simulation */
    return 0;
}
#else
#include <stdio.h>
#include <stdlib.h>
int main(void)
{
    unsigned long count = 0;
    int size;
    while ((size = getchar()) != EOF) {
        uint8_t *data = malloc(size ? (size_t)size : 1); /* exactly as long: a sanitizer sees every byte too far */
        if (!data || fread(data, 1, (size_t)size, stdin) != (size_t)size) return 1;
        take(data, (size_t)size);
        free(data);
        if (++count % @BLOCK@ == 0) printf("%08lx\\n", (unsigned long)(~crc & 0xffffffffUL));
    }
    printf("%08lx\\n", (unsigned long)(~crc & 0xffffffffUL));
    return 0;
}
#endif
"""
