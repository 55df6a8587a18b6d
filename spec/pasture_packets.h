/* pasture, version 1: encoder and decoder of its packets. Fingerprint 7985ffc5412132c8.
 * Collars on a summer pasture report where they are to a receiver in the hut.
 *
 * Written by packetcodec from the schema alone: change the schema and write it again instead of editing here.
 * This file is yours, free of any condition, and comes without warranty.
 *
 * Values are whole numbers of base units, as each member says; "step" is what a receiver can tell apart. A packet
 * travels in clear: whoever receives it can read it. No life-saving device may depend on it.
 *
 * No macro changes what stands here. What a device does not need is left out when these files are written
 * (packetcodec emit c --layout NAME --only encode); the rest falls to a linker with -ffunction-sections
 * -fdata-sections -Wl,--gc-sections.
 */
#ifndef PASTURE_PACKETS_H
#define PASTURE_PACKETS_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define PASTURE_FINGERPRINT "7985ffc5412132c8"
#define PASTURE_VERSION 1
#define PASTURE_MAX_BYTES 32 /* of any packet here */

/* What is wrong with a packet; the first fault in this order is given. */
typedef enum {
    PASTURE_OK,
    PASTURE_TOO_SHORT,
    PASTURE_TOO_LONG,
    PASTURE_UNKNOWN_VERSION,
    PASTURE_UNKNOWN_LAYOUT,
    PASTURE_BAD_CHECK,
    PASTURE_BAD_PADDING,
    PASTURE_OUT_OF_RANGE,
    PASTURE_BAD_TRAIL
} pasture_fault;

/* Layout "position": Sent at every interval. Without a fix, the position is absent and fix_quality is 0. */
#define PASTURE_POSITION_ID 1
#define PASTURE_POSITION_BYTES 14 /* always */
typedef struct {
    /* number, 0..255 */
    uint32_t collar;
    /* count, 0..255; beyond: wrapped */
    uint32_t counter;
    /* 1e-7 degree, -900000000..900000000 (-90..90 degrees), step 223 (0.0000223 °) */
    int32_t latitude_e7;
    /* 1e-7 degree, -1800000000..1800000000 (-180..180 degrees), step 224 (0.0000224 °) */
    int32_t longitude_e7;
    /* centimetre, -50000..900000 (-500..9000 m), step 233 (2.33 m); beyond: clipped */
    int32_t altitude_cm;
    /* millivolt, 2500..4500 (2.5..4.5 V), step 20 (0.02 V); beyond: clipped */
    int32_t battery_mv;
    /* number of the GGA sentence, 0..7 */
    uint32_t fix_quality;
    uint8_t has_latitude; /* 1 where latitude is known, 0 where it is absent */
    uint8_t has_longitude; /* 1 where longitude is known, 0 where it is absent */
    uint8_t has_altitude; /* 1 where altitude is known, 0 where it is absent */
} pasture_position; /* 31 bytes of RAM, 32 where longs are aligned */

/* Layout "track": The position and the last ten points before it: a packet that is lost leaves no hole. */
#define PASTURE_TRACK_ID 2
#define PASTURE_TRACK_BYTES 32 /* at most */
#define PASTURE_TRACK_MIN_BYTES 15 /* without points */
#define PASTURE_TRACK_POINTS 10
#define PASTURE_TRACK_SPACING_S 30 /* seconds from point to point */
#define PASTURE_TRACK_MEMORY 42 /* positions that a memory of the trail holds */
/* An earlier position, 30 s from point to point.
 * It arrives within half a cell of where it was; cells are 223 units of latitude high and as wide.
 * What does not fit a packet is left out with all older points: too many bytes, too far away.
 * A packet without a position of its own carries no points, but they are looked at. */
typedef struct {
    int32_t latitude_e7; /* 1e-7 degree, -900000000..900000000 */
    int32_t longitude_e7; /* 1e-7 degree, -1800000000..1800000000 */
} pasture_track_point;
typedef struct {
    /* number, 0..255 */
    uint32_t collar;
    /* count, 0..255; beyond: wrapped */
    uint32_t counter;
    /* 1e-7 degree, -900000000..900000000 (-90..90 degrees), step 223 (0.0000223 °) */
    int32_t latitude_e7;
    /* 1e-7 degree, -1800000000..1800000000 (-180..180 degrees), step 224 (0.0000224 °) */
    int32_t longitude_e7;
    /* centimetre, -50000..900000 (-500..9000 m), step 233 (2.33 m); beyond: clipped */
    int32_t altitude_cm;
    /* millivolt, 2500..4500 (2.5..4.5 V), step 20 (0.02 V); beyond: clipped */
    int32_t battery_mv;
    /* number of the GGA sentence, 0..7 */
    uint32_t fix_quality;
    uint8_t has_latitude; /* 1 where latitude is known, 0 where it is absent */
    uint8_t has_longitude; /* 1 where longitude is known, 0 where it is absent */
    uint8_t has_altitude; /* 1 where altitude is known, 0 where it is absent */
    uint8_t trail_count; /* points that follow, 0..10 */
    pasture_track_point trail[10]; /* newest first; a point's place is its age */
} pasture_track; /* 112 bytes of RAM, 112 where longs are aligned */
/* The positions of which its trail is made, newest first. Set all of it to 0 before the first use. */
typedef struct {
    struct {
        pasture_track_point point;
        uint32_t time_s;
    } slots[42];
    uint8_t count;
} pasture_track_memory; /* 505 bytes of RAM, 508 where longs are aligned */

/* Layout "status": Sent now and then: how the collar and its wearer are doing. */
#define PASTURE_STATUS_ID 3
#define PASTURE_STATUS_BYTES 12 /* always */
#define PASTURE_STATUS_ACTIVITY_RESTING 0
#define PASTURE_STATUS_ACTIVITY_GRAZING 1
#define PASTURE_STATUS_ACTIVITY_WALKING 2
#define PASTURE_STATUS_ACTIVITY_ALARM 3
#define PASTURE_STATUS_TIME_EPOCH (1767225600L) /* Unix time of 0 */
typedef struct {
    /* number, 0..255 */
    uint32_t collar;
    /* count, 0..255; beyond: wrapped */
    uint32_t counter;
    /* one of the names above, 0..3 */
    uint32_t activity;
    /* 0.1 °C, -400..600 (-40..60 °C), step 5 (0.5 °C); beyond: clipped */
    int32_t temperature_e1;
    /* satellite, 0..30; beyond: clipped */
    int32_t satellites;
    /* 0.01, 0..1240 (0..12.4), step 20 (0.2); beyond: clipped */
    int32_t hdop_e2;
    /* millivolt, 2500..4500 (2.5..4.5 V), step 20 (0.02 V); beyond: clipped */
    int32_t battery_mv;
    /* the collar saw the gate's beacon open: 0 no, 1 yes, 0..1 */
    uint32_t gate_open;
    /* second, 0..62914500 since Unix time 1767225600, step 60 */
    int32_t time_s;
    uint8_t has_activity; /* 1 where activity is known, 0 where it is absent */
    uint8_t has_temperature; /* 1 where temperature is known, 0 where it is absent */
    uint8_t has_satellites; /* 1 where satellites is known, 0 where it is absent */
    uint8_t has_hdop; /* 1 where hdop is known, 0 where it is absent */
} pasture_status; /* 40 bytes of RAM, 40 where longs are aligned */

/* On an AVR (ATmega328P, avr-gcc -Os) a packet takes at most, interrupts not counted; no worst record of many random
 * schemas took more in a simulator (benchmarks/firmware_worst.py of packetcodec):
 * position: to encode 8800 cycles and 211 bytes of stack; to decode 6800 cycles and 229 bytes of stack
 * track: to encode 186500 cycles and 242 bytes of stack; to decode 141600 cycles and 340 bytes of stack
 * status: to encode 8500 cycles and 211 bytes of stack; to decode 7400 cycles and 229 bytes of stack
 */

/* Write a packet to the buffer at `to`, and its number of bytes to *length.
 *
 * capacity: bytes of the buffer. A packet of fixed length needs ..._BYTES, one with a trail at least ..._MIN_BYTES; its
 * points are as many of the newest as fit.
 * field: may be NULL. On OUT_OF_RANGE it gets the place of the value at fault among those of the struct, counted
 * from 0; a trail counts as the one behind the last.
 * No other pointer may be NULL.
 *
 * PASTURE_OUT_OF_RANGE: a value that may not be sent; PASTURE_TOO_SHORT: too little capacity.
 * On a fault *length is untouched. Bytes of the buffer behind *length, up to capacity, may have been written to; on
 * a fault, any of them. */
pasture_fault pasture_encode_position(
    const pasture_position *from, uint8_t *to, size_t capacity, size_t *length, uint8_t *field);
pasture_fault pasture_encode_track(
    const pasture_track *from, uint8_t *to, size_t capacity, size_t *length, uint8_t *field);
pasture_fault pasture_encode_status(
    const pasture_status *from, uint8_t *to, size_t capacity, size_t *length, uint8_t *field);

/* A memory makes the trail of a packet by itself, without the two mistakes that are easily made by hand:
 *  - Where the spacing is fixed, a point's place in the trail is its age: point k is where the tracker was k spacings
 *    before the packet, and a moment without a fix ends the list. Points that close up over a gap would arrive as
 *    positions at times when the tracker was elsewhere.
 *  - Where ages are coded they must be those before this packet, not before the last one.
 *
 * time_s: seconds of a clock of the tracker's own, from any beginning; it may go over 2^32. Where it goes back, what
 * was before is forgotten.
 *
 * remember: call it for each fix that has a position, at the time of the fix; not where there is none. Point k is the
 * last position in the half spacing before its moment. Positions that come at most every half spacing are all kept; of
 * closer ones so many that each half spacing that had a position has one, so the list ends at gaps alone.
 *
 * recall: sets the trail of a packet whose own position is that of time_s. Positions from then on are left out, so it
 * may be called before or after this position is remembered.
 *
 * No pointer may be NULL. */
void pasture_remember_track(pasture_track_memory *memory, const pasture_track_point *point, uint32_t time_s);
void pasture_recall_track(const pasture_track_memory *memory, uint32_t time_s, pasture_track *packet);

/* A packet of any layout: its id (PASTURE_..._ID) and what it says. */
typedef struct {
    uint8_t layout;
    union {
        pasture_position position;
        pasture_track track;
        pasture_status status;
    } as;
} pasture_packet;

/* Read a packet of `length` bytes at `data`. On a fault *packet is untouched. Values that are absent are 0, with 0 in
 * their has_ member.
 *
 * field: may be NULL. On OUT_OF_RANGE it gets the place of the value at fault among the values of the struct, from 0.
 * data may be NULL where length is 0; packet may not. */
pasture_fault pasture_decode(
    pasture_packet *packet, const uint8_t *data, size_t length, uint8_t *field);

/* What receivers print, as whole numbers. No pointer may be NULL. Where a text is no such number, PASTURE_OUT_OF_RANGE
 * is returned and the number is untouched. */

/* Degrees and minutes ("4630.7404", its hemisphere 'N', 'S', 'E' or 'W') in 1e-7 degree, rounded to the nearest,
 * halves away from zero; reading ends at the first character that is no digit or point. Refused are minutes of 60 or
 * more, what is beyond 90 or 180 degrees, and fewer than four digits before the point, as decimal degrees have. */
pasture_fault pasture_degrees(int32_t *e7, const char *digits, char hemisphere);

/* A number with decimals times 10^places, rounded to the nearest, halves away from zero: "-3.25" is -325 with 2 places.
 * Decimal degrees in 1e-7 degree take 7 places, metres in centimetres 2. A sign may stand in front; reading ends at the
 * first character that is no digit or point. Refused is what has no digit or is beyond 2147483647 either way. */
pasture_fault pasture_decimal(int32_t *to, const char *digits, uint8_t places);

/* UTC date ("ddmmyy", years 2000 to 2099) and time ("hhmmss"; what follows is not looked at) in seconds since 1970
 * began, as Unix counts them. A time with an epoch counts from its ..._EPOCH: take that away. Second 60, a leap second,
 * is the first one of the next minute. */
pasture_fault pasture_seconds(uint32_t *to, const char *date, const char *time);

#ifdef __cplusplus
}
#endif

#endif
