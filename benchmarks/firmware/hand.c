/* The position layout of the starter schema by hand, for this layout alone, as someone packs it who knows it by heart: the honest
 * lower bound. The same checks, steps, absent values and CRC as the emitted code, and the same functions. */
#include "pasture_packets.h"

static uint16_t crc(const uint8_t *data, uint8_t length)
{
    uint16_t state = SEED;
    uint8_t bit;

    while (length--) {
        state ^= (uint16_t)((uint16_t)*data++ << 8);
        for (bit = 8; bit; bit--)
            state = (uint16_t)(state & 0x8000U ? state << 1 ^ POLYNOMIAL : state << 1);
    }
    return state;
}

#if defined ENCODE
pasture_fault pasture_encode_position(
    const pasture_position *from, uint8_t *to, size_t capacity, size_t *length, uint8_t *field)
{
    uint32_t north = 0x7fffffUL, east = 0xffffffUL;
    uint16_t height = 0xfffU, state;
    uint8_t battery, fix = (uint8_t)from->fix_quality;
    int32_t x;

    (void)field;
    if (capacity < 14)
        return PASTURE_TOO_SHORT;
    if (from->collar > 255 || from->fix_quality > 7)
        return PASTURE_OUT_OF_RANGE;
    if (from->has_latitude) {
        if (from->latitude_e7 < -900000000L || from->latitude_e7 > 900000000L)
            return PASTURE_OUT_OF_RANGE;
        north = ((uint32_t)from->latitude_e7 + 900000000UL + 111) / 223;
    }
    if (from->has_longitude) {
        if (from->longitude_e7 < -1800000000L || from->longitude_e7 > 1800000000L)
            return PASTURE_OUT_OF_RANGE;
        east = ((uint32_t)from->longitude_e7 + 1800000000UL + 112) / 224;
        if (east > 16071428UL)
            east = 0;
    }
    if (from->has_altitude) {
        x = from->altitude_cm < -50000L ? -50000L : from->altitude_cm > 900000L ? 900000L : from->altitude_cm;
        height = (uint16_t)((uint32_t)(x + 50000L + 116) / 233);
    }
    x = from->battery_mv < 2500 ? 2500 : from->battery_mv > 4500 ? 4500 : from->battery_mv;
    battery = (uint8_t)((uint16_t)(x - 2500 + 10) / 20);
    to[0] = 0x11;
    to[1] = (uint8_t)from->collar;
    to[2] = (uint8_t)from->counter;
    to[3] = (uint8_t)(north >> 15);
    to[4] = (uint8_t)(north >> 7);
    to[5] = (uint8_t)((uint8_t)north << 1 | (uint8_t)(east >> 23));
    to[6] = (uint8_t)(east >> 15);
    to[7] = (uint8_t)(east >> 7);
    to[8] = (uint8_t)((uint8_t)east << 1 | (uint8_t)(height >> 11));
    to[9] = (uint8_t)(height >> 3);
    to[10] = (uint8_t)((uint8_t)height << 5 | battery >> 2);
    to[11] = (uint8_t)(battery << 6 | fix << 3);
    state = crc(to, 12);
    to[12] = (uint8_t)(state >> 8);
    to[13] = (uint8_t)state;
    *length = 14;
    return PASTURE_OK;
}
#endif

#if defined DECODE
pasture_fault pasture_decode(pasture_packet *packet, const uint8_t *data, size_t length, uint8_t *field)
{
    pasture_position *to = &packet->as.position;
    uint32_t north, east, x;
    uint16_t height;
    uint8_t battery;

    (void)field;
    if (length < 1)
        return PASTURE_TOO_SHORT;
    if (data[0] >> 4 != 1)
        return PASTURE_UNKNOWN_VERSION;
    if (data[0] != 0x11)
        return PASTURE_UNKNOWN_LAYOUT;
    if (length != 14)
        return length < 14 ? PASTURE_TOO_SHORT : PASTURE_TOO_LONG;
    if (crc(data, 14))
        return PASTURE_BAD_CHECK;
    if (data[11] & 7)
        return PASTURE_BAD_PADDING;
    north = (uint32_t)data[3] << 15 | (uint16_t)((uint16_t)data[4] << 7) | data[5] >> 1;
    east = (uint32_t)(data[5] & 1) << 23 | (uint32_t)data[6] << 15 | (uint16_t)((uint16_t)data[7] << 7) | data[8] >> 1;
    height = (uint16_t)((data[8] & 1) << 11 | (uint16_t)(data[9] << 3) | data[10] >> 5);
    battery = (uint8_t)((data[10] & 31) << 2 | data[11] >> 6);
    if ((north > 8071749UL && north != 0x7fffffUL) || (east > 16071428UL && east != 0xffffffUL)
        || (height > 4077 && height != 0xfff) || battery > 100)
        return PASTURE_OUT_OF_RANGE;
    packet->layout = 1;
    to->collar = data[1];
    to->counter = data[2];
    to->has_latitude = north != 0x7fffffUL;
    x = north * 223;
    to->latitude_e7 = to->has_latitude ? (int32_t)((x > 1800000000UL ? 1800000000UL : x) - 900000000UL) : 0;
    to->has_longitude = east != 0xffffffUL;
    x = east * 224;
    to->longitude_e7 = to->has_longitude ? (int32_t)((x > 3600000000UL ? 3600000000UL : x) - 1800000000UL) : 0;
    to->has_altitude = height != 0xfff;
    x = (uint32_t)height * 233;
    to->altitude_cm = to->has_altitude ? (int32_t)(x > 950000UL ? 950000UL : x) - 50000L : 0;
    to->battery_mv = 2500 + battery * 20;
    to->fix_quality = data[11] >> 3 & 7;
    return PASTURE_OK;
}
#endif
