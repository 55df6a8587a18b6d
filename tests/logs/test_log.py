"""Formats told by their content, tables, GPX, and logs with nothing in them."""

from __future__ import annotations

import tracemalloc
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from packetcodec.errors import LogFault
from packetcodec.logs import Fix, read_log, recognise
from packetcodec.logs import log as log_module

if TYPE_CHECKING:
    from collections.abc import Iterator

DATA = Path(__file__).parent.parent / "data"
GGA = b"$GNGGA,120000.00,4630.0000,N,00954.0000,E,1,09,0.9,2104.0,M,48.0,M,,*%02X\r\n"
GPX = (
    '<?xml version="1.0"?><gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="herd">'
    "<trk><trkseg>{points}</trkseg></trk></gpx>"
)
POINT = '<trkpt lat="{lat}" lon="9.9"><ele>2104</ele><time>2026-07-01T12:00:00Z</time>{more}</trkpt>'


def gpx(*points: str) -> bytes:
    return GPX.format(points="".join(points)).encode()


def fault(data: bytes, *, format: str | None = None) -> str:  # noqa: A002
    with pytest.raises(LogFault) as caught:
        read_log([data], name="herd", format=format)
    message = str(caught.value)
    assert message.startswith("herd: ")
    assert "\n" not in message
    return message


@pytest.mark.parametrize(
    ("head", "format"),
    [
        (b"$GNGGA,120000", "nmea"),
        (b"# a receiver's log\r\n\x00\xff$GNGGA", "nmea"),
        (b"", "nmea"),
        (b"<?xml version='1.0'?><gpx>", "gpx"),
        (b"\xef\xbb\xbf\r\n<gpx version='1.1'>", "gpx"),
        (b"t_s,lat,lon,alt_m\n", "csv"),
        (b"\xef\xbb\xbfTime;Latitude;Longitude\r\n", "csv"),
        (b"battery\ttimestamp\tlng\tlat\n", "csv"),
        (b"name,colour\n", "nmea"),
    ],
)
def test_the_format_is_told_from_the_content(head: bytes, format: str) -> None:  # noqa: A002
    assert recognise(head) == format


@pytest.mark.parametrize(
    ("name", "rows", "first"), [("ride", 180, 50.44265262), ("hike", 120, 45.46108908), ("sounding", 120, -12.39222622)]
)
def test_a_table_of_a_real_outing_is_read_whole(name: str, rows: int, first: float) -> None:
    data = (DATA / f"{name}.csv").read_bytes()
    log = read_log((data[at : at + 100] for at in range(0, len(data), 100)), name=name)
    assert (log.format, log.sentences, len(log.fixes), log.refused) == ("csv", rows, rows, ())
    assert log.fixes[0].latitude == first
    assert log.fixes[0].fix_quality is None
    assert log.size == len(data)


def test_every_column_of_a_table_is_read_and_the_rest_is_kept() -> None:
    header = "Time, Latitude ,lng,ele,speed,course,hdop,satellites,fix_quality,battery,name\n"
    row = "2026-07-01T12:00:00Z,46.5,9.9,2104,0.5,84.4,0.9,9,1,3.71,Bella\n"
    (fix,) = read_log([(header + row).encode()]).fixes
    extra = {"battery": 3.71, "name": "Bella"}
    assert fix == Fix(1782907200.0, 46.5, 9.9, 2104.0, 1, 9, 0.9, 0.5, 84.4, extra)


def test_an_empty_position_in_a_table_is_a_fix_without_position() -> None:
    fixes = read_log([b"t_s;lat;lon;alt_m\n0;;;\n2026-07-01 12:00:00;46.5;9.9;\n"]).fixes
    assert [fix.has_position for fix in fixes] == [False, True]
    assert fixes[1].time == 1782907200.0


@pytest.mark.parametrize(
    ("row", "remark"),
    [
        ("1,91.5,9.9", "latitude: 91.5 is outside -90..90 degrees"),
        ("1,46.5,180.5", "longitude: 180.5 is outside -180..180 degrees"),
        ("1,nan,9.9", "latitude: nan is not a finite number"),
        ("1,46.5,-inf", "longitude: -inf is not a finite number"),
        ("inf,46.5,9.9", "column 't_s': time: inf is not a finite number"),
        (
            "noon,46.5,9.9",
            "column 't_s': time: 'noon' is neither seconds nor ISO 8601; --time-format says what it is like",
        ),
        ("1,here,9.9", "latitude: 'here' is not a number"),
        (",46.5,9.9", "the time is empty"),
        ("1,46.5,", "of latitude and longitude one is empty"),
        ("1,46.5", "2 cells, the header row has 3"),
    ],
)
def test_a_bad_row_is_refused_with_its_line_and_the_next_one_is_read(row: str, remark: str) -> None:
    log = read_log([f"t_s,lat,lon\n0,46.5,9.9\n{row}\n{row}\n9,46.5,9.9\n".encode()])
    assert [fix.time for fix in log.fixes] == [0, 9]
    (refusal,) = log.refused
    assert (refusal.count, refusal.first_place, refusal.first_text) == (2, "line 3", remark)


def test_whole_number_columns_refuse_a_fraction() -> None:
    log = read_log([b"t_s,lat,lon,satellites\n0,46.5,9.9,9\n1,46.5,9.9,9.5\n"])
    assert log.refused[0].first_text == "satellites: 9.5 is not a whole number"


def test_gpx_track_points_become_fixes() -> None:
    more = "<fix>dgps</fix><sat>9</sat><hdop>0.9</hdop>"
    log = read_log([gpx(POINT.format(lat=46.5, more=more))])
    assert (log.format, log.sentences) == ("gpx", 1)
    assert log.fixes == (Fix(1782907200.0, 46.5, 9.9, 2104.0, 2, 9, 0.9),)


def test_gpx_points_out_of_range_or_without_time_are_refused() -> None:
    untimed = '<trkpt lat="46.5" lon="9.9"></trkpt>'
    points = (POINT.format(lat=46.5, more=""), POINT.format(lat=91.5, more=""), untimed)
    log = read_log([gpx(*points)])
    assert len(log.fixes) == 1
    assert [(each.first_place, each.first_text.partition(": ")[2]) for each in log.refused] == [
        ("track point 2", "latitude: 91.5 is outside -90..90 degrees"),
        ("track point 3", "the point has no time"),
    ]


def test_xml_in_a_strange_namespace_is_a_fault_that_names_it() -> None:
    message = fault(b"<?xml version='1.0'?><herd xmlns='urn:herd'><cow/></herd>")
    assert "no track point (trkpt): the namespace is 'urn:herd'" in message


def test_gpx_under_a_prefix_is_gpx_too() -> None:
    point = '<g:trkpt lat="46.5" lon="9.9"><g:time>2026-07-01T12:00:00Z</g:time></g:trkpt>'
    head = '<g:gpx xmlns:g="http://www.topografix.com/GPX/1/1"><g:trk><g:trkseg>'
    assert read_log([f"{head}{point}</g:trkseg></g:trk></g:gpx>".encode()]).fixes == (Fix(1782907200.0, 46.5, 9.9),)


ENTITIES = """<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY cow "moo">{more}]>
<gpx version="1.1"><trk><trkseg><trkpt lat="46.5" lon="9.9"><time>&cow;</time></trkpt></trkseg></trk></gpx>"""


@pytest.mark.parametrize(
    ("document", "part"),
    [
        (ENTITIES.format(more=""), "it defines XML entities"),
        (ENTITIES.format(more='<!ENTITY file SYSTEM "file:///etc/hostname">'), "it defines XML entities"),
        (ENTITIES.format(more='<!ENTITY many "&cow;&cow;">'), "it defines XML entities"),
        (ENTITIES.format(more='<!ENTITY % outside SYSTEM "http://localhost/x.dtd"> %outside;'), "it defines XML entities"),
        ("<gpx><trk>" + "<a>" * 200, "more than 100 tags within each other"),
        ("<gpx><trk name='" + "x" * 3_000_000, "a tag of more than 1,048,576 bytes"),
    ],
    ids=["entity", "file", "growing", "outside", "deep", "long"],
)
def test_hostile_xml_is_one_clear_line(document: str, part: str) -> None:
    data = document.encode()
    with pytest.raises(LogFault, match=part):
        read_log(data[at : at + 65_536] for at in range(0, len(data), 65_536))


def test_a_document_that_names_an_outside_dtd_fetches_nothing() -> None:
    head = b'<?xml version="1.0"?><!DOCTYPE gpx SYSTEM "file:///nowhere.dtd">'
    assert len(read_log([head + gpx(POINT.format(lat=46.5, more="")).partition(b"?>")[2]]).fixes) == 1


@pytest.mark.parametrize("moment", ["2026-07-01T12:00:00+24:00", "2026-07-01T25:00:00Z", "12026-07-01", "x" * 70_000])
@pytest.mark.parametrize("format", ["csv", "gpx"])
def test_a_time_that_cannot_be_is_refused_and_the_next_record_is_read(moment: str, format: str) -> None:  # noqa: A002
    good = "2026-07-01T12:00:00Z"
    if format == "csv":
        data = f"time,lat,lon\n{moment},46.5,9.9\n{good},46.5,9.9\n".encode()
    else:
        data = gpx(*(POINT.format(lat=46.5, more="").replace(good, each) for each in (moment, good)))
    log = read_log([data])
    assert (log.format, len(log.fixes), log.refused[0].count) == (format, 1, 1)
    assert log.refused[0].reason in {"not a time", "too long"}
    assert len(log.refused[0].first_text) <= 160


def test_lines_end_as_any_system_ends_them_wherever_chunks_are_cut() -> None:
    for end in ("\n", "\r\n", "\r"):
        data = end.join(["t,lat,lon", "0,46.5,9.9", "", "x,46.5,9.9", "9,46.5,9.9"]).encode()
        for size in (1, 2, 3, 7, 100):
            log = read_log(data[at : at + size] for at in range(0, len(data), size))
            assert [fix.time for fix in log.fixes] == [0, 9]
            assert log.refused[0].first_place == "line 4"


def test_a_row_of_any_length_is_refused_in_bounded_memory_and_the_next_one_is_read() -> None:
    def chunks() -> Iterator[bytes]:
        yield b"t,lat,lon\n0,46.5,9.9\n"
        yield from (b"x" * 65_536 for _ in range(1600))
        yield b"\n9,46.5,9.9\n"

    tracemalloc.start()
    log = read_log(chunks())
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert (log.size > 100_000_000, [fix.time for fix in log.fixes]) == (True, [0, 9])
    assert (log.refused[0].reason, log.refused[0].first_place) == ("too long", "line 3")
    assert peak < 2_000_000


def test_a_log_of_more_fixes_than_are_read_is_one_clear_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(log_module, "MAX_FIXES", 10)
    rows = "".join(f"{n},46.5,9.9\n" for n in range(11))
    assert "holds more than 10 fixes, the most that are read; cut it into parts" in fault(f"t,lat,lon\n{rows}".encode())


def test_what_a_log_says_cannot_command_a_terminal() -> None:
    log = read_log([b"t,lat,lon,\x1b[31m\n0,46.5,9.9,1\n\x1b[2J,46.5,9.9,2\n"])
    said = [log.refused[0].first_text, *(name for name, _ in log.columns)]
    assert all(text.isprintable() for text in said)
    assert "\\x1b[2J" in said[0]
    assert fault(b"\x1b]0;cow\x07,lat\n0,1\n").isprintable()


@pytest.mark.parametrize(
    ("data", "part"),
    [
        (
            b"",
            "herd: is empty",
        ),
        (b"hello\nherd\n", "in 11 bytes, 2 lines"),
        (GGA % 0, "1 refused, bad checksum, first at line 1 (byte 0): $GNGGA,120000.00"),
        (
            b"$GPTXT,01*62\r\n",
            "none of 1 NMEA 0183 sentences tells a time and a position (GGA, GNS, RMC or GLL)",
        ),
        (b"t_s,lat,lon\n", "has a header row and no other"),
        (
            b"timestamp,lat,long_\n0,46.5,9.9\n",
            "no column is named as a longitude; names known for it: longitude, lon, lng, long; the header",
        ),
        (b"seconds_,lat,lon\n", "line 1: no column is named as a time; names known for it: time, t, t_s,"),
        (b"t_s,lat,lon\n0,46,5,9,9\n", "numbers with a decimal comma need another separator, such as ;"),
        (b't_s,lat,lon\n0,"46,5",9.9\n', "latitude: '46,5' is not a number (a decimal comma: decimals need a point here)"),
        (b't_s,lat,lon\n"0,5",46.5,9.9\n', "time: '0,5' is not a number (a decimal comma: "),
        (
            b"t_s;Lat [rad];lon\n0;0.8;9.9\n",
            "; the unit of 'Lat [rad]' is not known: deg, degree, degrees, decimal ",
        ),
        (b"date,date,time,lat,lon\n0,0,0,1,2\n", "line 1: 2 columns are named as a date, expected 1; the header row names"),
        (b"hello\n", "in 6 bytes, 1 line; no GPX either, and no table of positions"),
        (
            b"\xef\xbb\xbfZeit;breite;laenge\n0;46.5;9.9\n",
            "its first line names 'Zeit', 'breite', 'laenge', none of them known for a latitude (latitude, lat) or a long",
        ),
        (
            b"t_s,lat,lon\n0,91.5,9.9\n",
            "none of 1 rows can be used; 1 refused, value out of range, first at line 2",
        ),
        (b"t_s,time,lat,lon\n0,0,1,2\n", "line 1: 2 columns are named as a time, expected 1"),
        (b"t_s,lat,lon\n0,46.5,9.9\xff\n", "line 2 is not UTF-8 text"),
        (b"<?xml version='1.0'?><gpx><trk>", "not a GPX document that can be read"),
        (gpx(), "no track point (trkpt) in"),
        (
            gpx(POINT.format(lat="north", more="")),
            "none of 1 track points can be used; 1 refused, not a number, first at track point 1: north, 9.9: latitude: ",
        ),
        (
            gpx('<trkpt lat="46.5" lon="9.9"></trkpt>'),
            "none of 1 track points can be used; 1 refused, no time",
        ),
        (b"<?xml version='1.0'?><herd/>", "no track point (trkpt): the document is 'herd', not 'gpx'"),
    ],
)
def test_a_log_with_nothing_in_it_is_one_clear_line(data: bytes, part: str) -> None:
    assert part in fault(data)


def test_other_formats_are_spoken_of_only_where_they_were_looked_for() -> None:
    assert fault(b"breite,laenge\n", format="nmea").endswith("and its checksum) in 14 bytes, 1 line")
    assert "table" not in fault(b"$GPTXT,01*62\r\n")
    assert "table" not in fault(GGA % 0)
    assert fault(b"hello\n").endswith("no table of positions")
    assert fault(b"x\x1b,y\n").endswith("no table of positions")


def test_a_forced_format_is_taken_and_an_unknown_one_refused() -> None:
    assert "1 columns" not in fault(b"a,b\n1,2\n", format="csv")
    assert "format 'kml' is none of gpx, csv, nmea" in fault(b"", format="kml")


def test_progress_tells_the_bytes_read_so_far() -> None:
    seen: list[int] = []
    data = (DATA / "rtk.nmea").read_bytes()
    read_log((data[at : at + 1000] for at in range(0, len(data), 1000)), progress=seen.append)
    assert seen == [1000, 2000, len(data)]


def test_a_log_without_a_single_line_end_is_refused_whatever_its_length() -> None:
    assert "in 200,000 bytes, 0 lines" in fault(b"x" * 200_000)
    assert "line 1: not a header row" in fault(b"x" * 200_000, format="csv")


@pytest.mark.parametrize(
    ("column", "cell", "name", "value"),
    [
        ("speed_kmh", "36", "speed", 10.0),
        ("speed_kn", "10", "speed", 5.144444444444445),  # international knot: 1852 m an hour, by definition
        ("Heading", "84.4", "course", 84.4),
        ("sats", "9", "satellites", 9),
        ("alt_m", "2104", "altitude", 2104.0),
    ],
)
def test_a_column_goes_by_many_names_and_units(column: str, cell: str, name: str, value: float) -> None:
    (fix,) = read_log([f"unix,Lat,LONG,{column}\n0,46.5,9.9,{cell}\n".encode()]).fixes
    assert getattr(fix, name) == value


def test_rows_are_put_in_order_of_time_and_rows_of_one_time_stay_as_they_stand() -> None:
    log = read_log([b"t,lat,lon,n\n3,46.5,9.9,a\n1,46.5,9.9,b\n3,46.5,9.9,c\n2,46.5,9.9,d\n"])
    assert [fix.extra["n"] for fix in log.fixes] == ["b", "d", "a", "c"]
    assert log.moved == 2
    assert log.columns == (("t", "time"), ("lat", "latitude"), ("lon", "longitude"), ("n", "n"))


@pytest.mark.parametrize("header", ["lat,long", "Time (UTC);Latitude", "timestamp,lng", "lat"])
def test_a_header_with_a_latitude_or_a_longitude_is_a_table(header: str) -> None:
    assert recognise(f"{header}\n".encode()) == "csv"


def test_track_points_of_a_gpx_file_are_put_in_the_order_of_their_times():
    head = '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x"><trk><trkseg>'
    points = "".join(
        f'<trkpt lat="46.5" lon="9.9"><time>2026-07-01T12:00:{second:02}Z</time></trkpt>' for second in (20, 0, 10, 30)
    )
    log = read_log([f"{head}{points}</trkseg></trk></gpx>".encode()])
    assert [fix.time - log.fixes[0].time for fix in log.fixes] == [0, 10, 20, 30]
    assert log.moved == 2
