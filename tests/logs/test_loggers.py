"""Lines as loggers of many kinds print them, all invented: the same packet at noon, heard at -97 dBm."""

from __future__ import annotations

import base64
import json

import pytest

from packetcodec.logs.heard import LineReader, Reception
from packetcodec.logs.time_format import TimeFormat

DATA = bytes.fromhex("11072abad13d02afae8bcf480f2c")
NOON = 1_782_907_200.0  # 2026-07-01T12:00:00Z
HEX, UPPER, PAIRS = DATA.hex(), DATA.hex().upper(), DATA.hex(" ")
CODED = base64.b64encode(DATA).decode()
ARRAY = ", ".join(f"0x{byte:02X}" for byte in DATA)
ESCAPED = "".join(f"\\x{byte:02x}" for byte in DATA)
PLAIN = {
    "C array": (f"2026-07-01T12:00:00Z uint8_t packet[14] = {{ {ARRAY} }}; // RSSI -97, SNR 8.5", -97, 8.5),
    "dump in two halves": (
        f"2026-07-01T12:00:00Z 0000: {DATA[:8].hex(' ')}  {DATA[8:].hex(' ')}  |..*.=....H.,|",
        None,
        None,
    ),
    "table without names": (f"2026-07-01,12:00:00,868100000,10,125,14,{HEX}", None, None),
    "keys and values": (f"t=1782907200 freq=868.1 sf=10 rssi=-97 snr=8.5 len=14 payload={HEX}", -97, 8.5),
    "compact time": (f"20260701T120000Z {HEX} -97 dBm", -97, None),
    "check beside it": (
        f"2026-07-01 12:00:00.000 <- {UPPER} check ok (0x0f2c) off by -1234 Hz snr=-3.25 rssi=-97",
        -97,
        -3.25,
    ),
    "a longer number before it": (f"2026-07-01T12:00:00+00:00 70b3d57ed0001234 n=7 {HEX} rssi=-97", -97, None),
    "bytes of Python": (f"2026-07-01 12:00:00 b'{ESCAPED}' -97dBm", -97, None),
    "JSON behind a time": (
        "2026-07-01T12:00:00.000Z INFO " + json.dumps({"data": CODED, "rssi": -97, "snr": 8.5}),
        -97,
        8.5,
    ),
    "a list of JSON over lines": ("[" + json.dumps({"time": "2026-07-01T12:00:00Z", "data": HEX}) + ",", None, None),
    "JSON in JSON": (
        json.dumps({"station": "hut", "rx": {"time": NOON, "radio": {"rssi_dbm": -97}}, "message": {"payload_b64": CODED}}),
        -97,
        None,
    ),
}
FORMATS = {
    "of a system log": ("%b %d %H:%M:%S", 2026, f"Jul  1 12:00:00 hut radio[412]: {HEX} (RSSI -97, SNR 8)", 8),
    "AM and PM": ("%m/%d/%Y %I:%M:%S %p", None, f"07/01/2026 12:00:00 PM | {UPPER} | -97 dBm | 8.0 dB", 8),
    "decimal comma": ("%d.%m.%Y %H:%M:%S", None, f"01.07.2026 12:00:00; {PAIRS}; RSSI: -97 dBm; SNR: 8,5 dB", 8.5),
    "the year last": ("%a %b %d %H:%M:%S %Y", None, f"Wed Jul 01 12:00:00 2026 collar 7: {CODED} rssi -97", None),
}


@pytest.mark.parametrize(("line", "rssi", "snr"), PLAIN.values(), ids=PLAIN)
def test_a_line_is_read_without_an_option(line: str, rssi: float | None, snr: float | None) -> None:
    assert LineReader(accepts=lambda data: data == DATA).read(line) == (DATA, Reception(NOON, rssi, snr))


@pytest.mark.parametrize(("form", "year", "line", "snr"), FORMATS.values(), ids=FORMATS)
def test_a_line_is_read_by_the_format_of_its_time(form: str, year: int | None, line: str, snr: float | None) -> None:
    reader = LineReader(time_format=TimeFormat(form, year), accepts=lambda data: data == DATA)
    assert reader.read(line) == (DATA, Reception(NOON, -97, snr))


def test_a_packet_takes_time_and_strength_of_the_line_before_it_but_not_of_one_farther_up() -> None:
    reader = LineReader(accepts=lambda data: data == DATA)
    assert reader.read("2026-07-01T12:00:00Z RX done, 14 bytes, RSSI=-97, SNR=8") is None
    assert reader.read(f"  data: {UPPER}") == (DATA, Reception(NOON, -97, 8))
    assert reader.read(f"  data: {UPPER}") == (DATA, Reception())
    assert reader.read("RSSI=-80") is None
    assert reader.read(HEX) == (DATA, Reception())
