/* pasture, version 1: encoder and decoder of its packets. Fingerprint 7985ffc5412132c8.
 *
 * Written by packetcodec from the schema alone. This file is yours, free of any condition, and comes without warranty.
 * Whole numbers of at most 32 bits, no heap, no recursion, no state between calls.
 * MISRA C:2012: of the rules 10.4, 11.5, 14.4, 15.6, 17.7 and 18.4 there is no deviation.
 */
#include "pasture_packets.h"

#include <string.h>

#if defined __AVR__
#include <avr/pgmspace.h>
#define pastureFLASH PROGMEM
#define pastureBYTE(from) pgm_read_byte(&(from))
#define pastureLONG(from) pgm_read_dword(&(from))
#define pastureFETCH(to, from) (void)memcpy_P(&(to), &(from), sizeof(to))
#else
#define pastureFLASH
#define pastureBYTE(from) (from)
#define pastureLONG(from) (from)
#define pastureFETCH(to, from) ((to) = (from))
#endif

#if defined __GNUC__ && !defined __AVR__
#define pastureALIGNED(from) __builtin_assume_aligned((from), __alignof__(uint32_t)) /* as a struct of such members is \
    */
#else
#define pastureALIGNED(from) (from)
#endif

#if defined __GNUC__
#define pastureAPART __attribute__((noinline)) /* smaller so */
#else
#define pastureAPART
#endif

#define pastureU(digits) ((uint32_t)digits##UL)

/* How a field is coded: code = (x - low + step / 2) / step for x in low .. low + span. */
typedef struct {
    uint8_t bits;
    uint8_t rules;
    uint32_t low;
    uint32_t span;
    uint32_t step;
    uint32_t turn; /* for the encoder: from behind this offset on, rounding leads once round the circle to code 0 */
    uint32_t last; /* code, for the decoder */
} pastureGrid;

#define pastureOPTIONAL 1U
#define pastureCLIP 2U
#define pastureWRAP 4U
#define pastureMASKED 8U
#define pasturePLAIN 16U
#define pastureANCHOR 64U

typedef struct {
    const pastureGrid *fields;
    uint16_t id; /* behind the version */
    uint8_t count;
    uint8_t least;
    uint8_t most;
    uint8_t padding;
    uint8_t trail; /* number, 0 for none */
} pastureLayout;

#define pastureFIELDS l->fields
#define pastureLAYOUT_ID l->id
#define pastureCOUNT l->count
#define pastureLEAST l->least
#define pastureMOST l->most
#define pasturePADDING l->padding

static const pastureGrid pastureFields0[] pastureFLASH = {
    { 8U, pasturePLAIN,
      0UL, 255UL, 1UL, 4294967295UL, 255UL },
    { 8U, pastureMASKED | pasturePLAIN,
      0UL, 255UL, 1UL, 255UL, 255UL },
    { 23U, pastureOPTIONAL | pastureANCHOR * 1U,
      3394967296UL, 1800000000UL, 223UL, 4294967295UL, 8071749UL },
    { 24U, pastureOPTIONAL | pastureANCHOR * 2U,
      2494967296UL, 3600000000UL, 224UL, 3599999983UL, 16071428UL },
    { 12U, pastureOPTIONAL | pastureCLIP,
      4294917296UL, 950000UL, 233UL, 4294967295UL, 4077UL },
    { 7U, pastureCLIP,
      2500UL, 2000UL, 20UL, 4294967295UL, 100UL },
    { 3U, pasturePLAIN,
      0UL, 7UL, 1UL, 4294967295UL, 7UL },
};

static const pastureGrid pastureFields1[] pastureFLASH = {
    { 8U, pasturePLAIN,
      0UL, 255UL, 1UL, 4294967295UL, 255UL },
    { 8U, pastureMASKED | pasturePLAIN,
      0UL, 255UL, 1UL, 255UL, 255UL },
    { 3U, pastureOPTIONAL | pasturePLAIN,
      0UL, 3UL, 1UL, 4294967295UL, 3UL },
    { 8U, pastureOPTIONAL | pastureCLIP,
      4294966896UL, 1000UL, 5UL, 4294967295UL, 200UL },
    { 5U, pastureOPTIONAL | pastureCLIP,
      0UL, 30UL, 1UL, 4294967295UL, 30UL },
    { 6U, pastureOPTIONAL | pastureCLIP,
      0UL, 1240UL, 20UL, 4294967295UL, 62UL },
    { 7U, pastureCLIP,
      2500UL, 2000UL, 20UL, 4294967295UL, 100UL },
    { 1U, pasturePLAIN,
      0UL, 1UL, 1UL, 4294967295UL, 1UL },
    { 20U, 0U,
      0UL, 62914500UL, 60UL, 4294967295UL, 1048575UL },
};

static const pastureLayout pastureLayout0 pastureFLASH = {
    pastureFields0, 17U, 7U, 14U, 14U, 7U, 0U
};
static const pastureLayout pastureLayout1 pastureFLASH = {
    pastureFields0, 18U, 7U, 14U, 32U, 0U, 1U
};
static const pastureLayout pastureLayout2 pastureFLASH = {
    pastureFields1, 19U, 9U, 12U, 12U, 63U, 0U
};

/* Members are found by their offset, which must be that of the field's place: there is no gap between them. */
typedef char pastureValues0[(offsetof(pasture_position, has_latitude) == 28U) ? 1 : -1];
typedef char pastureValues1[(offsetof(pasture_track, has_latitude) == 28U) ? 1 : -1];
typedef char pastureCount1[(offsetof(pasture_track, trail_count) == 31U) ? 1 : -1];
typedef char pasturePoint1[(sizeof(pasture_track_point) == 8U) ? 1 : -1];
typedef char pastureValues2[(offsetof(pasture_status, has_activity) == 36U) ? 1 : -1];

/* The trail of layout "track". */
#define pasturePOINTS 10U
#define pastureCOUNT_BITS 4U
#define pastureSTEP pastureU(223)
#define pastureSCALE 6U
#define pastureRATE 1U
#define pastureTRAIL offsetof(pasture_track, trail)

/* An axis of a trail: the size of a cell, where the packet is, the cell of a point, guesses at the next displacement
 * (0, the last one, and
 * that with half its change). */
typedef struct {
    uint32_t step;
    int32_t from;
    int32_t cell;
    int32_t guesses[3];
    uint8_t known; /* whether the packet has this */
} pastureAxis;

/* How large numbers (0) and how wrong the three guesses (1..3) have been so far; numbers counted, the guess in use. */
typedef struct {
    uint32_t sums[4];
    uint8_t count;
    uint8_t which;
} pastureGroup;

/* Where the next bit of a packet is read. */
typedef struct {
    const uint8_t *from;
    uint8_t bits; /* not read yet of the byte before it, the next one highest */
    uint8_t held; /* so many */
    int16_t left; /* bits of the packet; below 0 from there on where there were too few */
} pastureReader;

/* Where the next bit of a packet is written. */
typedef struct {
    uint8_t *data;
    uint8_t size; /* bytes of it */
    uint8_t bits; /* that do not fill a byte yet, behind a one */
    int16_t room; /* bits before the check; below 0 from there on where there were too few */
} pastureWriter;

/* A packet being written or read, bit by bit. */
typedef struct {
    pastureWriter out;
    uint8_t kept; /* points that there is room for */
    pastureReader in;
    uint8_t place; /* of a field among those of its layout */
    uint8_t has; /* offset in the struct behind the members of fields */
    uint8_t done; /* points */
    uint8_t count; /* of them, as the packet says */
    pastureGroup groups[1];
    pastureAxis axes[2]; /* latitude, longitude, altitude, time */
} pastureCoder;

/* The register of the check after so many bytes. */
static uint16_t pastureCheck(const uint8_t *data, uint8_t length)
{
    uint16_t state = 0xf3e1U;
    uint8_t n;

    for (n = 0U; n < length; n++) {
        uint8_t bit = 8U;

        state = (uint16_t)(state ^ ((uint16_t)data[n] << 8));
        do {
            const uint8_t out = (uint8_t)(state >> 8);

            state = (uint16_t)(state << 1);
            if ((out & 0x80U) != 0U) {
                state = (uint16_t)(state ^ 0x5935U);
            }
            bit--;
        } while (bit > 0U);
    }
    return state;
}

#if (-3 >> 1) != -2
#error "this source needs a compiler whose >> rounds down, negative numbers too"
#endif

#define pastureHALF pastureU(1800000000) /* of the circle, and a quarter of it */
#define pasturePOLE pastureU(900000000)
#define pastureCELLS pastureU(1048575) /* farthest from the anchor */

static uint32_t pastureSize(int32_t x)
{
    return (x < 0) ? (0U - (uint32_t)x) : (uint32_t)x;
}

/* The cells around the anchor: square in metres, by Bhaskara's cosine of whole degrees. */
static void pastureBegin(pastureCoder *c)
{
    uint16_t x = (uint8_t)(pastureSize(c->axes[0].from) / pastureU(10000000));
    const uint32_t step = pastureSTEP;
    uint8_t n;

    if (x > 89U) {
        x = 89U;
    }
    x = (uint16_t)(x * x);
    for (n = 0U; n < 2U; n++) {
        c->axes[n].cell = 0;
        c->axes[n].guesses[0] = 0;
        c->axes[n].guesses[1] = 0; /* the guess in use at first */
        c->axes[n].guesses[2] = 0;
    }
    c->axes[0].step = step;
    c->axes[1].step = (step * (uint16_t)(32400U + x)) / (uint16_t)(32400U - (4U * x));
}

/* The group of an axis, ready for its next point: the guess with the least error so far, the latest of equals. */
static pastureGroup *pasturePick(pastureCoder *c, uint8_t i)
{
    pastureGroup *g = &c->groups[0];
    uint32_t least = pastureU(0xffffffff);
    uint8_t n;

    if (i == 1U) {
        return g;
    }
    if (c->done < 2U) {
        (void)memset(g, 0, sizeof *g);
        g->sums[0] = (c->done > 0U) ? pastureRATE : pastureSCALE;
        g->sums[3] = 2U;
        g->count = 1U;
    }
    for (n = 0U; n < 3U; n++) {
        const uint32_t x = g->sums[n + 1U];

        if (x <= least) {
            least = x;
            g->which = n;
        }
        g->sums[n + 1U] = x - (x >> 3);
    }
    return g;
}

/* The order of the next number: the least k with count * 2^k >= sum. */
static uint8_t pastureOrder(const pastureGroup *g)
{
    uint32_t n = g->count;
    uint8_t k = 0U;

    while (n < g->sums[0]) {
        n <<= 1;
        k++;
    }
    return k;
}

/* Take a displacement into account; what the guess in use has left of it. */
static int32_t pastureLearn(const pastureCoder *c, pastureGroup *g, pastureAxis *a, int32_t moved)
{
    const int32_t *guess = a->guesses;
    const int32_t rest = moved - guess[g->which];
    uint32_t *sum = g->sums;
    int32_t x = rest;
    uint8_t n = 4U;

    for (;;) {
        *sum += pastureSize(x);
        sum++;
        n--;
        if (n == 0U) {
            break;
        }
        x = moved - *guess;
        guess++;
    }
    if (c->done == 0U) {
        a->guesses[1] = moved;
    }
    a->guesses[2] = moved + ((moved - a->guesses[1] + 1) >> 1);
    a->guesses[1] = moved;
    g->count++;
    if (g->count == 8U) {
        g->sums[0] >>= 1;
        g->count = 4U;
    }
    return rest;
}

/* Write x / step, rounded down, in so many bits, most significant first; what is left of x. */
static uint32_t pasturePut(pastureWriter *out, uint8_t width, uint32_t x, uint32_t step)
{
    uint8_t bits = out->bits;
    uint8_t n = 1U;

    out->room = (int16_t)(out->room - (int16_t)width);
    for (; n < width; n++) {
        step <<= 1;
    }
    do {
        const uint8_t full = (uint8_t)(bits & 0x80U);

        bits = (uint8_t)(bits << 1);
        if (x >= step) {
            x -= step;
            bits = (uint8_t)(bits | 1U);
        }
        step >>= 1;
        if (full != 0U) {
            if (out->room >= 0) {
                out->data[out->size] = bits;
                out->size++;
            }
            bits = 1U;
        }
        width--;
    } while (width > 0U);
    out->bits = bits;
    return x;
}

/* Write a field, in base units, or that it is not known; 0 for a value that may not be sent. */
static uint8_t pasturePutField(pastureCoder *c, const pastureGrid *row, uint32_t x, uint8_t known)
{
    const uint8_t rules = pastureBYTE(row->rules);
    uint32_t step = 0U; /* absent: all bits one */

    if (known != 0U) {
        const uint32_t low = pastureLONG(row->low);
        const uint32_t span = pastureLONG(row->span);
        const uint32_t sign = pastureU(0x80000000);
        const uint8_t below = ((x ^ sign) < (low ^ sign)) ? 1U : 0U; /* as signed numbers */

        x -= low;
        if ((rules & pastureMASKED) != 0U) {
            x &= span;
        }
        if (x > span) {
            if ((rules & pastureCLIP) == 0U) {
                return 0U;
            }
            x = (below != 0U) ? 0U : span;
        }
        if (x > pastureLONG(row->turn)) {
            x = 0U;
        }
        step = pastureLONG(row->step);
        x += step / 2U;
    }
    x -= pasturePut(&c->out, pastureBYTE(row->bits), x, step);
    if (rules >= pastureANCHOR) {
        const uint8_t n = (uint8_t)((rules / pastureANCHOR) - 1U);

        if (x > pastureLONG(row->span)) {
            x = pastureLONG(row->span);
        }
        c->axes[n].from = (int32_t)(x + pastureLONG(row->low)); /* as the receiver has it */
        c->axes[n].known = known;
    }
    return 1U;
}

/* Write header and fields; 0 for a value that may not be sent, the one at c->place. */
static uint8_t pasturePutFields(pastureCoder *c, const pastureLayout *l, const uint8_t *from)
{
    const pastureGrid *row = pastureFIELDS;

    c->has = (uint8_t)(4U * pastureCOUNT);
    c->out.bits = 1U;
    c->out.data[0] = (uint8_t)pastureLAYOUT_ID;
    c->out.size = 1U;
    for (c->place = 0U; c->place < pastureCOUNT; c->place++) {
        uint32_t x;
        uint8_t known = 1U;

        if ((pastureBYTE(row->rules) & pastureOPTIONAL) != 0U) {
            known = from[c->has];
            c->has++;
        }
        (void)memcpy(&x, pastureALIGNED(&from[4U * c->place]), sizeof x);
        if (pasturePutField(c, row, x, known) == 0U) {
            return 0U;
        }
        row++;
    }
    return 1U;
}

/* Fill the last byte. */
static void pastureFill(pastureWriter *out)
{
    uint8_t bits = out->bits;

    if (bits != 1U) {
        while ((bits & 0x80U) == 0U) {
            bits = (uint8_t)(bits << 1);
        }
        out->data[out->size] = (uint8_t)(bits << 1);
        out->size++;
    }
}

/* Fill the last byte, and write the check. */
static void pastureFinish(pastureCoder *c, size_t *length)
{
    uint16_t state;

    pastureFill(&c->out);
    state = pastureCheck(c->out.data, c->out.size);
    c->out.data[c->out.size] = (uint8_t)(state >> 8);
    c->out.size++;
    c->out.data[c->out.size] = (uint8_t)(state >> 0);
    c->out.size++;
    *length = c->out.size;
}

/* Write a displacement: what its guess has left of it, by the order of its group: ones for what is too large for that,
 * then the rest. */
static void pasturePutNumber(pastureCoder *c, pastureGroup *g, pastureAxis *a, int32_t moved)
{
    const uint8_t k = pastureOrder(g);
    const int32_t rest = pastureLearn(c, g, a, moved);
    uint32_t x = (uint32_t)rest << 1;
    uint8_t width = (uint8_t)(k + 1U);
    uint32_t bucket = (uint32_t)1U << k;
    uint8_t steady = (c->done > 0U) ? 5U : 1U;

    if (rest < 0) {
        x = ~x;
    }
    while (x >= bucket) {
        x = pasturePut(&c->out, 1U, x, bucket); /* a one */
        steady--;
        if (steady == 0U) {
            steady = 1U;
            width++;
            bucket <<= 1;
        }
    }
    (void)pasturePut(&c->out, width, x, 1U);
}

/* Whether a value of a point is one at all. */
static uint8_t pastureIsPlace(int32_t at, uint8_t i)
{
    uint32_t limit = (i > 0U) ? pastureHALF : pasturePOLE;

    return (uint8_t)((((uint32_t)at + limit) > (2U * limit)) ? 0U : 1U);
}

/* Write an axis of the next point; where the point cannot be carried, the list has ended before it. */
static pastureAPART void pasturePutAxis(pastureCoder *c, pastureAxis *a, int32_t at, uint8_t i)
{
    pastureGroup *g = pasturePick(c, i);
    uint32_t x = (uint32_t)at - (uint32_t)a->from; /* from the anchor */
    uint8_t back = (at < a->from) ? 1U : 0U;

    if (back != 0U) {
        x = 0U - x;
    }
    if (x > pastureHALF) { /* the short way round; no latitudes are as far apart */
        x = (2U * pastureHALF) - x;
        back ^= 1U;
    }
    x = (x + (a->step / 2U)) / a->step; /* in cells */
    if (x > pastureCELLS) {
        c->out.room = -256; /* the list ends before it */
    } else {
        const int32_t moved = (int32_t)((back != 0U) ? (0U - x) : x) - a->cell;

        a->cell += moved;
        pasturePutNumber(c, g, a, moved);
    }
}

/* Write what stands before the points. */
static void pasturePutFront(pastureCoder *c, uint8_t count)
{
    uint8_t width = (uint8_t)(pastureCOUNT_BITS + 1U);

    pastureBegin(c);
    if (count == pasturePOINTS) {
        width = 1U;
        count = 1U;
    }
    (void)pasturePut(&c->out, width, count, 1U);
}

/* Write a trail of so many points, newest first: c->kept of them until the first that cannot be carried or finds no
 * room, from where on they are looked at, but not coded, as all are without a position. 0 for a place that is none. */
static uint8_t pasturePutPoints(pastureCoder *c, const uint8_t *from, uint8_t count)
{
    const uint8_t none = (uint8_t)(1U - (c->axes[0].known & c->axes[1].known));
    uint16_t place = (uint16_t)pastureTRAIL;

    if (none == 0U) {
        pasturePutFront(c, count);
    }
    c->kept = 0U;
    for (c->done = none; c->done < (uint8_t)(count + none); c->done++) {
        uint8_t i;

        for (i = 0U; i < 2U; i++) {
            int32_t at;

            (void)memcpy(&at, pastureALIGNED(&from[place]), sizeof at);
            place = (uint16_t)(place + 4U);
            if (pastureIsPlace(at, i) == 0U) {
                return 0U;
            }
            if (c->kept >= c->done) {
                pasturePutAxis(c, &c->axes[i], at, i);
            }
        }
        if (c->out.room >= 0) {
            c->kept++;
        }
    }
    return 1U;
}

/* Write header, fields, and as many points as there is room for; 0 for what may not be sent, at c->place. */
static uint8_t pasturePutAll(pastureCoder *c, const pastureLayout *l, const uint8_t *from)
{
    uint8_t most = 255U;
    uint8_t count;
    pastureWriter start;

    if ((pasturePutFields(c, l, from) == 0U) || (from[c->has] > pasturePOINTS)) {
        return 0U;
    }
    start = c->out;
    do { /* again with fewer points, where not all find room */
        c->out = start;
        count = from[c->has];
        if (count > most) {
            count = most;
        }
        if (pasturePutPoints(c, from, count) == 0U) {
            return 0U;
        }
        most = c->kept;
    } while (most != count);
    return 1U;
}

/* Write a packet with a trail. */
static pasture_fault pastureEncodeTrail(
    const uint8_t *from, uint8_t *to, size_t capacity, size_t *length, uint8_t *field, const pastureLayout *row)
{
    pastureCoder coder;
    pastureCoder *c = &coder;
    pastureLayout layout;
    const pastureLayout *l = &layout;

    pastureFETCH(layout, *row);
    if (capacity < pastureLEAST) {
        return PASTURE_TOO_SHORT;
    }
    if (capacity > pastureMOST) {
        capacity = pastureMOST;
    }
    c->out.room = (int16_t)((capacity - 3U) * 8U);
    c->out.data = to;
    if (pasturePutAll(c, l, from) == 0U) {
        if (field != NULL) {
            *field = c->place;
        }
        return PASTURE_OUT_OF_RANGE;
    }
    if (c->out.room < 0) {
        return PASTURE_TOO_SHORT; /* a position, but no room for the number of its points */
    }
    pastureFinish(c, length);
    return PASTURE_OK;
}

/* Write a packet without a trail. */
static pasture_fault pastureEncode(
    const uint8_t *from, uint8_t *to, size_t capacity, size_t *length, uint8_t *field, const pastureLayout *row)
{
    pastureCoder coder;
    pastureCoder *c = &coder;
    pastureLayout layout;
    const pastureLayout *l = &layout;

    pastureFETCH(layout, *row);
    if (capacity < pastureMOST) {
        return PASTURE_TOO_SHORT;
    }
    c->out.data = to;
    c->out.room = (int16_t)((pastureMOST - 3U) * 8U);
    if (pasturePutFields(c, l, from) == 0U) {
        if (field != NULL) {
            *field = c->place;
        }
        return PASTURE_OUT_OF_RANGE;
    }
    pastureFinish(c, length);
    return PASTURE_OK;
}

pasture_fault pasture_encode_position(
    const pasture_position *from, uint8_t *to, size_t capacity, size_t *length, uint8_t *field)
{
    return pastureEncode((const uint8_t *)from, to, capacity, length, field, &pastureLayout0);
}

pasture_fault pasture_encode_track(
    const pasture_track *from, uint8_t *to, size_t capacity, size_t *length, uint8_t *field)
{
    return pastureEncodeTrail((const uint8_t *)from, to, capacity, length, field, &pastureLayout1);
}

pasture_fault pasture_encode_status(
    const pasture_status *from, uint8_t *to, size_t capacity, size_t *length, uint8_t *field)
{
    return pastureEncode((const uint8_t *)from, to, capacity, length, field, &pastureLayout2);
}

void pasture_remember_track(pasture_track_memory *memory, const pasture_track_point *point, uint32_t time_s)
{
    uint8_t n;

    if (memory->count > 0U) {
        const uint32_t since = time_s - memory->slots[0].time_s;

        if (since == 0U) {
            return; /* remembered already */
        }
        if (since > pastureU(0x7fffffff)) {
            memory->count = 0U; /* the clock has gone back */
        }
    }
    if ((memory->count > 1U) && ((time_s - memory->slots[1].time_s) <=
        (((uint32_t)PASTURE_TRACK_SPACING_S + 1U) / 2U))) {
        memory->count--; /* each half spacing that holds the newest holds the one before it or this one: it gives way */
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

        if ((age >= wanted) && (age <= pastureU(0x7fffffff))) {
            if ((age - wanted) >= (((uint32_t)PASTURE_TRACK_SPACING_S + 1U) / 2U)) {
                break; /* no fix then: the list ends */
            }
            packet->trail[packet->trail_count] = memory->slots[n].point;
            packet->trail_count++;
        }
    }
}

/* Read so many bits, most significant first. */
static uint32_t pastureGet(pastureReader *in, uint8_t width)
{
    uint32_t x = 0U;
    uint8_t bits = in->bits;
    uint8_t held = in->held;

    in->left = (int16_t)(in->left - (int16_t)width);
    if (in->left < 0) {
        return 0U;
    }
    while (width > 0U) {
        uint8_t n;

        if (held == 0U) {
            bits = *in->from;
            in->from++;
            held = 8U;
        }
        n = (width < held) ? width : held;
        held = (uint8_t)(held - n);
        width = (uint8_t)(width - n);
        if (n == 8U) {
            x = (x << 8) | bits;
        } else {
            do {
                x <<= 1;
                if ((bits & 0x80U) != 0U) {
                    x |= 1U;
                }
                bits = (uint8_t)(bits << 1);
                n--;
            } while (n > 0U);
        }
    }
    in->bits = bits;
    in->held = held;
    return x;
}

/* Read an axis of the next point; 0 for what no encoder writes. */
static uint8_t pastureGetAxis(pastureCoder *c, uint8_t i)
{
    pastureGroup *g = pasturePick(c, i);
    pastureAxis *a = &c->axes[i];
    uint32_t x = 0U;
    uint32_t limit;
    int32_t moved;
    uint8_t k = pastureOrder(g);
    uint8_t steady = (c->done > 0U) ? 5U : 1U;

    while (pastureGet(&c->in, 1U) != 0U) {
        x += (uint32_t)1U << k;
        if (steady > 1U) {
            steady--;
        } else {
            k++;
            if (k > 24U) {
                return 0U;
            }
        }
    }
    x += pastureGet(&c->in, k);
    if (c->in.left < 0) {
        return 0U;
    }
    moved = ((x & 1U) != 0U) ? (-1 - (int32_t)(x >> 1)) : (int32_t)(x >> 1);
    moved += a->guesses[g->which];
    limit = ((pastureHALF + (a->step / 2U)) / a->step);
    if (limit > pastureCELLS) {
        limit = pastureCELLS;
    }
    if (pastureSize(a->cell + moved) > limit) {
        return 0U;
    }
    a->cell += moved;
    (void)pastureLearn(c, g, a, moved);
    return 1U;
}

/* The latitude and longitude that a point's cells stand for; 0 for one beyond the pole. */
static uint8_t pasturePlace(const pastureCoder *c, int32_t *point)
{
    const uint32_t step = c->axes[0].step;
    uint32_t north = (uint32_t)c->axes[0].from + pasturePOLE;
    uint32_t east = (uint32_t)c->axes[1].from + pastureHALF;
    uint32_t x = pastureSize(c->axes[0].cell) * step;

    if (c->axes[0].cell < 0) {
        if ((x > north) && (((x - north) * 2U) > step)) {
            return 0U;
        }
        north = (x > north) ? 0U : (north - x);
    } else {
        north += x;
        if (north > pastureHALF) {
            if (((north - pastureHALF) * 2U) > step) {
                return 0U;
            }
            north = pastureHALF;
        }
    }
    x = pastureSize(c->axes[1].cell) * c->axes[1].step;
    if (x >= (2U * pastureHALF)) {
        x -= 2U * pastureHALF;
    }
    if ((c->axes[1].cell < 0) && (x > 0U)) {
        x = (2U * pastureHALF) - x;
    }
    east = (x >= ((2U * pastureHALF) - east)) ? (x - ((2U * pastureHALF) - east)) : (x + east);
    point[0] = (int32_t)(north - pasturePOLE);
    point[1] = (int32_t)(east - pastureHALF);
    return 1U;
}

/* Read a point; 0 for what no encoder writes. */
static uint8_t pastureGetPoint(pastureCoder *c, int32_t *point)
{
    if ((pastureGetAxis(c, 0U) == 0U) || (pastureGetAxis(c, 1U) == 0U)) {
        return 0U;
    }
    return pasturePlace(c, point);
}

/* Read a trail, and store its points unless `to` is null; 0 for what no encoder writes. */
static uint8_t pastureGetPoints(pastureCoder *c, uint8_t *to)
{
    uint16_t place = (uint16_t)pastureTRAIL;

    c->count = (uint8_t)pasturePOINTS;
    if (pastureGet(&c->in, 1U) == 0U) {
        c->count = (uint8_t)pastureGet(&c->in, pastureCOUNT_BITS);
        if (c->count >= pasturePOINTS) {
            return 0U;
        }
    }
    pastureBegin(c);
    for (c->done = 0U; c->done < c->count; c->done++) {
        int32_t point[2];
        uint8_t i;

        if (pastureGetPoint(c, point) == 0U) {
            return 0U;
        }
        for (i = 0U; (i < 2U) && (to != NULL); i++) {
            (void)memcpy(&to[place], &point[i], sizeof point[i]);
            place = (uint16_t)(place + 4U);
        }
    }
    return 1U;
}

/* Read the fields as the members of a struct: c->place of them until the first that is out of range. */
static void pastureGetFields(pastureCoder *c, const pastureLayout *l, uint32_t *values)
{
    const pastureGrid *row = pastureFIELDS;
    uint8_t *has = (uint8_t *)values;

    c->has = (uint8_t)(4U * pastureCOUNT);
    for (c->place = 0U; c->place < pastureCOUNT; c->place++) {
        const uint8_t bits = pastureBYTE(row->bits);
        const uint8_t rules = pastureBYTE(row->rules);
        uint8_t known = 1U;
        uint32_t x = pastureGet(&c->in, bits);

        if (x > pastureLONG(row->last)) {
            if (((rules & pastureOPTIONAL) == 0U) || (x != (pastureU(0xffffffff) >> (32U - bits)))) {
                return;
            }
            known = 0U;
            x = 0U;
        } else {
            const uint32_t span = pastureLONG(row->span);

            x *= pastureLONG(row->step);
            if (x > span) {
                x = span;
            }
            x += pastureLONG(row->low);
        }
        if (rules >= pastureANCHOR) {
            const uint8_t n = (uint8_t)((rules / pastureANCHOR) - 1U);

            c->axes[n].from = (int32_t)x;
            c->axes[n].known = known;
        }
        values[c->place] = x;
        if ((rules & pastureOPTIONAL) != 0U) {
            has[c->has] = known;
            c->has++;
        }
        row++;
    }
}

/* Find a layout by its header; 0 where there is none. */
static uint8_t pastureFind(pastureLayout *l, uint32_t header)
{
    static const pastureLayout *const layouts[] pastureFLASH = {
        &pastureLayout0,
        &pastureLayout1,
        &pastureLayout2,
    };
    uint8_t n;

    for (n = 0U; n < 3U; n++) {
        const pastureLayout *row;

        pastureFETCH(row, layouts[n]);
        pastureFETCH(*l, *row);
        if (pastureLAYOUT_ID == header) {
            return 1U;
        }
    }
    return 0U;
}

/* Look at header, length, check and padding. */
static pasture_fault pastureIdentify(
    pastureCoder *c, pastureLayout *l, const uint8_t *data, size_t length)
{
    uint32_t header;

    if (length < 1U) {
        return PASTURE_TOO_SHORT;
    }
    c->in.bits = 0U;
    c->in.held = 0U;
    header = data[0];
    c->in.from = &data[1];
    if ((header >> 4) != 1U) {
        return PASTURE_UNKNOWN_VERSION;
    }
    if (pastureFind(l, header) == 0U) {
        return PASTURE_UNKNOWN_LAYOUT;
    }
    if (length < pastureLEAST) {
        return PASTURE_TOO_SHORT;
    }
    if (length > pastureMOST) {
        return PASTURE_TOO_LONG;
    }
    if (pastureCheck(data, (uint8_t)length) != 0x0000U) {
        return PASTURE_BAD_CHECK;
    }
    if ((data[length - 3U] & pasturePADDING) != 0U) {
        return PASTURE_BAD_PADDING;
    }
    c->in.left = (int16_t)((((int16_t)length - 2) * 8) - 8);
    return PASTURE_OK;
}

pasture_fault pasture_decode(pasture_packet *packet, const uint8_t *data, size_t length,
    uint8_t *field)
{
    pastureCoder coder;
    pastureCoder *c = &coder;
    pastureLayout layout;
    pastureLayout *l = &layout;
    uint32_t values[10];
    uint8_t *to = (uint8_t *)&packet->as;
    pastureReader start;
    const pasture_fault fault = pastureIdentify(c, l, data, length);

    if (fault != PASTURE_OK) {
        return fault;
    }
    pastureGetFields(c, l, values);
    if (c->place < pastureCOUNT) {
        if (field != NULL) {
            *field = c->place;
        }
        return PASTURE_OUT_OF_RANGE;
    }
    c->count = 0U;
    start = c->in;
    if (l->trail > 0U) {
        if (((c->axes[0].known & c->axes[1].known) != 0U) && (pastureGetPoints(c, NULL) == 0U)) {
            return PASTURE_BAD_TRAIL;
        }
        if ((c->in.left < 0) || (c->in.left > 7) || (pastureGet(&c->in, (uint8_t)c->in.left) != 0U)) {
            return PASTURE_BAD_TRAIL; /* no padding behind it */
        }
    }
    c->in = start;
    if (c->count > 0U) {
        (void)pastureGetPoints(c, to); /* all of it has been looked at */
    }
    if (l->trail > 0U) {
        to[c->has] = c->count;
    }
    (void)memcpy(to, values, c->has);
    packet->layout = (uint8_t)(pastureLAYOUT_ID & 15U);
    return PASTURE_OK;
}

/* A digit as a number; 10 or more for anything else. */
static uint8_t pastureDigit(char sign)
{
    return (uint8_t)((uint8_t)sign - (uint8_t)'0');
}

/* A number being read. */
typedef struct {
    const char *at;
    uint32_t whole; /* beyond 2147483647 where the number is */
    uint8_t seen; /* digits, 4 for more */
    uint8_t point; /* whether one is behind them */
} pastureText;

static void pastureAppend(pastureText *t, uint8_t digit)
{
    t->whole = (t->whole > pastureU(214748364)) ? pastureU(0xffffffff) : ((t->whole * 10U) + digit);
}

/* Read all digits up to a point. */
static void pastureWhole(pastureText *t, const char *digits)
{
    t->whole = 0U;
    t->seen = 0U;
    for (t->at = digits; pastureDigit(*t->at) < 10U; t->at++) {
        pastureAppend(t, pastureDigit(*t->at));
        if (t->seen < 4U) {
            t->seen++;
        }
    }
    t->point = (*t->at == '.') ? 1U : 0U;
    if (t->point != 0U) {
        t->at++;
    }
}

/* Read so many digits behind the point; what is not there is 0. */
static void pastureFraction(pastureText *t, uint8_t places)
{
    for (; places > 0U; places--) {
        uint8_t digit = 0U;

        if ((t->point != 0U) && (pastureDigit(*t->at) < 10U)) {
            digit = pastureDigit(*t->at);
            t->at++;
            t->seen |= 1U;
        } else {
            t->point = 0U;
        }
        pastureAppend(t, digit);
    }
}

pasture_fault pasture_degrees(int32_t *e7, const char *digits, char hemisphere)
{
    const uint8_t back = ((hemisphere == 'S') || (hemisphere == 'W')) ? 1U : 0U;
    const uint8_t east = ((hemisphere == 'E') || (hemisphere == 'W')) ? 1U : 0U;
    uint32_t whole;
    pastureText t;

    pastureWhole(&t, digits);
    whole = t.whole / 100U;
    if ((t.seen < 4U) || (whole > 180U) || ((east == 0U) && (hemisphere != 'N') && (hemisphere != 'S'))) {
        return PASTURE_OUT_OF_RANGE; /* fewer than four digits: decimal degrees, perhaps */
    }
    t.whole %= 100U;
    pastureFraction(&t, 7U); /* of a minute; further digits cannot change the result */
    whole = (whole * pastureU(10000000)) + ((t.whole + 30U) / 60U);
    if ((t.whole >= pastureU(600000000)) || (whole > ((east != 0U) ?
        (2U * pastureU(900000000)) : pastureU(900000000)))) {
        return PASTURE_OUT_OF_RANGE;
    }
    *e7 = (back != 0U) ? -(int32_t)whole : (int32_t)whole;
    return PASTURE_OK;
}

pasture_fault pasture_decimal(int32_t *to, const char *digits, uint8_t places)
{
    const uint8_t back = (*digits == '-') ? 1U : 0U;
    pastureText t;

    if ((*digits == '-') || (*digits == '+')) {
        digits++;
    }
    pastureWhole(&t, digits);
    pastureFraction(&t, places);
    if ((t.point != 0U) && (pastureDigit(*t.at) < 10U)) {
        t.seen |= 1U;
        if ((pastureDigit(*t.at) > 4U) && (t.whole <= pastureU(2147483647))) {
            t.whole++; /* halves away from zero */
        }
    }
    if ((t.seen == 0U) || (t.whole > pastureU(2147483647))) {
        return PASTURE_OUT_OF_RANGE;
    }
    *to = (back != 0U) ? -(int32_t)t.whole : (int32_t)t.whole;
    return PASTURE_OK;
}

/* Two digits as a number up to a limit; 255 for anything else. */
static uint8_t pasturePair(const char *digits, uint8_t most)
{
    uint8_t found = 255U;

    if ((pastureDigit(digits[0]) < 10U) && (pastureDigit(digits[1]) < 10U)) {
        found = (uint8_t)((pastureDigit(digits[0]) * 10U) + pastureDigit(digits[1]));
    }
    return (found > most) ? 255U : found;
}

pasture_fault pasture_seconds(uint32_t *to, const char *date, const char *time)
{
    static const uint8_t lengths[12] = { 31U, 28U, 31U, 30U, 31U, 30U, 31U, 31U, 30U, 31U, 30U, 31U };
    uint8_t parts[6];
    uint16_t days;
    uint8_t n;

    for (n = 0U; n < 6U; n++) {
        static const uint8_t most[6] = { 31U, 12U, 99U, 23U, 59U, 60U };

        /* The second is not looked at unless the first is a digit: a text may end there. */
        parts[n] = (n < 3U) ? pasturePair(&date[2U * n], most[n]) : pasturePair(&time[2U * (n - 3U)], most[n]);
        if (parts[n] == 255U) {
            return PASTURE_OUT_OF_RANGE;
        }
    }
    if ((parts[0] == 0U) || (parts[1] == 0U)) {
        return PASTURE_OUT_OF_RANGE;
    }
    /* From 2000 to 2099 every fourth year has a day more. */
    if (parts[0] > (uint8_t)(lengths[parts[1] - 1U] + (((parts[1] == 2U) && ((parts[2] % 4U) == 0U)) ? 1U : 0U))) {
        return PASTURE_OUT_OF_RANGE;
    }
    days = (uint16_t)((parts[2] * 365U) + ((parts[2] + 3U) / 4U) + parts[0] - 1U);
    for (n = 1U; n < parts[1]; n++) {
        days = (uint16_t)(days + lengths[n - 1U]);
    }
    if ((parts[1] > 2U) && ((parts[2] % 4U) == 0U)) {
        days++;
    }
    *to = pastureU(946684800) + (days * pastureU(86400));
    *to += (parts[3] * pastureU(3600)) + (parts[4] * 60U) + parts[5];
    return PASTURE_OK;
}
