/* Example transmitter for the packets of pasture_packets.h: reads NMEA 0183 sentences from stdin as a receiver prints them, and prints
 * one packet a line in hexadecimal for every GGA sentence. A real one would hand the bytes to its radio instead.
 *
 *     cc -std=c99 -o transmitter transmitter.c pasture_packets.c && ./transmitter 7 < log.nmea
 *
 * This file is yours, free of any condition. Packets travel in clear; no life-saving device may depend on them.
 */
#include "pasture_packets.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The sum behind the star must be that of the characters between $ and star. */
static int sentence_is_whole(const char *line)
{
    const char *star = strchr(line, '*');
    unsigned sum = 0;

    if (line[0] != '$' || !star)
        return 0;
    for (line++; line < star; line++)
        sum ^= (unsigned char)*line;
    return strtoul(star + 1, NULL, 16) == sum;
}

/* The field of a sentence, counted from 0; an empty text where there is none. */
static const char *field(const char *line, int number)
{
    while (number--) {
        line = strchr(line, ',');
        if (!line)
            return "";
        line++;
    }
    return line;
}

/* Metres with decimals, as digits, in centimetres; further decimals are cut. 0 if there is no number. */
static int centimetres(const char *digits, int32_t *to)
{
    int minus = *digits == '-', decimals = -1, any = 0;
    int32_t value = 0;

    for (digits += minus; (*digits >= '0' && *digits <= '9') || (*digits == '.' && decimals < 0); digits++) {
        if (*digits == '.') {
            decimals = 0;
        } else {
            any = 1;
            if (decimals < 2 && value < 10000000) {
                value = value * 10 + (*digits - '0');
                decimals += decimals >= 0;
            }
        }
    }
    if (!any)
        return 0;
    for (decimals = decimals < 0 ? 0 : decimals; decimals < 2; decimals++)
        value *= 10;
    *to = minus ? -value : value;
    return 1;
}

int main(int argc, char **argv)
{
    char line[256];
    static pasture_position position; /* all of it 0 */

    position.collar = (uint32_t)(argc > 1 ? atoi(argv[1]) : 1);
    position.battery_mv = 3700; /* a real one measures it */
    while (fgets(line, sizeof line, stdin)) {
        uint8_t data[PASTURE_POSITION_BYTES];
        size_t length = 0, i;
        pasture_fault fault;

        if (!sentence_is_whole(line) || strncmp(line + 3, "GGA,", 4) != 0)
            continue;
        position.fix_quality = (uint32_t)atoi(field(line, 6));
        position.has_latitude = position.fix_quality
            && pasture_degrees(&position.latitude_e7, field(line, 2), *field(line, 3)) == PASTURE_OK;
        position.has_longitude = position.fix_quality
            && pasture_degrees(&position.longitude_e7, field(line, 4), *field(line, 5)) == PASTURE_OK;
        position.has_altitude = position.fix_quality && centimetres(field(line, 9), &position.altitude_cm);
        fault = pasture_encode_position(&position, data, sizeof data, &length, NULL);
        if (fault != PASTURE_OK) {
            fprintf(stderr, "not sent: fault %d\n", (int)fault);
            continue;
        }
        for (i = 0; i < length; i++)
            printf("%02x", data[i]);
        putchar('\n');
        position.counter++; /* wraps by itself */
    }
    return 0;
}
