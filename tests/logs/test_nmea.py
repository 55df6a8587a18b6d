"""Sentences as receivers print them: real excerpts, made-up damage, pynmeagps as second opinion."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import reduce
from itertools import pairwise
from operator import xor
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pynmeagps import NMEAReader

from packetcodec.logs import Fix, NmeaReader, read_log

DATA = Path(__file__).parent.parent / "data"


def sentence(body: str) -> bytes:
    return f"${body}*{reduce(xor, body.encode()):02X}\r\n".encode()


def gga(time: str, latitude: str = "4630.0000,N", longitude: str = "00954.0000,E", *, quality: int = 1) -> bytes:
    return sentence(f"GNGGA,{time},{latitude},{longitude},{quality},09,0.90,2104.0,M,48.9,M,,")


def rmc(time: str, date: str, *, status: str = "A", knots: str = "1.50", course: str = "84.4") -> bytes:
    return sentence(f"GNRMC,{time},{status},4630.0000,N,00954.0000,E,{knots},{course},{date},,,A")


def read(data: bytes) -> list[Fix]:
    reader = NmeaReader()
    return reader.feed(data) + reader.close()


def refused(data: bytes) -> dict[str, tuple[int, str, str]]:
    reader = NmeaReader()
    reader.feed(data)
    reader.close()
    return {each.reason: (each.count, each.first_place, each.first_text) for each in reader.refused}


def at(*moment: int) -> float:
    return datetime(*moment, tzinfo=UTC).timestamp()  # type: ignore[misc,arg-type]


def test_the_sentences_of_one_epoch_become_one_fix() -> None:
    (fix,) = read(gga("120000.00") + rmc("120000.00", "140726"))
    assert fix == Fix(
        time=at(2026, 7, 14, 12),
        latitude=46.5,
        longitude=9.9,
        altitude=2104.0,
        fix_quality=1,
        satellites=9,
        hdop=0.9,
        speed=pytest.approx(1.5 * 1852 / 3600),
        course=84.4,
    )


# Sentences and degrees from the regression logs of gpsd 3.22 and their .chk files, some letters changed.
@pytest.mark.parametrize(
    ("body", "latitude", "longitude"),
    [
        ("GPGGA,221320,3323.9527,N,11157.6437,W,1,08,1.0,365.0,M,-28.0,M,,", 33.399211667, -111.960728333),
        (
            "GNGGA,132819.60,4134.49795459,N,09345.03431408,W,2,10,0.9,278.161,M,,M,,",
            41.574965910,
            -93.750571901,
        ),
        ("GPRMC,000559.97,A,4002.1027,N,07531.2013,W,0.0,0.0,101102,,", 40.035045, -75.520021667),
        ("GPGLL,3844.24011,N,00908.43828,W,112257.00,A,A", 38.737335167, -9.140638),
        ("GPGNS,112257.00,3844.24011,S,00908.43828,E,AN,03,10.5,,,,", -38.737335167, 9.140638),
    ],
)
def test_degrees_and_minutes_become_degrees(body: str, latitude: float, longitude: float) -> None:
    (fix,) = read(sentence(body))
    assert fix.latitude == pytest.approx(latitude, abs=1e-9)
    assert fix.longitude == pytest.approx(longitude, abs=1e-9)


@pytest.mark.parametrize(
    "body",
    [
        "GNGGA,120000.00,,,,,0,00,99.99,,,,,,",
        "GNGGA,120000.00,4630.0000,N,00954.0000,E,0,00,99.99,1.0,M,1.0,M,,",  # the last known place
        "GPRMC,120000.00,V,4630.0000,N,00954.0000,E,0.0,0.0,140726,,,N",
        "GPRMC,120000.00,A,4630.0000,N,00954.0000,E,0.0,0.0,140726,,,N",  # the mode outranks the status
        "GPGLL,,,,,120000.00,V,N",
        "GNGNS,120000.00,,,,,NNNN,00,,,0.0,,0000",
    ],
)
def test_no_fix_is_none_and_never_zero(body: str) -> None:
    (fix,) = read(sentence(body))
    assert not fix.has_position
    assert (fix.latitude, fix.longitude, fix.altitude, fix.hdop, fix.speed) == (None, None, None, None, None)
    assert fix.fix_quality == 0


# Numbers of GGA and letters of the mode indicator read in gpsd 3.22, www/NMEA.adoc.
@pytest.mark.parametrize(
    ("mode", "quality"),
    [("A", 1), ("D", 2), ("P", 3), ("R", 4), ("F", 5), ("E", 6), ("M", 7), ("S", 8), ("", None)],
)
def test_without_gga_the_mode_indicator_gives_the_quality(mode: str, quality: int | None) -> None:
    (fix,) = read(sentence(f"GPRMC,120000,A,4630.0,N,00954.0,E,0.0,0.0,140726,,,{mode}"))
    assert fix.fix_quality == quality


def test_gga_decides_where_sentences_of_an_epoch_differ() -> None:
    other = sentence("GNGLL,4700.0000,N,01000.0000,E,120000.00,A,A")
    for data in (gga("120000.00", quality=4) + other, other + gga("120000.00", quality=4)):
        (fix,) = read(data)
        assert (fix.latitude, fix.fix_quality) == (46.5, 4)


def test_speed_and_course_come_from_vtg_where_there_is_no_rmc() -> None:
    (fix,) = read(gga("120000") + sentence("GNVTG,84.4,T,77.8,M,1.50,N,2.78,K,A"))
    assert (fix.speed, fix.course) == (pytest.approx(0.7716667), 84.4)


def test_dilution_comes_from_gsa_where_gga_is_missing() -> None:
    (fix,) = read(rmc("120000", "140726") + sentence("GNGSA,A,3,01,02,03,04,,,,,,,,,1.71,1.01,1.38"))
    assert fix.hdop == 1.01


def test_times_of_one_epoch_may_be_printed_with_different_decimals() -> None:
    # 190620.3 in GGA, 190620.303 in RMC: eXplorist 210 in the regression logs of gpsd 3.22.
    assert len(read(gga("190620.3") + rmc("190620.303", "200506"))) == 1


def test_ten_epochs_a_second_stay_ten_fixes() -> None:
    times = [f"12000{tenth // 10}.{tenth % 10}0" for tenth in range(20)]
    fixes = read(b"".join(gga(time) + rmc(time, "140726") for time in times))
    assert [round(fix.time - fixes[0].time, 3) for fix in fixes] == [tenth / 10 for tenth in range(20)]


def test_midnight_is_the_next_day_with_a_date_and_without_one() -> None:
    dated = read(rmc("235959", "311226") + gga("000000") + gga("000001"))
    assert [fix.time - dated[0].time for fix in dated] == [0, 1, 2]
    assert dated[0].time == at(2026, 12, 31, 23, 59, 59)
    assert [fix.time for fix in read(gga("235959") + gga("000000"))] == [86399, 86400]


def test_fixes_before_the_first_date_are_dated_from_it_across_midnight() -> None:
    reader = NmeaReader()
    assert reader.feed(gga("235958") + gga("235959") + gga("000000") + rmc("000001", "150726")) == []
    fixes = reader.close()
    assert [fix.time - at(2026, 7, 15) for fix in fixes] == [-2, -1, 0, 1]


def test_a_date_without_a_position_does_not_count() -> None:
    # A receiver that knows nothing yet prints its factory date.
    fixes = read(rmc("000001", "060180", status="V") + rmc("120000", "140726"))
    assert [fix.time for fix in fixes] == [at(2026, 7, 14, 0, 0, 1), at(2026, 7, 14, 12)]


def test_zda_dates_an_epoch_and_one_just_before_midnight() -> None:
    assert read(gga("120000") + sentence("GNZDA,120000.00,14,07,2026,00,00"))[0].time == at(2026, 7, 14, 12)
    assert read(gga("235959") + sentence("GNZDA,000000.00,15,07,2026,00,00"))[0].time == at(2026, 7, 14, 23, 59, 59)


@pytest.mark.parametrize(
    ("line", "reason", "remark"),
    [
        (b"$GNGGA,120000.00,4630.0000,N*00\r\n", "bad checksum", "adds up to 28"),
        (b"$GNGGA,120000.00,4630.0000,N\r\n", "no checksum", "ends without a checksum"),
        (b"$GNGGA,120000.00,46$\r\n", "cut short", "breaks off after 19 characters"),
        (b"$GNGGA,120000.00,46\xff\xfe\r\n", "cut short", "breaks off after 19 characters"),
        (b"$GNTXT," + b"x" * 2000 + b"\r\n", "too long", "more than 1000 characters"),
        (sentence("GNGGA,,,,,,0,00,99.99,,,,,,"), "no time of day", "the time of day is empty"),
        (gga("120000", "9130.0000,N"), "value out of range", "latitude: 91.5 is outside -90..90 degrees"),
        (gga("120000", "4660.0000,N"), "value out of range", "latitude: 60 minutes are not below 60"),
        (
            gga("120000", longitude="18000.0001,W"),
            "value out of range",
            "longitude: -180 is outside -180..180 degrees",
        ),
        (gga("246000"), "value out of range", "time: 246000 is outside 000000..235960"),
        (gga("12:00:00"), "not a time", "time: '12:00:00' is not hhmmss.ss"),
        (gga("120000", "4630.0000,X"), "no hemisphere", "latitude: 'X' is neither N nor S"),
        (gga("120000", "46a0.0000,N"), "not a number", "latitude: '46a0.0000' is not degrees and minutes"),
        (gga("120000", quality=9), "value out of range", "fix_quality: 9 is outside 0..8"),
        (rmc("120000", "310226"), "not a date", "date: '310226' is not a day of the calendar"),
        (rmc("120000", "140726", knots="nan"), "value not finite", "speed: nan is not a finite number"),
        (rmc("120000", "140726", knots="-1"), "value out of range", "speed: -1 m/s is below 0"),
        (
            rmc("120000", "140726", course="360.5"),
            "value out of range",
            "course: 360.5 is outside 0..360 degrees",
        ),
        (rmc("120000", "140726", course="east"), "not a number", "course: 'east' is not a number"),
    ],
)
def test_a_refused_sentence_is_counted_with_its_place_and_what_is_wrong(line: bytes, reason: str, remark: str) -> None:
    good = gga("115959")
    count, place, text = refused(good + line + line + gga("120001"))[reason]
    assert count == 2
    assert place == f"line 2 (byte {len(good)})"
    assert remark in text or text.endswith("...")


def test_a_sentence_with_one_impossible_field_gives_nothing() -> None:
    assert read(gga("120000", "9130.0000,N")) == []
    (fix,) = read(gga("120000", "9130.0000,N") + rmc("120000", "140726"))
    assert (fix.latitude, fix.altitude, fix.satellites) == (46.5, None, None)


def test_noise_between_sentences_costs_no_sentence() -> None:
    noise = bytes(range(256)) * 3 + b"\xb5b\x01\x07$$!!**\r\n"
    data = b"".join(noise + gga(f"1200{second:02}") for second in range(30))
    reader = NmeaReader()
    fixes = reader.feed(data) + reader.close()
    assert len(fixes) == reader.sentences == 30
    assert all(fix.latitude == 46.5 for fix in fixes)


def test_a_sentence_after_the_start_of_a_broken_one_is_read() -> None:
    assert len(read(b"$GNGGA,120000.00,46" + gga("120001"))) == 1


def test_a_partial_sentence_at_the_end_is_refused_when_the_stream_closes() -> None:
    reader = NmeaReader()
    reader.feed(gga("120000") + gga("120001")[:-4])
    assert reader.refused == ()
    assert len(reader.close()) == 1
    assert [each.reason for each in reader.refused] == ["cut short"]


@pytest.mark.parametrize("name", ["cold_start", "binary_noise", "rtk", "boat"])
@given(data=st.data())
def test_it_does_not_matter_how_the_stream_is_cut_into_chunks(name: str, data: st.DataObject) -> None:
    stream = (DATA / f"{name}.nmea").read_bytes()
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=40)))
    reader = NmeaReader()
    fixes: list[Fix] = []
    for start, end in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        fixes += reader.feed(stream[start:end])
    fixes += reader.close()
    whole = read_log([stream])
    assert tuple(fixes) == whole.fixes
    assert (reader.sentences, reader.refused, reader.size) == (whole.sentences, whole.refused, len(stream))


@given(st.binary(max_size=300), st.integers(0, 300), st.binary(max_size=20))
def test_no_stream_brings_the_reader_down(noise: bytes, place: int, damage: bytes) -> None:
    stream = gga("120000") + rmc("120000", "140726") + noise + gga("120001")
    read(stream[:place] + damage + stream[place:])


def test_a_real_cold_start_gives_epochs_without_fix_and_then_positions() -> None:
    log = read_log([(DATA / "cold_start.nmea").read_bytes()])
    assert [fix.has_position for fix in log.fixes].count(False) >= 1
    assert log.fixes[-1].has_position
    assert log.refused == ()


def test_real_binary_reports_between_sentences_are_passed_over() -> None:
    log = read_log([(DATA / "binary_noise.nmea").read_bytes()])
    assert len(log.fixes) >= 3
    assert all(fix.latitude == pytest.approx(20.6293, abs=1e-4) for fix in log.fixes)


def test_a_real_rtk_log_keeps_its_tenths_and_its_quality() -> None:
    fixes = read_log([(DATA / "rtk.nmea").read_bytes()]).fixes
    assert {fix.fix_quality for fix in fixes} == {2, 4}
    assert {round(later.time - fix.time, 3) for fix, later in pairwise(fixes)} == {0.1, 629.9}


def test_a_real_boat_keeps_its_altitude_below_the_sea() -> None:
    fixes = read_log([(DATA / "boat.nmea").read_bytes()]).fixes
    assert {fix.altitude for fix in fixes if fix.altitude is not None} == {-4.0}


@pytest.mark.parametrize("name", ["cold_start", "binary_noise", "rtk", "boat"])
def test_positions_agree_with_pynmeagps_sentence_by_sentence(name: str) -> None:
    compared = 0
    for line in (DATA / f"{name}.nmea").read_bytes().splitlines(keepends=True):
        if line[3:6] not in {b"GGA", b"GNS", b"GLL", b"RMC"} or line[:1] != b"$":
            continue
        theirs = NMEAReader.parse(line)
        (ours,) = read(line)
        valid = getattr(theirs, "status", "A") == "A" and getattr(theirs, "quality", 1) != 0
        if valid and theirs.lat != "":
            assert ours.latitude == pytest.approx(theirs.lat, abs=1e-9)
            assert ours.longitude == pytest.approx(theirs.lon, abs=1e-9)
        else:
            assert not ours.has_position
        assert round(ours.time % 86400, 6) == (
            theirs.time.hour * 3600 + theirs.time.minute * 60 + theirs.time.second + theirs.time.microsecond / 1e6
        )
        compared += 1
    assert compared > 5


@pytest.mark.parametrize("year", ["20260714202", "0", "99999"])
def test_a_year_that_no_calendar_has_is_refused_and_the_fix_is_read(year: str) -> None:
    reader = NmeaReader()
    fixes = reader.feed(gga("120000") + sentence(f"GNZDA,120000.00,14,07,{year},00,00")) + reader.close()
    assert [fix.has_position for fix in fixes] == [True]
    assert [(each.reason, each.count) for each in reader.refused] == [("not a date", 1)]


def test_an_angle_of_any_number_of_digits_is_refused() -> None:
    data = gga("120000", "9" * 400 + ".0,N") + gga("120001")
    assert refused(data)["not a number"][0] == 1
    assert [fix.has_position for fix in read(data)] == [True]
