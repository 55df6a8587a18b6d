"""Ticks, silences, spans without a fix, and the invented sample log."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks.make_sample import build
from packetcodec.bench import Span, every, silences, without_fix
from packetcodec.errors import PacketcodecError
from packetcodec.logs import Fix, read_log

SAMPLE = Path(__file__).parent.parent.parent / "packetcodec" / "starter" / "sample.nmea"


def place(time: float) -> Fix:
    return Fix(time, 46.5, 9.9, fix_quality=1)


def test_a_fix_is_taken_as_it_is_at_each_tick() -> None:
    fixes = [place(float(second)) for second in range(30)]
    assert list(every(fixes, 10)) == [fixes[0], fixes[10], fixes[20]]


def test_the_first_fix_after_a_tick_is_taken_and_the_ticks_do_not_drift() -> None:
    fixes = [place(time) for time in (0.0, 3.0, 6.0, 9.0, 12.0, 15.0, 18.0, 21.0)]
    assert [fix.time for fix in every(fixes, 10)] == [0.0, 12.0, 21.0]


def test_a_tick_without_a_fix_is_sent_as_it_is() -> None:
    lost = Fix(10.0, fix_quality=0, satellites=2)
    assert list(every([place(0.0), lost, place(11.0)], 10)) == [place(0.0), lost]


def test_a_silent_tick_becomes_a_fix_without_position() -> None:
    assert list(every([place(0.0), place(35.0)], 10)) == [
        place(0.0), Fix(10.0, fix_quality=0), Fix(20.0, fix_quality=0), place(35.0),
    ]  # fmt: skip


def test_after_an_hour_of_silence_the_ticks_start_anew() -> None:
    assert len(list(every([place(0.0), place(3600.0)], 10))) == 361
    assert [fix.time for fix in every([place(0.0), place(3601.0), place(3611.0)], 10)] == [
        0.0,
        3601.0,
        3611.0,
    ]


def test_a_clock_that_runs_backwards_starts_the_ticks_anew() -> None:
    assert [fix.time for fix in every([place(100.0), place(50.0), place(60.0)], 10)] == [100.0, 50.0, 60.0]


def test_tenths_of_a_second_at_unix_times_lose_no_tick() -> None:
    fixes = [place(1_784_000_000 + tenth / 10) for tenth in range(1000)]
    assert list(every(fixes, 0.1)) == fixes


@pytest.mark.parametrize("interval", [0, -1, float("nan"), float("inf")])
def test_an_impossible_interval_is_refused(interval: float) -> None:
    with pytest.raises(PacketcodecError, match=rf"interval: {interval:g} is not"):
        every([], interval)


def test_silences_are_those_longer_than_five_seconds_and_than_the_logs_usual_steps() -> None:
    assert silences(map(place, (0.0, 1.0, 2.0, 7.0, 12.5, 13.0))) == (Span(7.0, 5.5),)
    assert silences(map(place, (0.0, 10.0, 20.0, 45.0, 71.0, 81.0))) == (Span(45.0, 26.0),)
    assert silences(map(place, (0.0, 5.0)), longer_than=4) == (Span(0.0, 5.0),)


def test_spans_without_fix_end_at_the_next_position_or_at_the_last_fix() -> None:
    fixes = [Fix(0.0), Fix(1.0), place(2.0), place(3.0), Fix(4.0), Fix(9.0)]
    assert without_fix(fixes) == (Span(0.0, 2.0), Span(4.0, 5.0))
    assert without_fix([place(0.0)]) == without_fix([]) == ()


def test_the_sample_log_is_what_its_generator_writes() -> None:
    assert build() == SAMPLE.read_bytes()


def test_the_sample_log_holds_what_a_reader_must_cope_with() -> None:
    log = read_log([SAMPLE.read_bytes()])
    assert [(each.reason, each.count) for each in log.refused] == [
        ("no time of day", 16),
        ("bad checksum", 1),
        ("no checksum", 1),
    ]
    assert [span.seconds for span in silences(log.fixes)] == [20.0]
    assert [span.seconds for span in without_fix(log.fixes)] == [28.0, 34.0]
    altitudes = [fix.altitude for fix in log.fixes if fix.altitude is not None]
    assert 1900 < min(altitudes) < max(altitudes) < 2300
    assert log.size < 1_000_000
