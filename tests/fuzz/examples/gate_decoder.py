"""A decoder written by hand from the specification of gate.toml."""


def crc(data: bytes) -> int:
    state = 0xFF
    for byte in data:
        state ^= byte
        for _ in range(8):
            state = (state << 1 ^ 0x2F if state & 0x80 else state << 1) & 0xFF
    return state ^ 0xFF


def decode(data: bytes) -> tuple[str, list[int]]:
    if not data:
        return "too_short", []
    if data[0] >> 4 != 1:
        return "unknown_version", []
    if data[0] & 15 != 2:
        return "unknown_layout", []
    if len(data) != 5:
        return "too_short" if len(data) < 5 else "too_long", []
    if crc(data[:4]) != data[4]:
        return "bad_check", []
    if data[3] & 31:
        return "bad_padding", []
    collar, temperature, activity, opened = data[1], data[2], data[3] >> 6, data[3] >> 5 & 1
    if (temperature > 200 and temperature != 255) or activity > 2:
        return "out_of_range", []
    return "ok", [collar, temperature, activity, opened]
