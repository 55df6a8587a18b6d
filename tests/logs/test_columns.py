"""Tables as loggers write them: date and time apart, a decimal comma, units in brackets, columns that the caller names."""

from __future__ import annotations

import pytest

from packetcodec.errors import LogFault
from packetcodec.logs import Fix, read_log, recognise

NOON = 1_782_907_200.0  # 2026-07-01T12:00:00Z


def fix(text: str, columns: dict[str, str] | None = None) -> Fix:
    (found,) = read_log([text.encode()], columns=columns).fixes
    return found


def refusal(text: str) -> str:
    with pytest.raises(LogFault) as caught:
        read_log([text.encode()], name="herd.csv")
    return str(caught.value)


@pytest.mark.parametrize("date", ["2026-07-01", "2026/7/1", "2026.07.01", "20260701", "01.07.2026", "1.7.2026"])
@pytest.mark.parametrize(("time", "more"), [("12:00:00", 0), ("12:00", 0), ("12:00:00.25Z", 0.25), ("120000.5", 0.5)])
def test_a_date_and_a_time_of_day_have_columns_of_their_own(date: str, time: str, more: float) -> None:
    assert fix(f"Date,Time,Lat,Lon\n{date},{time},46.5,9.9\n") == Fix(NOON + more, 46.5, 9.9)


@pytest.mark.parametrize(
    ("row", "remark"),
    [
        ("07/01/2026,12:00:00", "date: '07/01/2026' is not like 2026-07-01, 2026/07/01, 20260701 or 01.07.2026"),
        ("010726,12:00:00", "date: '010726' is not like"),
        ("2026-02-30,12:00:00", "time: '2026-02-30' '12:00:00': day"),
        ("2026-07-01,24:00:00", "time: '2026-07-01' '24:00:00': hour"),
        ("2026-07-01,93000", "time: '93000' is no time of day such as 12:00:00 or 120000"),
        ("2026-07-01,1:00 PM", "time: '1:00 PM' is no time of day"),
        (",12:00:00", "the date is empty"),
        ("2026-07-01,", "the time is empty"),
        ("0000-07-01,12:00:00", "time: '0000-07-01' '12:00:00': year"),
    ],
)
def test_a_date_or_time_that_cannot_be_is_refused_never_guessed(row: str, remark: str) -> None:
    assert remark in refusal(f"date,time,lat,lon\n{row},46.5,9.9\n")


def test_a_time_that_holds_its_date_or_is_called_seconds_needs_no_date_beside_it() -> None:
    for name, time in (("time", "2026-07-01T12:00:00Z"), ("timestamp", "1782907200"), ("unix", "1782907200")):
        assert fix(f"date,{name},lat,lon\n2020-01-01,{time},46.5,9.9\n").time == NOON
    kept = {"date as it stands": "2020-01-01"}
    assert fix("date,t_s,lat,lon\n2020-01-01,120000,46.5,9.9\n") == Fix(120000.0, 46.5, 9.9, extra=kept)


@pytest.mark.parametrize("separator", [";", "\t"])
def test_decimals_have_a_comma_where_it_separates_no_cells(separator: str) -> None:
    row = separator.join(["01.07.2026", "12:00:00,5", "46,5", "-9,9", "2104,25", "3,71"])
    head = separator.join(["Date", "Time", "Lat [deg]", "Lon [deg]", "Alt (m)", "mood"])
    assert fix(f"{head}\n{row}\n") == Fix(NOON + 0.5, 46.5, -9.9, 2104.25, extra={"mood": 3.71})
    thousands = separator.join(["0", "1.046,5", "9,9"])
    assert "latitude: '1.046,5' is not a number" in refusal(f"t{separator}lat{separator}lon\n{thousands}\n")


@pytest.mark.parametrize(
    ("heading", "cell", "name", "value"),
    [
        ("Alt (m)", "2104", "altitude", 2104.0),
        ("Altitude [ft]", "1000", "altitude", 304.8),  # international foot: 0.3048 m, by definition
        ("Speed [km/h]", "36", "speed", 10.0),
        ("Speed (m/s)", "10", "speed", 10.0),
        ("speed_(kn)", "10", "speed", 5.144444444444445),
        ("Course [°]", "84.4", "course", 84.4),
        ("Num Sats", "9", "satellites", 9),
        ("HDOP (-)", "0.9", "hdop", 0.9),
    ],
)
def test_a_unit_stands_in_brackets_and_is_converted(heading: str, cell: str, name: str, value: float) -> None:
    table = f"Time [ms],Lat [deg],Lon (°),{heading}\n1782907200500,46.5,9.9,{cell}\n"
    assert recognise(table.encode()) == "csv"
    found = fix(table)
    assert getattr(found, name) == pytest.approx(value, abs=1e-9)
    assert found.time == pytest.approx(NOON + 0.5, abs=1e-6)


def test_a_unit_that_is_not_known_is_never_read_as_another() -> None:
    found = fix("t,lat,lon,Alt [rods],Battery [V],batt (%)\n0,46.5,9.9,400,3.71,80\n")
    assert (found.altitude, dict(found.extra)) == (None, {"alt [rods]": 400, "battery_volt": 3.71, "battery_percent": 80})


def test_the_caller_says_which_column_is_which() -> None:
    table = "wann;Breite [deg];Laenge;lat;Hoehe (ft);Akku\n0;46,5;9,9;1;1000;3,7\n"
    asked = {"time": "wann", "lat": "breite [DEG]", "longitude": "Laenge", "altitude": "Hoehe (ft)", "battery": "Akku"}
    found = fix(table, asked)
    assert (found.latitude, found.longitude, found.altitude) == (46.5, 9.9, 304.8)
    assert dict(found.extra) == {"lat": 1, "battery": 3.7}
    found = fix("t,latitude,lon,better\n0,1,9.9,46.5\n", {"latitude": "better"})
    assert (found.latitude, dict(found.extra)) == (46.5, {"latitude as it stands": 1})


@pytest.mark.parametrize(
    ("asked", "format", "words"),
    [
        (
            {"latitude": "North"},
            None,
            "line 1: no column is named 'North', to be read as latitude; the header row",
        ),
        ({"latitude": "n"}, None, "line 1: 2 columns are named 'n', to be read as latitude; the header row names "),
        ({"latitude": "n"}, "nmea", "format 'nmea' has no columns to be named"),
    ],
)
def test_a_column_that_is_not_there_is_one_line_that_lists_those_that_are(
    asked: dict[str, str],
    format: str | None,  # noqa: A002
    words: str,
) -> None:
    with pytest.raises(LogFault) as caught:
        read_log([b"t,lat,lon,n,N\n0,46.5,9.9,1,2\n"], name="herd.csv", format=format, columns=asked)
    assert str(caught.value).startswith(f"herd.csv: {words}")


@pytest.mark.parametrize(
    ("form", "text"),
    [
        ("%m/%d/%Y %I:%M:%S %p", "Date,Time,Lat,Lon\n07/01/2026,12:00:00 PM,46.5,9.9\n"),
        ("%m/%d/%Y %I:%M %p", "Time;Lat;Lon\n07/01/2026 12:00 p.m.;46,5;9,9\n"),
        ("%I:%M:%S %p", "Date,Time,Lat,Lon\n01.07.2026,12:00:00 PM,46.5,9.9\n"),
        ("%d %b %Y %H.%M %z", "time,lat,lon\n01 Jul 2026 14.00 +0200,46.5,9.9\n"),
    ],
)
def test_times_of_the_loggers_own_form(form: str, text: str) -> None:
    (found,) = read_log([text.encode()], time_format=form).fixes
    assert found == Fix(NOON, 46.5, 9.9)


def test_a_time_that_cannot_be_read_names_column_value_and_option() -> None:
    said = refusal("Date,Hour,Lat,Lon\n".replace("Hour", "Time") + "2026-07-01,1:00 PM,46.5,9.9\n")
    assert "columns 'Date' and 'Time': time: '1:00 PM' is no time of day" in said
    assert said.endswith("; --time-format says what it is like")
    with pytest.raises(LogFault, match="column 'Time': time: '1 PM' is not like '%H:%M'"):
        read_log([b"Time,Lat,Lon\n1 PM,46.5,9.9\n"], time_format="%H:%M")
    with pytest.raises(LogFault, match="format 'nmea' has times of its own"):
        read_log([b"$GPGGA"], time_format="%H:%M")


def test_rows_of_one_time_are_counted() -> None:
    rows = [f"{time},46.5{number},9.9" for number, time in enumerate((30, 0, 30, 30, 60, 0))]
    assert read_log(["\n".join(["t,lat,lon", *rows]).encode()]).same_time == 3
