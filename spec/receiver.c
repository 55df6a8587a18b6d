/* Example receiver for the packets of pasture_packets.h: reads one packet a line in hexadecimal from stdin, and prints what it says, or
 * the name of its fault.
 *
 *     cc -std=c99 -o receiver receiver.c pasture_packets.c && ./receiver < packets.hex
 *
 * This file is yours, free of any condition. No life-saving device may depend on it.
 */
#include "pasture_packets.h"

#include <stdio.h>
#include <string.h>

static const char *const faults[] = {
    "ok", "too_short", "too_long", "unknown_version", "unknown_layout", "bad_check", "bad_padding", "out_of_range", "bad_trail",
};

/* Base units as a decimal number; the scale is a power of ten with so many zeros. */
static void print_decimal(const char *name, int32_t value, int zeros)
{
    unsigned long size = value < 0 ? 0UL - (unsigned long)value : (unsigned long)value, scale = 1;
    int i;

    for (i = 0; i < zeros; i++)
        scale *= 10;
    size &= 0xffffffffUL;
    printf(" %s %s%lu.%0*lu", name, value < 0 ? "-" : "", size / scale, zeros, size % scale);
}

static int digit(char c)
{
    const char *digits = "0123456789abcdef", *found = c ? strchr(digits, c) : NULL;

    return found ? (int)(found - digits) : -1;
}

/* Everything of a position but its trail. */
static void print_position(const pasture_position *p)
{
    printf("collar %lu counter %lu", (unsigned long)p->collar, (unsigned long)p->counter);
    if (p->has_latitude && p->has_longitude) {
        print_decimal("latitude", p->latitude_e7, 7);
        print_decimal("longitude", p->longitude_e7, 7);
    }
    if (p->has_altitude)
        print_decimal("altitude", p->altitude_cm, 2);
    print_decimal("battery", p->battery_mv, 3);
    printf(" fix_quality %lu\n", (unsigned long)p->fix_quality);
}

int main(void)
{
    char line[1024];

    while (fgets(line, sizeof line, stdin)) {
        static pasture_packet packet;
        uint8_t data[256];
        size_t length = 0;
        pasture_fault fault;

        while (length < sizeof data && digit(line[2 * length]) >= 0 && digit(line[2 * length + 1]) >= 0) {
            data[length] = (uint8_t)(16 * digit(line[2 * length]) + digit(line[2 * length + 1]));
            length++;
        }
        fault = pasture_decode(&packet, data, length, NULL);
        if (fault != PASTURE_OK) {
            printf("%s\n", faults[fault]);
        } else if (packet.layout == PASTURE_POSITION_ID) {
            print_position(&packet.as.position);
        } else if (packet.layout == PASTURE_TRACK_ID) {
            const pasture_track *track = &packet.as.track;
            uint8_t i;

            printf("collar %lu counter %lu", (unsigned long)track->collar, (unsigned long)track->counter);
            if (track->has_latitude && track->has_longitude) {
                print_decimal("latitude", track->latitude_e7, 7);
                print_decimal("longitude", track->longitude_e7, 7);
            }
            printf(" points %u\n", track->trail_count);
            for (i = 0; i < track->trail_count; i++) {
                printf("  %d s before:", (i + 1) * PASTURE_TRACK_SPACING_S);
                print_decimal("latitude", track->trail[i].latitude_e7, 7);
                print_decimal("longitude", track->trail[i].longitude_e7, 7);
                putchar('\n');
            }
        } else if (packet.layout == PASTURE_STATUS_ID) {
            const pasture_status *status = &packet.as.status;

            printf("collar %lu counter %lu", (unsigned long)status->collar, (unsigned long)status->counter);
            print_decimal("battery", status->battery_mv, 3);
            printf(" gate_open %lu\n", (unsigned long)status->gate_open);
        }
    }
    return 0;
}
