"""Any bytes at all: a log, or one clear line; never anything else."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from packetcodec.errors import LogFault
from packetcodec.logs import FORMATS, read_log

NMEA = b"$GNGGA,120000.00,4630.0000,N,00954.0000,E,1,09,0.9,2104.0,M,48.0,M,,*43\r\n$GNZDA,120000.00,14,07,2026,00,00*7C\r\n"
CSV = b"time,lat,lon,speed_kmh,sats,battery\n2026-07-01T12:00:00Z,46.5,9.9,3.6,9,3.71\n1,46.5,9.9,,,x\n"
GPX = (
    b'<?xml version="1.0"?><gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1"><trk><trkseg>'
    b'<trkpt lat="46.5" lon="9.9"><ele>2104</ele><time>2026-07-01T12:00:00Z</time><sat>9</sat></trkpt></trkseg></trk></gpx>'
)
#: What a damaged or hostile log has in place of a number, a time or a tag.
ODD = st.sampled_from([
    b"9" * 400, b"1e999", b"-1e308", b"nan", b"", b"\x00", b"\xff\xfe", b"\r", b"\n", b'"', b"'", b"<", b">", b"&#0;",
    b"<!DOCTYPE x [<!ENTITY a 'b'>]>", b"&lt;", b"20260714202", b"0001-01-01T00:00:00+23:59",
    b"9999-12-31T23:59:60Z", b"T24:00:00+24:00",
    b",", b";" * 50, b"$", b"*00", "\u0661".encode(), "\u202e\x9b".encode(),
])  # fmt: skip


@st.composite
def damaged(draw: st.DrawFn) -> bytes:
    data = bytearray(draw(st.sampled_from([NMEA, CSV, GPX, NMEA * 3, CSV + NMEA, b""])))
    for _ in range(draw(st.integers(0, 4))):
        start = draw(st.integers(0, len(data)))
        end = draw(st.integers(start, min(len(data), start + 20)))
        data[start:end] = draw(st.one_of(ODD, st.binary(max_size=8)))
    return bytes(data)


@given(
    data=st.one_of(damaged(), st.binary(max_size=200)),
    format=st.sampled_from([None, *FORMATS]),
    size=st.sampled_from([1, 7, 100_000]),
)
def test_a_log_of_any_bytes_is_read_or_refused_in_one_line_that_a_terminal_can_show(
    data: bytes,
    format: str | None,  # noqa: A002
    size: int,
) -> None:
    try:
        log = read_log((data[at : at + size] for at in range(0, len(data), size)), name="herd", format=format)
    except LogFault as fault:
        said = [str(fault)]
    else:
        assert log.fixes
        assert all(fix.latitude is None or -90 <= fix.latitude <= 90 for fix in log.fixes)
        said = [refusal.first_text for refusal in log.refused] + [name for name, _ in log.columns]
    assert all(text.isprintable() for text in said)
