/* A program that encodes or decodes one record, or does neither: the difference of two such programs is what the code takes. */
#include <stddef.h>
#include <stdint.h>

#if defined NANOPB
#include "record.pb.h"
#include <pb_decode.h>
#include <pb_encode.h>
__attribute__((used)) static Record record;
#else
#include "pasture_packets.h"
#if defined TRACK
__attribute__((used)) static pasture_track record;
#else
__attribute__((used)) static pasture_position record;
#endif
#if defined DECODE || defined PACKET
#define TAKES_PACKET
__attribute__((used)) static pasture_packet packet;
#endif
#endif

__attribute__((used)) volatile uint8_t sink; /* keeps the compiler from knowing what goes in and what is used */
__attribute__((used)) static uint8_t data[64];

int main(void)
{
    ((volatile uint8_t *)&record)[sink] = sink;
#if defined NANOPB && defined ENCODE
    {
        pb_ostream_t out = pb_ostream_from_buffer(data, sizeof data);
        sink = pb_encode(&out, Record_fields, &record);
        sink = (uint8_t)out.bytes_written;
    }
#elif defined ENCODE
    {
        size_t length = 0;
#if defined TRACK
        sink = (uint8_t)pasture_encode_track(&record, data, sizeof data, &length, NULL);
#else
        sink = (uint8_t)pasture_encode_position(&record, data, sizeof data, &length, NULL);
#endif
        sink = (uint8_t)length;
    }
#endif
#if defined NANOPB && defined DECODE
    {
        pb_istream_t in = pb_istream_from_buffer(data, sink);
        sink = pb_decode(&in, Record_fields, &record);
    }
#elif defined DECODE
    sink = (uint8_t)pasture_decode(&packet, data, sink, NULL);
#endif
#if defined TAKES_PACKET
    sink = ((volatile uint8_t *)&packet)[sink];
#endif
    sink = ((volatile uint8_t *)&record)[sink];
    sink = ((volatile uint8_t *)data)[sink];
    for (;;) {
    }
}
