/* pasture, version 1: encoder and decoder of its packets. Fingerprint 7985ffc5412132c8.
 *
 * Written by packetcodec from the schema alone. This file is yours, free of any condition, and comes without warranty.
 * Whole numbers of at most 32 bits, no heap, no recursion, no state between calls.
 */
#include "pasture.h"

#include <string.h>

#if defined __AVR__
#include <avr/pgmspace.h>
#define FLASH PROGMEM
#define FETCH(to, from, size) memcpy_P((to), (from), (size))
#else
#define FLASH
#define FETCH(to, from, size) (*(to) = *(from))
#endif

#ifndef PASTURE_NO_TRACK
#define TRAILS
#endif

#if defined __GNUC__
#define APART __attribute__((noinline)) /* smaller so */
#else
#define APART
#endif

#define WORD(digits) ((uint32_t)digits##UL)

/* How a field is coded: raw = (x - low + step / 2) / step for x in low .. low + span. */
typedef struct {
    uint8_t bits, rules;
    uint32_t low, span, step;
    uint32_t turn; /* from behind this offset on, rounding leads once round the circle to code 0 */
    uint32_t last; /* for the decoder */
} field;

enum { optional = 1, clip = 2, wrap = 4, masked = 8, plain = 16, head = 64 };

typedef struct {
    const field *fields;
    uint16_t id;
    uint8_t count, least, most, padding;
    uint8_t trail;
} layout;

#if !defined PASTURE_NO_POSITION || !defined PASTURE_NO_TRACK
static const field fields0[] FLASH = {
    {8, 16, 0UL, 255UL, 1UL, 4294967295UL, 255UL},
    {8, 24, 0UL, 255UL, 1UL, 255UL, 255UL},
    {23, 65, 3394967296UL, 1800000000UL, 223UL, 4294967295UL, 8071749UL},
    {24, 129, 2494967296UL, 3600000000UL, 224UL, 3599999983UL, 16071428UL},
    {12, 3, 4294917296UL, 950000UL, 233UL, 4294967295UL, 4077UL},
    {7, 2, 2500UL, 2000UL, 20UL, 4294967295UL, 100UL},
    {3, 16, 0UL, 7UL, 1UL, 4294967295UL, 7UL},
};
#endif
#if !defined PASTURE_NO_STATUS
static const field fields1[] FLASH = {
    {8, 16, 0UL, 255UL, 1UL, 4294967295UL, 255UL},
    {8, 24, 0UL, 255UL, 1UL, 255UL, 255UL},
    {3, 17, 0UL, 3UL, 1UL, 4294967295UL, 3UL},
    {8, 3, 4294966896UL, 1000UL, 5UL, 4294967295UL, 200UL},
    {5, 3, 0UL, 30UL, 1UL, 4294967295UL, 30UL},
    {6, 3, 0UL, 1240UL, 20UL, 4294967295UL, 62UL},
    {7, 2, 2500UL, 2000UL, 20UL, 4294967295UL, 100UL},
    {1, 16, 0UL, 1UL, 1UL, 4294967295UL, 1UL},
    {20, 0, 0UL, 62914500UL, 60UL, 4294967295UL, 1048575UL},
};
#endif

static const layout layouts[] FLASH = {
#ifndef PASTURE_NO_POSITION
    {fields0, 17U, 7, 14, 14, 7, 0},
#endif
#ifndef PASTURE_NO_TRACK
    {fields0, 18U, 7, 14, 32, 0, 1},
#endif
#ifndef PASTURE_NO_STATUS
    {fields1, 19U, 9, 12, 12, 63, 0},
#endif
};

/* Places of the layouts in the table. */
enum {
#ifndef PASTURE_NO_POSITION
    layout0,
#endif
#ifndef PASTURE_NO_TRACK
    layout1,
#endif
#ifndef PASTURE_NO_STATUS
    layout2,
#endif
    layoutcount
};

#ifndef PASTURE_NO_POSITION
typedef char pasture_position_members[offsetof(pasture_position, has_latitude) == 28 ? 1 : -1]; /* the members stand one behind the other */
#endif

#ifndef PASTURE_NO_TRACK
typedef char pasture_track_members[offsetof(pasture_track, has_latitude) == 28 && offsetof(pasture_track, trail_count) == 31 && sizeof(pasture_track_point) == 8 ? 1 : -1]; /* the members stand one behind the other */
#endif

#ifndef PASTURE_NO_STATUS
typedef char pasture_status_members[offsetof(pasture_status, has_activity) == 36 ? 1 : -1]; /* the members stand one behind the other */
#endif

#ifdef TRAILS
/* An axis of a trail: where the packet is, the cell of a point, the size of a cell, and guesses at the next
 * displacement: 0, the last one, and that with half its change. */
typedef struct {
    int32_t from, cell, guesses[3];
    uint32_t step;
    uint8_t known; /* the packet has this */
} axis;

/* How large numbers (0) and how wrong the three guesses (1..3) have been so far; the guess in use, numbers counted. */
typedef struct {
    uint32_t sums[4];
    uint8_t count, which;
} group;

enum { axiscount = 2, groupcount = 1 };
#endif

/* A packet being written or read, bit by bit. */
typedef struct {
#ifndef PASTURE_NO_ENCODE
    uint8_t *start, *to;
    const uint8_t *has;
    uint8_t bits; /* that do not fill a byte yet, behind a one */
#endif
#ifndef PASTURE_NO_DECODE
    const uint8_t *from;
    uint8_t mask;
#endif
#ifdef TRAILS
    uint8_t done;     /* points */
    uint8_t kept;     /* points there was room for */
    int16_t left;     /* bits; below 0 from there on where there were too few */
    group groups[groupcount];
    axis axes[axiscount]; /* latitude, longitude, altitude, time */
#endif
} coder;

/* The register of the check after so many bytes. */
static uint16_t check(const uint8_t *data, uint8_t length)
{
    uint16_t state = 0xf3e1U;
    uint8_t bit;

    while (length--) {
        state = (uint16_t)(state ^ (uint16_t)*data++ << 8);
        for (bit = 8; bit; bit--) {
            if (state & 0x8000U)
                state = (uint16_t)(2U * state ^ 0x5935U);
            else
                state = (uint16_t)(2U * state);
        }
    }
    return state;
}

#ifdef TRAILS
#if (-3 >> 1) != -2
#error "this source needs a compiler whose >> rounds down, negative numbers too"
#endif

#define HALF WORD(1800000000) /* of the circle, and a quarter of it */
#define POLE WORD(900000000)
#define CELLS WORD(1048575) /* farthest from the head */
#define CLIMB WORD(1000000000) /* centimetres, likewise */

static APART uint32_t size(int32_t x)
{
    return x < 0 ? 0 - (uint32_t)x : (uint32_t)x;
}

/* The cells around the head: square in metres, by Bhaskara's cosine of whole degrees. */
static void begin(coder *c)
{
    uint16_t x = (uint8_t)(size(c->axes[0].from) / WORD(10000000));
    uint32_t step = WORD(223);

    if (x > 89)
        x = 89;
    x = (uint16_t)(x * x);
    c->axes[0].step = step;
    c->axes[1].step = step * (uint16_t)(32400U + x) / (uint16_t)(32400U - 4U * x);
}

/* The group of an axis, ready for its next point: the guess with the least error so far, the latest of equals. */
static group *pick(coder *c, uint8_t i)
{
    group *g = c->groups;
    uint32_t least = WORD(0xffffffff), *error = g->sums + 1;
    uint8_t n = 0;

    if (i == 1)
        return g;
    if (c->done < 2) {
        uint16_t start = c->done ? 1 : 6;

        *g->sums = start;
        g->count = 1;
        memset(error, 0, 2 * sizeof *error);
        error[2] = 2;
    }
    do {
        uint32_t x = *error;

        if (x <= least) {
            least = x;
            g->which = n;
        }
        *error++ = x - (x >> 3);
    } while (++n < 3);
    return g;
}

/* The order of the next number: the least k with count * 2^k >= sum. */
static uint8_t order(const group *g)
{
    uint32_t n = g->count;
    uint8_t k = 0;

    for (; n < *g->sums; n <<= 1)
        k++;
    return k;
}

/* Take a displacement into account; what the guess in use has left of it. */
static int32_t learn(const coder *c, group *g, axis *a, int32_t moved)
{
    const int32_t *guess = a->guesses;
    int32_t rest = moved - guess[g->which], x = rest;
    uint32_t *sum = g->sums;
    uint8_t n = 4;

    for (;;) {
        *sum++ += size(x);
        if (!--n)
            break;
        x = moved - *guess++;
    }
    a->cell += moved;
    if (!c->done)
        a->guesses[1] = moved;
    a->guesses[2] = moved + ((moved - a->guesses[1] + 1) >> 1);
    a->guesses[1] = moved;
    if (++g->count == 8) {
        *g->sums >>= 1;
        g->count = 4;
    }
    return rest;
}
#endif

#ifndef PASTURE_NO_ENCODE
/* Write x / step, rounded down, in so many bits, most significant first; what is left of x. */
static uint32_t put(coder *c, uint8_t width, uint32_t x, uint32_t step)
{
    uint8_t bits = c->bits, n = 1;

#ifdef TRAILS
    c->left = (int16_t)(c->left - width);
#endif
    for (; n < width; n++)
        step <<= 1;
    do {
        uint8_t full = bits & 0x80;

        bits = (uint8_t)(bits << 1);
        if (x >= step) {
            x -= step;
            bits |= 1;
        }
        step >>= 1;
        if (full) {
#ifdef TRAILS
            if (c->left >= 0)
#endif
                *c->to++ = bits;
            bits = 1;
        }
    } while (--width);
    c->bits = bits;
    return x;
}

/* Write a field, in base units; 0 for a value that may not be sent. */
static uint8_t putfield(coder *c, const field *row, uint32_t x)
{
    field f;
    uint8_t below;
#ifdef TRAILS
    uint8_t n;
#endif

    FETCH(&f, row, offsetof(field, last));
    if (f.rules & optional && !*c->has++) {
        put(c, f.bits, x, 0); /* absent: all bits one */
        return 1;
    }
    below = (x ^ WORD(0x80000000)) < (f.low ^ WORD(0x80000000)); /* compared as signed numbers */
    x -= f.low;
    if (f.rules & masked)
        x &= f.span;
    if (x > f.span) {
        if (!(f.rules & clip))
            return 0;
        x = below ? 0 : f.span;
    }
    if (x > f.turn)
        x = 0;
    x += f.step / 2;
#ifdef TRAILS
    x -= put(c, f.bits, x, f.step);
    if (x > f.span)
        x = f.span;
    n = f.rules / head;
    if (n) {
        axis *a = c->axes + (n - 1);

        a->from = (int32_t)(x + f.low); /* as the receiver has it */
        a->known = 1;
    }
#else
    put(c, f.bits, x, f.step);
#endif
    return 1;
}

#ifdef TRAILS
/* Write an axis of the next point; 0 for a place that is none. */
static uint8_t putaxis(coder *c, int32_t at, uint8_t i)
{
    group *g = pick(c, i);
    axis *a = c->axes + i;
    uint32_t x, bucket;
    int32_t moved, rest;
    uint8_t k, steady = c->done ? 5 : 1, back = 0;

    if (size(at) > (i ? HALF : POLE))
        return 0;
    x = (uint32_t)at - (uint32_t)a->from;
    if (at < a->from) {
        x = 0 - x;
        back = 1;
    }
    if (x > HALF) { /* the short way round; no latitudes are as far apart */
        x = 2 * HALF - x;
        back ^= 1;
    }
    x = (x + a->step / 2) / a->step;
    if (x > CELLS) {
        c->left = -256; /* too far away */
        return 1;
    }
    if (back)
        x = 0 - x;
    moved = (int32_t)x - a->cell;
    k = order(g);
    rest = learn(c, g, a, moved);
    x = (uint32_t)rest << 1;
    if (rest < 0)
        x = ~x;
    bucket = (uint32_t)1 << k++;
    while (x >= bucket) {
        x = put(c, 1, x, bucket); /* a one */
        if (steady > 1) {
            steady--;
        } else {
            k++;
            bucket <<= 1;
        }
    }
    put(c, k, x, 1);
    return 1;
}

/* Write a trail of so many points, newest first; 0 for a place that is none. */
static uint8_t putpoints(coder *c, const int32_t *at, uint8_t count)
{
    begin(c);
    put(c, (uint8_t)(count == 10 ? 1 : 4 + 1), count == 10 ? 1 : count, 1);
    c->kept = 0;
    for (c->done = 0; c->done < count; c->done++) {
        uint8_t i = 0;

        do {
            if (!putaxis(c, *at++, i))
                return 0;
        } while (++i < 2);
        if (c->left >= 0)
            c->kept++;
    }
    return 1;
}
#endif

#ifdef TRAILS
APART
#endif
static pasture_fault encode(coder *c, uint8_t which, const void *from, size_t capacity, size_t *length)
{
    layout l;
#ifdef TRAILS
    uint8_t count;
#endif

    FETCH(&l, layouts + which, sizeof l);
    if (capacity < l.most)
        return PASTURE_TOO_SHORT;
#ifdef TRAILS
    c->kept = 255;
    do { /* again with fewer points, where not all find room */
#endif
    {
        const uint32_t *value = (const uint32_t *)from; /* the members stand one behind the other */
        const field *row = l.fields;
        uint8_t n = l.count;

        c->has = (const uint8_t *)(value + n);
        c->to = c->start;
        c->bits = 1;
#ifdef TRAILS
        memset(c->axes, 0, sizeof c->axes);
        c->left = (int16_t)((l.most - 2) * 8 - 8);
#endif
        *c->to++ = (uint8_t)l.id;
        do {
            if (!putfield(c, row++, *value++))
                return PASTURE_OUT_OF_RANGE;
        } while (--n);
    }
#ifdef TRAILS
        count = 0;
        if (!l.trail)
            break;
        {
            const int32_t *at = (const int32_t *)(const void *)((const uint8_t *)from + offsetof(pasture_track, trail));

            count = *c->has;
            if (count > 10)
                return PASTURE_OUT_OF_RANGE;
            if (count > c->kept)
                count = c->kept;
            c->kept = count;
            if (c->axes[0].known & c->axes[1].known && !putpoints(c, at, count))
                return PASTURE_OUT_OF_RANGE;
        }
    } while (c->kept < count);
#endif
    while (c->bits != 1)
        put(c, 1, 0, 1);
    {
        uint16_t state = check(c->start, (uint8_t)(c->to - c->start));

        *c->to++ = (uint8_t)(state >> 8);
        *c->to++ = (uint8_t)state;
    }
    *length = (size_t)(c->to - c->start);
    return PASTURE_OK;
}

#ifndef PASTURE_NO_POSITION
pasture_fault pasture_encode_position(const pasture_position *from, uint8_t *to, size_t capacity, size_t *length)
{
    coder c;

    c.start = to;
    return encode(&c, layout0, from, capacity, length);
}
#endif

#ifndef PASTURE_NO_TRACK
pasture_fault pasture_encode_track(const pasture_track *from, uint8_t *to, size_t capacity, size_t *length)
{
    coder c;

    c.start = to;
    return encode(&c, layout1, from, capacity, length);
}
#endif

#ifndef PASTURE_NO_STATUS
pasture_fault pasture_encode_status(const pasture_status *from, uint8_t *to, size_t capacity, size_t *length)
{
    coder c;

    c.start = to;
    return encode(&c, layout2, from, capacity, length);
}
#endif
#endif

#ifndef PASTURE_NO_DECODE
/* Read so many bits, most significant first. */
static uint32_t get(coder *c, uint8_t width)
{
    const uint8_t *from = c->from;
    uint32_t x = 0;
    uint8_t mask = c->mask;

#ifdef TRAILS
    c->left = (int16_t)(c->left - width);
    if (c->left < 0)
        return 0;
#endif
    while (width--) {
        x <<= 1;
        if (*from & mask)
            x |= 1;
        mask = (uint8_t)(mask >> 1);
        if (!mask) {
            mask = 0x80;
            from++;
        }
    }
    c->from = from;
    c->mask = mask;
    return x;
}

#ifdef TRAILS
/* Read an axis of the next point; 0 for what no encoder writes. */
static uint8_t getaxis(coder *c, uint8_t i)
{
    group *g = pick(c, i);
    axis *a = c->axes + i;
    uint32_t x = 0, limit;
    int32_t moved;
    uint8_t k = order(g), steady = c->done ? 5 : 1;

    while (get(c, 1)) {
        x += (uint32_t)1 << k;
        if (steady > 1)
            steady--;
        else if (++k > 24)
            return 0;
    }
    x += get(c, k);
    if (c->left < 0)
        return 0;
    moved = a->guesses[g->which] + (x & 1 ? -1 - (int32_t)(x >> 1) : (int32_t)(x >> 1));
    limit = i < 2 ? (HALF + a->step / 2) / a->step : CELLS;
    if (limit > CELLS)
        limit = CELLS;
    if (size(a->cell + moved) > limit)
        return 0;
    learn(c, g, a, moved);
    return 1;
}

/* Read a trail, and store it unless `to` is null; 0 for what no encoder writes. */
static uint8_t getpoints(coder *c, uint8_t *number, int32_t *to)
{
    uint8_t count = 10;

    if (!get(c, 1)) {
        count = (uint8_t)get(c, 4);
        if (count >= 10)
            return 0;
    }
    begin(c);
    for (c->done = 0; c->done < count; c->done++) {
        uint32_t north = (uint32_t)c->axes[0].from + POLE, east = (uint32_t)c->axes[1].from + HALF, x;

        if (!getaxis(c, 0) || !getaxis(c, 1))
            return 0;
        x = size(c->axes[0].cell) * c->axes[0].step;
        if (c->axes[0].cell < 0) {
            if (x > north && (x - north) * 2 > c->axes[0].step)
                return 0; /* beyond the pole */
            north = x > north ? 0 : north - x;
        } else {
            north += x;
            if (north > HALF) {
                if ((north - HALF) * 2 > c->axes[0].step)
                    return 0;
                north = HALF;
            }
        }
        x = size(c->axes[1].cell) * c->axes[1].step;
        if (x >= 2 * HALF)
            x -= 2 * HALF;
        if (c->axes[1].cell < 0 && x)
            x = 2 * HALF - x;
        x = x >= 2 * HALF - east ? x - (2 * HALF - east) : x + east;
        if (to) {
            *to++ = (int32_t)(north - POLE);
            *to++ = (int32_t)(x - HALF);
        }
    }
    if (to)
        *number = count;
    return 1;
}
#endif

pasture_fault pasture_decode(pasture_packet *packet, const uint8_t *data, size_t length)
{
    layout l;
    coder all, *c = &all;
    uint32_t x;
    uint8_t n = 0, store = 0;

    c->from = data;
    c->mask = 0x80;
#ifdef TRAILS
    c->left = 256;
#endif
    if (length < 1)
        return PASTURE_TOO_SHORT;
    x = get(c, 8);
    if (x >> 4 != 1)
        return PASTURE_UNKNOWN_VERSION;
    do {
        if (n == layoutcount)
            return PASTURE_UNKNOWN_LAYOUT;
        FETCH(&l, layouts + n++, sizeof l);
    } while (l.id != x);
    if (length < l.least)
        return PASTURE_TOO_SHORT;
    if (length > l.most)
        return PASTURE_TOO_LONG;
    if (check(data, (uint8_t)length) != 0x0000U)
        return PASTURE_BAD_CHECK;
    if (data[length - 3] & l.padding)
        return PASTURE_BAD_PADDING;
    do { /* look at all of it before any of it is stored */
        const field *row = l.fields;
        uint32_t *value = (uint32_t *)(void *)&packet->as; /* the members stand one behind the other */
        uint8_t *has = (uint8_t *)(value + l.count);

        c->from = data;
        c->mask = 0x80;
#ifdef TRAILS
        c->left = (int16_t)((length - 2) * 8);
        memset(c->axes, 0, sizeof c->axes);
#endif
        get(c, 8);
        for (n = l.count; n; n--) {
            field f;
            uint8_t known = 1;

            FETCH(&f, row++, sizeof f);
            x = get(c, f.bits);
            if (x > f.last) {
                if (!(f.rules & optional) || x != WORD(0xffffffff) >> (32 - f.bits))
                    return PASTURE_OUT_OF_RANGE;
                known = 0;
            }
            x *= f.step;
            if (x > f.span)
                x = f.span;
            x += f.low;
#ifdef TRAILS
            if (known && f.rules / head) {
                axis *a = c->axes + (f.rules / head - 1);

                a->from = (int32_t)x;
                a->known = 1;
            }
#endif
            if (store) {
                *value++ = known ? x : 0;
                if (f.rules & optional)
                    *has++ = known;
            }
        }
#ifdef TRAILS
        if (l.trail) {
            int32_t *to = (int32_t *)(void *)((uint8_t *)&packet->as + offsetof(pasture_track, trail));

            if (store)
                *has = 0;
            if (c->axes[0].known & c->axes[1].known && !getpoints(c, has, store ? to : 0))
                return PASTURE_BAD_TRAIL;
            if (c->left < 0 || c->left > 7 || get(c, (uint8_t)c->left))
                return PASTURE_BAD_TRAIL; /* no padding behind it */
        }
#endif
    } while (!store++);
    packet->layout = (uint8_t)(l.id & 15);
    return PASTURE_OK;
}
#endif

#ifndef PASTURE_NO_DEGREES
pasture_fault pasture_degrees(int32_t *e7, const char *digits, char hemisphere)
{
    uint32_t whole = 0, minutes;
    uint8_t places = 0, most = hemisphere == 'N' || hemisphere == 'S' ? 90 : 180;

    if (!hemisphere || !strchr("NSEW", hemisphere) || *digits < '0' || *digits > '9')
        return PASTURE_OUT_OF_RANGE;
    for (; *digits >= '0' && *digits <= '9'; digits++) {
        whole = whole * 10 + (uint32_t)(*digits - '0');
        if (whole > 18000)
            return PASTURE_OUT_OF_RANGE;
    }
    minutes = whole % 100;
    whole /= 100;
    if (*digits == '.')
        digits++;
    for (; places < 7; places++) { /* of a minute; further ones cannot change the result */
        minutes *= 10;
        if (*digits >= '0' && *digits <= '9')
            minutes += (uint32_t)(*digits++ - '0');
    }
    whole = whole * WORD(10000000) + (minutes + 30) / 60;
    if (minutes >= WORD(600000000) || whole > most * WORD(10000000))
        return PASTURE_OUT_OF_RANGE;
    *e7 = hemisphere == 'S' || hemisphere == 'W' ? 0 - (int32_t)whole : (int32_t)whole;
    return PASTURE_OK;
}
#endif
