"""Logs of what was heard, as loggers and radio modules write them; random ones; and any line at all."""

import base64
import json
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packetcodec.errors import PacketcodecError
from packetcodec.logs.heard import LineReader, Reception
from packetcodec.logs.time_format import TimeFormat

DATA = bytes.fromhex("11072abad13d02afae8bcf480f2c")
NOON = 1_782_907_200.0  # 2026-07-01T12:00:00Z
HEX = DATA.hex()
PAIRS = DATA.hex(" ").upper()
CODED = base64.b64encode(DATA).decode()
READER = LineReader(accepts=lambda data: data == DATA)


@pytest.mark.parametrize(
    ("line", "reception"),
    [
        (HEX, Reception()),
        (f"0x{HEX.upper()}", Reception()),
        (PAIRS.replace(" ", ":"), Reception()),
        (CODED, Reception()),
        (f"rx {PAIRS} (-97 dBm, 8.5 dB)", Reception(None, -97, 8.5)),
        (f"2026-07-01T12:00:00Z {HEX}", Reception(NOON)),
        (f"2026-07-01 12:00:00,250 {CODED} RSSI=-101 SNR=-7.25", Reception(NOON + 0.25, -101, -7.25)),
        (f"[2026-07-01 14:00:00.5+02:00] {PAIRS} rssi: -80", Reception(NOON + 0.5, -80)),
        (f"1782907200.25 {HEX}", Reception(NOON + 0.25)),
        (f"1782907200250\t{HEX}\t-97 dBm", Reception(NOON + 0.25, -97)),
        (f"\x1b[32mI (1234) lora: {len(DATA)} bytes: {HEX}, rssi -90, snr 9\x1b[0m", Reception(None, -90, 9)),
        (json.dumps({"time": "2026-07-01T12:00:00Z", "hex": HEX, "rssi": -97, "snr": 8}), Reception(NOON, -97, 8)),
        (json.dumps({"up": {"payload": CODED, "rx": [{"rssi": -97, "lsnr": 8}]}, "ts": NOON}), Reception(NOON, -97, 8)),
        (json.dumps({"bytes": list(DATA), "time": NOON * 1000}), Reception(NOON)),
    ],
)
def test_a_line_gives_its_packet_and_how_it_was_heard(line, reception):
    assert READER.read(line) == (DATA, reception)


def test_a_time_is_never_taken_for_the_packet_nor_a_packet_for_a_time():
    plain = LineReader()
    assert plain.read("2026-07-01 12:00:00 beacon heard") is None
    assert plain.read(f"12-34 12:00:00 {HEX}")[0] == DATA
    assert plain.read("1782907200")[0] == bytes.fromhex("1782907200")


@pytest.mark.parametrize(
    ("form", "text", "time"),
    [
        ("%d.%m.%Y %H:%M:%S", "01.07.2026 12:00:00", NOON),
        ("%Y%m%d-%H%M%S.%f", "20260701-120000.250", NOON + 0.25),
        ("%b %d %Y %I:%M:%S %p", "Jul 01 2026 12:00:00 PM", NOON),
        ("%Y/%m/%d %H:%M:%S %z", "2026/07/01 14:00:00 +0200", NOON),
        ("%H:%M:%S", "12:00:00", 43_200.0),
    ],
)
def test_a_time_in_the_loggers_own_format(form, text, time):
    assert LineReader(time_format=form).read(f"{text} -> {HEX}") == (DATA, Reception(time))


def test_a_day_needs_a_year_in_the_format_or_beside_it():
    line = f"Jul  1 12:00:00 hut: {HEX}"
    with pytest.raises(PacketcodecError, match="has a day but no year"):
        LineReader(time_format="%b %d %H:%M:%S")
    assert LineReader(time_format=TimeFormat("%b %d %H:%M:%S", 2026)).read(line) == (DATA, Reception(NOON))
    assert TimeFormat("%d.%m. %H:%M", 2024).read("29.02. 00:00") == 1_709_164_800.0


@pytest.mark.parametrize(
    ("form", "year", "message"),
    [
        ("%I:%M", None, "time format '%I:%M': has hours up to 12 (%I) without AM or PM (%p)"),
        ("%H:%M", 2026, "year: 2026 is not needed; time format '%H:%M' has no day"),
        ("%d.%m.%y", 2026, "year: 2026 is not needed; time format '%d.%m.%y' has one"),
        ("%d.%m.", 0, "year: 0 is outside 1..9999"),
    ],
)
def test_a_format_that_cannot_be_is_one_line(form, year, message):
    with pytest.raises(PacketcodecError) as caught:
        TimeFormat(form, year)
    assert str(caught.value) == message


def test_times_without_a_date_go_on_past_midnight():
    reader = LineReader(time_format="%H:%M:%S")
    times = [reader.read(f"{text} {HEX}")[1].time for text in ("23:59:50", "00:00:20", "00:00:19", "12:00:00")]
    assert times == [86_390.0, 86_420.0, 86_419.0, 129_600.0]


def test_a_pattern_names_the_parts():
    reader = LineReader(r"\+RX=\d+,(?P<base64>[^,]+),(?P<rssi>-\d+),(?P<snr>-?\d+)")
    assert reader.read(f"+RX=50,{CODED},-99,4") == (DATA, Reception(None, -99, 4))
    assert reader.read("+RX=50,") is None


@pytest.mark.parametrize(
    ("pattern", "message"),
    [
        ("(", "pattern '\\(': missing"),
        ("(a)(b)", "has 2 groups; it must have one"),
        ("(?P<cow>a)", "group 'cow' is none of hex, base64, time, rssi, snr"),
        ("(?P<rssi>a)", "has no group named hex or base64"),
    ],
)
def test_a_pattern_that_cannot_be_is_one_line(pattern, message):
    with pytest.raises(PacketcodecError, match=message):
        LineReader(pattern)


@given(st.text(max_size=200))
def test_any_line_is_read_without_an_exception(line):
    for reader in (LineReader(), READER, LineReader(r"(\w+)"), LineReader(time_format="%H:%M")):
        found = reader.read(line)
        assert found is None or (isinstance(found[0], bytes) and found[0])


@given(st.recursive(st.none() | st.integers() | st.floats() | st.text(max_size=20) | st.booleans(), lambda inner: (
    st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(["data", "time", "rssi", "snr", "x"]), inner, max_size=4)
), max_leaves=12))  # fmt: skip
def test_any_json_is_read_without_an_exception(value):
    READER.read(json.dumps({"packet": value}))


@pytest.mark.parametrize("seed", range(20))
def test_random_logs_give_every_packet_back_with_its_time(seed):
    chance = Random(seed)  # noqa: S311  # a repeatable test
    packets = [chance.randbytes(chance.randrange(8, 40)) for _ in range(50)]
    reader = LineReader(accepts=set(packets).__contains__)
    for number, data in enumerate(packets):
        time, rssi, snr = NOON + number, -chance.randrange(60, 130), chance.randrange(-80, 48) / 4
        digits = chance.choice(
            [data.hex(), data.hex().upper(), data.hex(" "), data.hex(":"), base64.b64encode(data).decode()]
        )
        stamp = chance.choice(
            [f"{time:.0f}", f"{time * 1000:.0f}", f"2026-07-01T12:00:{number:02}Z", f"2026-07-01 12:00:{number:02}.0"]
        )
        words = [f"rssi {rssi}", f"SNR: {snr}", digits, chance.choice(["", "rx", "packet", "len=14"])]
        chance.shuffle(words)
        line = f"{stamp} {' '.join(words)}"
        assert reader.read(line) == (data, Reception(time, rssi, snr)), line
