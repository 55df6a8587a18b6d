/* On an ATmega328P: clock cycles and stack of encoding and of decoding one record, printed through the UART.
 * A line: bytes, cycles to encode, stack to encode, cycles to decode, stack to decode, whether the record came back, a
 * digest of the packet. Without DECODE, only the figures of encoding mean anything. */
#include "clock.h"

#include <stddef.h>
#include <stdint.h>
#include <string.h>

#if defined NANOPB
#include "record.pb.h"
#include <pb_decode.h>
#include <pb_encode.h>
#define RECORD Record
#else
#include "pasture_packets.h"
#if defined TRACK
#define RECORD pasture_track
#else
#define RECORD pasture_position
#endif
#if defined DECODE
static pasture_packet packet;
#endif
#endif
#include "records.h" /* static const RECORD records[] */

extern uint8_t _end;
static uint8_t data[64];
static RECORD record;
#if defined NANOPB && defined DECODE
static RECORD back;
#endif

static uint8_t *paint(void)
{
    uint8_t *p = &_end, *top = (uint8_t *)SP - 8;
    while (p < top) *p++ = 0xa5;
    return p;
}

static uint16_t used(uint8_t *top)
{
    uint8_t *p = &_end;
    while (p < top && *p == 0xa5) p++;
    return (uint16_t)(top - p + 8);
}

static size_t encode(void) /* apart, so that its own frame is measured too */
{
#if defined NANOPB
    pb_ostream_t out = pb_ostream_from_buffer(data, sizeof data);
    pb_encode(&out, Record_fields, &record);
    return out.bytes_written;
#else
    size_t length = 0;
#if defined TRACK
    pasture_encode_track(&record, data, sizeof data, &length, NULL);
#else
    pasture_encode_position(&record, data, sizeof data, &length, NULL);
#endif
    return length;
#endif
}

static uint8_t decode(size_t length)
{
#if !defined DECODE
    return length > 0;
#elif defined NANOPB
    pb_istream_t in = pb_istream_from_buffer(data, length);
    return pb_decode(&in, Record_fields, &back) && back.counter == record.counter && back.latitude_e7 == record.latitude_e7;
#else
    return pasture_decode(&packet, data, length, NULL) == PASTURE_OK;
#endif
}

int main(void)
{
    uint16_t i;
    UCSR0B = 1 << TXEN0;
    TCCR1B = 1;
    TIMSK1 = 1;
    sei();
    for (i = 0; i < sizeof records / sizeof *records; i++) {
        uint32_t start, encoded, decoded;
        uint16_t first, second, digest;
        uint8_t *top, same;
        size_t length, n;
        memcpy(&record, &records[i], sizeof record);
        top = paint();
        start = now();
        length = encode();
        encoded = now() - start;
        first = used(top);
        top = paint();
        start = now();
        same = decode(length);
        decoded = now() - start;
        second = used(top);
        for (digest = 0, n = 0; n < length; n++) digest = (uint16_t)(31 * digest + data[n]);
        print(length); print(encoded); print(first); print(decoded); print(second); print(same); print(digest);
        UDR0 = '\n';
    }
    cli();
    sleep_mode();
    for (;;) {
    }
}
