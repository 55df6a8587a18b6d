/* A decoder written by hand from the specification of gate.toml. */
struct gate {
    unsigned collar, temperature, activity, open;
};

static const char *gate_decode(struct gate *gate, const unsigned char *data, unsigned length)
{
    unsigned i, bit, state = 0xff;
    if (length < 1) return "too_short";
    if (data[0] >> 4 != 1) return "unknown_version";
    if ((data[0] & 15) != 2) return "unknown_layout";
    if (length < 5) return "too_short";
    if (length > 5) return "too_long";
    for (i = 0; i < 4; i++)
        for (state ^= data[i], bit = 0; bit < 8; bit++) state = (state & 0x80 ? state << 1 ^ 0x2f : state << 1) & 0xff;
    if ((state ^ 0xff) != data[4]) return "bad_check";
    if (data[3] & 31) return "bad_padding";
    if ((data[2] > 200 && data[2] != 255) || data[3] >> 6 > 2) return "out_of_range";
    gate->collar = data[1];
    gate->temperature = data[2];
    gate->activity = data[3] >> 6;
    gate->open = data[3] >> 5 & 1;
    return "ok";
}
