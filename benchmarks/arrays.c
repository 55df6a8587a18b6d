/* Loops over packets around the emitted code of the starter schema: what a program in C would do with an archive. */
#include <stddef.h>
#include <stdint.h>

#include "pasture_packets.h"

size_t decode_all(const uint8_t *data, const int32_t *offsets, size_t count)
{
    pasture_packet packet;
    size_t good = 0;
    for (size_t i = 0; i < count; i++)
        good += pasture_decode(&packet, data + offsets[i], (size_t)(offsets[i + 1] - offsets[i]), NULL) == PASTURE_OK;
    return good;
}

static pasture_packet kept[4096];

size_t load(const uint8_t *data, size_t size)
{
    size_t good = 0;
    for (size_t i = 0; i < sizeof kept / sizeof kept[0]; i++)
        good += pasture_decode(&kept[i], data + i * size, size, NULL) == PASTURE_OK;
    return good;
}

size_t encode_all(uint8_t *out, size_t count)
{
    size_t good = 0, length = 0;
    for (size_t i = 0; i < count; i++)
        good += pasture_encode_position(&kept[i % 4096].as.position, out + i % 4096 * 16, 16, &length, NULL) == PASTURE_OK;
    return good;
}
