"""Whole recordings: some hundred receivers' own logs against gpsd's answers, outings, hikes and soundings."""

from __future__ import annotations

import json
import re

import pytest
from pynmeagps import NMEAReader

from packetcodec.bench import distance
from packetcodec.errors import LogFault
from packetcodec.logs import Fix, RecordedLog, read_log
from tests.support.recordings import gpsd_logs, hikes, rides, soundings

pytestmark = pytest.mark.network

# Logs in which gpsd takes the position of an epoch from another sentence than GGA (RMC with fewer decimals, a
# second instrument on the line), or puts two epochs together because the receiver's own times jump.
OTHER_SENTENCE = {"ac12.log", "ac12_binary.log", "bundg_zeus_9.log", "garmin-geko201.log", "hemi.log"}


def readable() -> dict[str, RecordedLog]:
    found = {}
    for name, (data, _) in gpsd_logs().items():
        try:
            found[name] = read_log([data], name=name)
        except LogFault as fault:
            assert str(fault).startswith(f"{name}: no")  # noqa: PT017
            assert "\n" not in str(fault)  # noqa: PT017
    return found


def test_every_log_of_gpsd_is_read_or_refused_in_one_line() -> None:
    found = readable()
    assert len(gpsd_logs()) == 154
    assert len(found) == 98
    assert sum(fix.has_position for log in found.values() for fix in log.fixes) > 2800


def test_positions_agree_with_what_gpsd_made_of_the_same_logs() -> None:
    # Source: the .chk files of the regression logs of gpsd 3.22, nine decimals of a degree.
    compared = 0
    for name, log in readable().items():
        if name in OTHER_SENTENCE:
            continue
        reports = [json.loads(line) for line in gpsd_logs()[name][1].splitlines() if line[:14] == b'{"class":"TPV"']
        theirs = {(round(each["lat"], 7), round(each["lon"], 7)) for each in reports if "lat" in each}
        ours = [fix for fix in log.fixes if fix.has_position]
        # gpsd gives no report for an epoch in whose middle a log begins or ends, or a receiver starts anew.
        strange = [fix for fix in ours if (round(fix.latitude or 0, 7), round(fix.longitude or 0, 7)) not in theirs]
        assert len(strange) <= 2, (name, strange)
        compared += len(ours) - len(strange)
    assert compared > 2600


def test_every_good_sentence_of_gpsds_logs_reads_as_pynmeagps_reads_it() -> None:
    pattern = re.compile(rb"\$..(?:GGA|GLL|GNS|RMC),[ -#%-)+-~]*\*[0-9A-Fa-f]{2}\r?\n")
    compared = 0
    for name, (data, _) in gpsd_logs().items():
        for line in sorted({match[0] for match in pattern.finditer(data)})[:40]:
            try:
                (ours,) = read_log([line], format="nmea").fixes
            except LogFault:
                continue  # refused: no time of day, a checksum that is wrong
            theirs = NMEAReader.parse(line)
            if ours.has_position:
                assert ours.latitude == pytest.approx(theirs.lat, abs=1e-9), (name, line)
                assert ours.longitude == pytest.approx(theirs.lon, abs=1e-9), (name, line)
            else:
                no_fix = getattr(theirs, "quality", None) in {0, ""} or getattr(theirs, "status", "A") != "A"
                mode = getattr(theirs, "posMode", "")
                assert no_fix or theirs.lat == "" or set(mode) == {"N"}, (name, line)
            compared += 1
    assert compared > 1500


def test_outings_hikes_and_soundings_are_what_their_packages_promise() -> None:
    assert {name: len(track) for name, track in rides().items()} == {
        "2020-06-01-16-52-40.fit": 96,
        "4078723797.fit": 8357,
        "4801048867.fit": 5159,
        "3173437224.tcx": 3507,
    }
    assert {name: len(track) for name, track in hikes().items()} == {
        "korita-zbevnica.gpx": 513,
        "cerknicko-jezero.gpx": 296,
        "around-visnjan-with-car.gpx": 104,
    }
    assert len(soundings()) == 25
    highest = max(fix.altitude or 0 for track in soundings().values() for fix in track)
    assert 35_000 < highest < 36_000


def test_real_tracks_move_no_faster_than_what_carried_them() -> None:
    # A bicycle below 25 m/s, a car below 50 m/s, a balloon in a jet stream below 120 m/s (no source).
    # Over at least ten seconds, since single fixes are dated to a whole second.
    def fastest(track: tuple[Fix, ...]) -> float:
        fixes = [fix for fix in track if fix.latitude is not None and fix.longitude is not None]
        speeds = [
            distance(a.latitude or 0, a.longitude or 0, b.latitude or 0, b.longitude or 0) / (b.time - a.time)
            for a, b in zip(fixes[::60], fixes[10::60], strict=False)
            if b.time - a.time >= 10
        ]
        return max(speeds)

    assert all(fastest(track) < 25 for track in rides().values())
    assert all(fastest(track) < 50 for track in hikes().values())
    assert all(fastest(track) < 120 for track in soundings().values())
