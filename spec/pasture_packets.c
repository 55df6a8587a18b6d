/* pasture, version 1: encoder and decoder of its packets. Fingerprint 7985ffc5412132c8.
 *
 * Written by packetcodec from the schema alone. This file is yours, free of any condition, and comes without warranty.
 * Whole numbers of at most 32 bits, no heap, no recursion, no state between calls.
 */
#include "pasture_packets.h"

#include <string.h>

#if defined __AVR__
#include <avr/pgmspace.h>
#define FLASH PROGMEM
#define FETCH(to, from, size) memcpy_P((to), (from), (size))
#define FETCHGRID(to, from, begin, end) \
    memcpy_P((uint8_t *)(to) + (begin), (const uint8_t *)(from) + (begin), (end) - (begin))
#else
#define FLASH
#define FETCH(to, from, size) (*(to) = *(from))
#define FETCHGRID(to, from, begin, end) (*(to) = *(from))
#endif

#if defined __GNUC__
#define APART __attribute__((noinline)) /* smaller so */
#else
#define APART
#endif

#define WORD(digits) ((uint32_t)digits##UL)

/* How a field is coded: code = (x - low + step / 2) / step for x in low .. low + span. */
typedef struct {
    uint8_t bits, rules;
    uint32_t low, span, step;
    uint32_t turn; /* for the encoder: from behind this offset on, rounding leads once round the circle to code 0 */
    uint32_t last; /* code, for the decoder */
} grid;

enum { optional = 1, clip = 2, wrap = 4, masked = 8, plain = 16, anchor = 64 };

typedef struct {
    const grid *fields;
    uint16_t id; /* behind the version */
    uint8_t count, least, most, padding;
    uint8_t trail; /* number, 0 for none */
} layout;

#define FIELDS l->fields
#define LAYOUT_ID l->id
#define COUNT l->count
#define LEAST l->least
#define MOST l->most
#define PADDING l->padding

static const grid fields0[] FLASH = {
    {8, plain,
     0UL, 255UL, 1UL, 4294967295UL, 255UL},
    {8, masked | plain,
     0UL, 255UL, 1UL, 255UL, 255UL},
    {23, optional | anchor * 1,
     3394967296UL, 1800000000UL, 223UL, 4294967295UL, 8071749UL},
    {24, optional | anchor * 2,
     2494967296UL, 3600000000UL, 224UL, 3599999983UL, 16071428UL},
    {12, optional | clip,
     4294917296UL, 950000UL, 233UL, 4294967295UL, 4077UL},
    {7, clip,
     2500UL, 2000UL, 20UL, 4294967295UL, 100UL},
    {3, plain,
     0UL, 7UL, 1UL, 4294967295UL, 7UL},
};

static const grid fields1[] FLASH = {
    {8, plain,
     0UL, 255UL, 1UL, 4294967295UL, 255UL},
    {8, masked | plain,
     0UL, 255UL, 1UL, 255UL, 255UL},
    {3, optional | plain,
     0UL, 3UL, 1UL, 4294967295UL, 3UL},
    {8, optional | clip,
     4294966896UL, 1000UL, 5UL, 4294967295UL, 200UL},
    {5, optional | clip,
     0UL, 30UL, 1UL, 4294967295UL, 30UL},
    {6, optional | clip,
     0UL, 1240UL, 20UL, 4294967295UL, 62UL},
    {7, clip,
     2500UL, 2000UL, 20UL, 4294967295UL, 100UL},
    {1, plain,
     0UL, 1UL, 1UL, 4294967295UL, 1UL},
    {20, 0,
     0UL, 62914500UL, 60UL, 4294967295UL, 1048575UL},
};

static const layout layout0 FLASH = {
    fields0, 17U, 7, 14, 14, 7, 0
};
static const layout layout1 FLASH = {
    fields0, 18U, 7, 14, 32, 0, 1
};
static const layout layout2 FLASH = {
    fields1, 19U, 9, 12, 12, 63, 0
};

/* The members of each struct stand one behind the other. */
typedef char values0[offsetof(pasture_position, has_latitude) == 28 ? 1 : -1];
typedef char values1[offsetof(pasture_track, has_latitude) == 28 ? 1 : -1];
typedef char count1[offsetof(pasture_track, trail_count) == 31 ? 1 : -1];
typedef char point1[sizeof(pasture_track_point) == 8 ? 1 : -1];
typedef char values2[offsetof(pasture_status, has_activity) == 36 ? 1 : -1];

/* The trail of layout "track". */
#define TRAIL_POINTS 10
#define TRAIL_COUNT_BITS 4
#define TRAIL_STEP WORD(223)
#define TRAIL_SCALE 6U
#define TRAIL_RATE 1U
#define TRAIL_PLACE offsetof(pasture_track, trail)

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

/* A packet being written or read, bit by bit. */
typedef struct {
    uint8_t *start, *to;
    const uint8_t *has;
    uint8_t place; /* of a field among those of its layout */
    uint8_t bits; /* that do not fill a byte yet, behind a one */
    const uint8_t *from;
    uint8_t mask;
    uint8_t done; /* points */
    uint8_t kept; /* points that there is room for */
    uint8_t room; /* bytes before the check */
    int16_t left; /* bits; below 0 from there on where there were too few */
    group groups[groupcount];
    axis axes[axiscount]; /* latitude, longitude, altitude, time */
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

#if (-3 >> 1) != -2
#error "this source needs a compiler whose >> rounds down, negative numbers too"
#endif

#define HALF WORD(1800000000) /* of the circle, and a quarter of it */
#define POLE WORD(900000000)
#define CELLS WORD(1048575) /* farthest from the anchor */
#define CLIMB WORD(1000000000) /* centimetres, likewise */

static APART uint32_t size(int32_t x)
{
    return x < 0 ? 0 - (uint32_t)x : (uint32_t)x;
}

/* The cells around the anchor: square in metres, by Bhaskara's cosine of whole degrees. */
static void begin(coder *c)
{
    uint16_t x = (uint8_t)(size(c->axes[0].from) / WORD(10000000));
    uint32_t step = TRAIL_STEP;

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
        uint16_t start = c->done ? TRAIL_RATE : TRAIL_SCALE;

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

/* Write x / step, rounded down, in so many bits, most significant first; what is left of x. */
static uint32_t put(coder *c, uint8_t width, uint32_t x, uint32_t step)
{
    uint8_t bits = c->bits, n = 1;

    c->left = (int16_t)(c->left - width);
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
            if (c->left >= 0)
                *c->to++ = bits;
            bits = 1;
        }
    } while (--width);
    c->bits = bits;
    return x;
}

/* Write a field, in base units; 0 for a value that may not be sent. */
static uint8_t putfield(coder *c, const grid *row, uint32_t x)
{
    grid f;
    uint8_t below;
    uint8_t n;

    FETCHGRID(&f, row, 0, offsetof(grid, last));
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
    x -= put(c, f.bits, x, f.step);
    if (x > f.span)
        x = f.span;
    n = f.rules / anchor;
    if (n) {
        axis *a = c->axes + (n - 1);

        a->from = (int32_t)(x + f.low); /* as the receiver has it */
        a->known = 1;
    }
    return 1;
}

/* Write header and fields; 0 for a value that may not be sent, the one at c->place. */
static uint8_t putfields(coder *c, const layout *l, const void *from)
{
    const uint32_t *value = (const uint32_t *)from; /* the members stand one behind the other */
    const grid *row = FIELDS;

    c->has = (const uint8_t *)(value + COUNT);
    c->to = c->start;
    c->bits = 1;
    memset(c->axes, 0, sizeof c->axes);
    c->left = (int16_t)(c->room * 8 - 8);
    *c->to++ = (uint8_t)LAYOUT_ID;
    c->place = 0;
    do {
        if (!putfield(c, row++, *value++))
            return 0;
    } while (++c->place < COUNT);
    return 1;
}

/* Fill the last byte, and write the check. */
static void finish(coder *c, size_t *length)
{
    uint16_t state;

    while (c->bits != 1)
        put(c, 1, 0, 1);
    state = check(c->start, (uint8_t)(c->to - c->start));
    *c->to++ = (uint8_t)(state >> 8);
    *c->to++ = (uint8_t)(state >> 0);
    *length = (size_t)(c->to - c->start);
}

/* Write an axis of the next point, unless the list has ended before it; 0 for a place that is none. */
static uint8_t putaxis(coder *c, int32_t at, uint8_t i)
{
    group *g = pick(c, i);
    axis *a = c->axes + i;
    uint32_t x, bucket;
    int32_t moved, rest;
    uint8_t k, steady = c->done ? 5 : 1, back = 0;

    if (size(at) > (i ? HALF : POLE))
        return 0;
    if (c->kept < c->done)
        return 1;
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

/* Write a trail of so many points, newest first: c->kept of them until the first that cannot be carried or finds no
 * room, from where on they are looked at, but not coded, as all are without a position. 0 for a place that is none. */
static uint8_t putpoints(coder *c, const int32_t *at, uint8_t count)
{
    uint8_t none = !(c->axes[0].known & c->axes[1].known), last = (uint8_t)(count + none);

    if (!none) {
        begin(c);
        put(c, (uint8_t)(count == TRAIL_POINTS ? 1 : TRAIL_COUNT_BITS + 1), count == TRAIL_POINTS ? 1 : count, 1);
    }
    c->kept = 0;
    for (c->done = none; c->done < last; c->done++) {
        uint8_t i = 0;

        do {
            if (!putaxis(c, *at++, i))
                return 0;
        } while (++i < 2);
        if (!none && c->left >= 0)
            c->kept++;
    }
    return 1;
}

/* Write header, fields, and as many points as there is room for; 0 for what may not be sent, at c->place. */
static uint8_t putall(coder *c, const layout *l, const void *from)
{
    uint8_t count;

    c->kept = 255;
    do { /* again with fewer points, where not all find room */
        if (!putfields(c, l, from))
            return 0;
        count = *c->has;
        if (count > TRAIL_POINTS)
            return 0;
        if (count > c->kept)
            count = c->kept;
        c->kept = count;
        if (!putpoints(c, (const int32_t *)(const void *)((const uint8_t *)from + TRAIL_PLACE), count))
            return 0;
        if (!(c->axes[0].known & c->axes[1].known))
            break; /* no position, no points */
    } while (c->kept < count);
    return 1;
}

/* Write a packet with a trail. */
static pasture_fault encodetrail(const void *from, uint8_t *to, size_t capacity, size_t *length, uint8_t *field,
                                    const layout *row)
{
    coder all, *c = &all;
    layout copy, *l = &copy;

    FETCH(l, row, sizeof *l);
    if (capacity > MOST)
        capacity = MOST;
    if (capacity < LEAST)
        return PASTURE_TOO_SHORT;
    c->room = (uint8_t)(capacity - 2);
    c->start = to;
    if (!putall(c, l, from)) {
        if (field)
            *field = c->place;
        return PASTURE_OUT_OF_RANGE;
    }
    if (c->left < 0)
        return PASTURE_TOO_SHORT; /* a position, but no room for the number of its points */
    finish(c, length);
    return PASTURE_OK;
}

/* Write a packet without a trail. */
static pasture_fault encode(const void *from, uint8_t *to, size_t capacity, size_t *length, uint8_t *field,
                               const layout *row)
{
    coder all, *c = &all;
    layout copy, *l = &copy;

    FETCH(l, row, sizeof *l);
    if (capacity < MOST)
        return PASTURE_TOO_SHORT;
    c->start = to;
    c->room = (uint8_t)(MOST - 2);
    if (!putfields(c, l, from)) {
        if (field)
            *field = c->place;
        return PASTURE_OUT_OF_RANGE;
    }
    finish(c, length);
    return PASTURE_OK;
}

pasture_fault pasture_encode_position(
    const pasture_position *from, uint8_t *to, size_t capacity, size_t *length, uint8_t *field)
{
    return encode(from, to, capacity, length, field, &layout0);
}

pasture_fault pasture_encode_track(
    const pasture_track *from, uint8_t *to, size_t capacity, size_t *length, uint8_t *field)
{
    return encodetrail(from, to, capacity, length, field, &layout1);
}

pasture_fault pasture_encode_status(
    const pasture_status *from, uint8_t *to, size_t capacity, size_t *length, uint8_t *field)
{
    return encode(from, to, capacity, length, field, &layout2);
}

void pasture_remember_track(pasture_track_memory *memory, const pasture_track_point *point, uint32_t time_s)
{
    uint8_t n;

    if (memory->count > 0U) {
        const uint32_t since = time_s - memory->slots[0].time_s;

        if (since == 0U) {
            return; /* remembered already */
        }
        if (since > WORD(0x7fffffff)) {
            memory->count = 0U; /* the clock has gone back */
        }
    }
    if ((memory->count > 1U) && ((time_s - memory->slots[1].time_s) <= ((uint32_t)PASTURE_TRACK_SPACING_S / 2U))) {
        memory->count--; /* the newest gives way: the one before it is in the same half spacing */
    } else {
        for (n = (uint8_t)(PASTURE_TRACK_MEMORY - 1); n > 0U; n--) {
            memory->slots[n] = memory->slots[n - 1U];
        }
    }
    if (memory->count < (uint8_t)PASTURE_TRACK_MEMORY) {
        memory->count++;
    }
    memory->slots[0].point = *point;
    memory->slots[0].time_s = time_s;
}

void pasture_recall_track(const pasture_track_memory *memory, uint32_t time_s, pasture_track *packet)
{
    uint8_t n;

    packet->trail_count = 0U;
    for (n = 0U; (n < memory->count) && (packet->trail_count < (uint8_t)PASTURE_TRACK_POINTS); n++) {
        const uint32_t age = time_s - memory->slots[n].time_s;
        const uint32_t wanted = (packet->trail_count + 1U) * (uint32_t)PASTURE_TRACK_SPACING_S;

        if ((age >= wanted) && (age <= WORD(0x7fffffff))) {
            if ((age - wanted) >= (((uint32_t)PASTURE_TRACK_SPACING_S + 1U) / 2U)) {
                break; /* no fix then: the list ends */
            }
            packet->trail[packet->trail_count] = memory->slots[n].point;
            packet->trail_count++;
        }
    }
}

/* Read so many bits, most significant first. */
static uint32_t get(coder *c, uint8_t width)
{
    const uint8_t *from = c->from;
    uint32_t x = 0;
    uint8_t mask = c->mask;

    c->left = (int16_t)(c->left - width);
    if (c->left < 0)
        return 0;
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

/* The place of a point that its cells stand for, at to unless that is null; 0 for one beyond the pole. */
static uint8_t place(const coder *c, int32_t *to)
{
    uint32_t north = (uint32_t)c->axes[0].from + POLE, east = (uint32_t)c->axes[1].from + HALF, x;

    x = size(c->axes[0].cell) * c->axes[0].step;
    if (c->axes[0].cell < 0) {
        if (x > north && (x - north) * 2 > c->axes[0].step)
            return 0;
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
        to[0] = (int32_t)(north - POLE);
        to[1] = (int32_t)(x - HALF);
    }
    return 1;
}

/* Read a trail, and store it unless `to` is null; 0 for what no encoder writes. */
static uint8_t getpoints(coder *c, uint8_t *number, int32_t *to)
{
    uint8_t count = TRAIL_POINTS;

    if (!get(c, 1)) {
        count = (uint8_t)get(c, TRAIL_COUNT_BITS);
        if (count >= TRAIL_POINTS)
            return 0;
    }
    begin(c);
    for (c->done = 0; c->done < count; c->done++) {
        if (!getaxis(c, 0) || !getaxis(c, 1))
            return 0;
        if (!place(c, to))
            return 0;
        if (to) {
            to += 2;
        }
    }
    if (to)
        *number = count;
    return 1;
}

static const layout *const layouts[] FLASH = { &layout0, &layout1, &layout2 };

pasture_fault pasture_decode(pasture_packet *packet, const uint8_t *data, size_t length, uint8_t *field)
{
    layout copy, *l = &copy;
    coder all, *c = &all;
    uint32_t x;
    uint8_t n = 0, store = 0;

    c->from = data;
    c->mask = 0x80;
    c->left = 256;
    if (length < 1)
        return PASTURE_TOO_SHORT;
    x = get(c, 8);
    if (x >> 4 != 1)
        return PASTURE_UNKNOWN_VERSION;
    do {
        const layout *row;

        if (n == sizeof layouts / sizeof *layouts)
            return PASTURE_UNKNOWN_LAYOUT;
        FETCH(&row, layouts + n++, sizeof row);
        FETCH(l, row, sizeof *l);
    } while (LAYOUT_ID != x);
    if (length < LEAST)
        return PASTURE_TOO_SHORT;
    if (length > MOST)
        return PASTURE_TOO_LONG;
    if (check(data, (uint8_t)length) != 0x0000U)
        return PASTURE_BAD_CHECK;
    if (data[length - 3] & PADDING)
        return PASTURE_BAD_PADDING;
    do { /* look at all of it before any of it is stored */
        const grid *row = FIELDS;
        uint32_t *value = (uint32_t *)(void *)&packet->as; /* the members stand one behind the other */
        uint8_t *has = (uint8_t *)(value + COUNT);

        c->from = data;
        c->mask = 0x80;
        c->left = (int16_t)((length - 2) * 8);
        memset(c->axes, 0, sizeof c->axes);
        get(c, 8);
        for (n = 0; n < COUNT; n++, row++) {
            grid f;
            uint8_t known = 1;

            FETCH(&f, row, sizeof f);
            x = get(c, f.bits);
            if (x > f.last) {
                if (!(f.rules & optional) || x != WORD(0xffffffff) >> (32 - f.bits)) {
                    if (field)
                        *field = n;
                    return PASTURE_OUT_OF_RANGE;
                }
                known = 0;
            }
            x *= f.step;
            if (x > f.span)
                x = f.span;
            x += f.low;
            if (known && f.rules / anchor) {
                axis *a = c->axes + (f.rules / anchor - 1);

                a->from = (int32_t)x;
                a->known = 1;
            }
            if (store) {
                *value++ = known ? x : 0;
                if (f.rules & optional)
                    *has++ = known;
            }
        }
        if (l->trail) {
            int32_t *to = (int32_t *)(void *)((uint8_t *)&packet->as + TRAIL_PLACE);

            if (store)
                *has = 0;
            if (c->axes[0].known & c->axes[1].known && !getpoints(c, has, store ? to : 0))
                return PASTURE_BAD_TRAIL;
            if (c->left < 0 || c->left > 7 || get(c, (uint8_t)c->left))
                return PASTURE_BAD_TRAIL; /* no padding behind it */
        }
    } while (!store++);
    packet->layout = (uint8_t)(LAYOUT_ID & 15);
    return PASTURE_OK;
}

pasture_fault pasture_degrees(int32_t *e7, const char *digits, char hemisphere)
{
    uint32_t whole = 0, minutes;
    uint8_t places, most = hemisphere == 'N' || hemisphere == 'S' ? 90 : 180;

    if (!hemisphere || !strchr("NSEW", hemisphere))
        return PASTURE_OUT_OF_RANGE;
    for (places = 0; *digits >= '0' && *digits <= '9'; digits++) {
        whole = whole * 10 + (uint32_t)(*digits - '0');
        if (whole > 18000)
            return PASTURE_OUT_OF_RANGE;
        if (places < 4)
            places++;
    }
    if (places < 4)
        return PASTURE_OUT_OF_RANGE; /* decimal degrees, perhaps */
    minutes = whole % 100;
    whole /= 100;
    if (*digits == '.')
        digits++;
    for (places = 0; places < 7; places++) { /* of a minute; further ones cannot change the result */
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
