"""GPX: the track points of a file that is one whole XML document.

Owns one rule: only track points with a time are positions that a receiver reported; routes and waypoints
are plans. Where GPX 1.1 names the kind of fix it becomes a number of GGA: none 0, 2d and 3d 1, dgps 2, pps
3.

>>> document = b'<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x"><trk><trkseg>'
>>> document += b'<trkpt lat="46.5" lon="9.9"><time>2026-07-01T12:00:00Z</time></trkpt></trkseg></trk></gpx>'
>>> [(fix.time, fix.latitude) for fix in read_gpx(document, name="herd.gpx")[0]]
[(1782907200.0, 46.5)]
"""

from __future__ import annotations

import re
from datetime import UTC
from typing import Final

import gpxpy
from gpxpy.gpx import GPXException, GPXTrackPoint

from packetcodec.errors import LogFault
from packetcodec.logs.fix import Fix, Refusals, Unusable, checked

_NAMESPACE: Final = "http://www.topografix.com/GPX/"
_QUALITY: Final = {"none": 0, "2d": 1, "3d": 1, "dgps": 2, "pps": 3}
_PREFIX = re.compile(rb"<([A-Za-z0-9_]+):gpx\b")
_ROOT_NAMESPACE = re.compile(rb"<(?!\?|!)[^>]*?\sxmlns=[\"']([^\"']*)[\"']")


def read_gpx(document: bytes, *, name: str) -> tuple[list[Fix], int, Refusals]:
    """Fixes, number of track points seen, and what was refused.

    Raises:
        LogFault: the document is not XML, not GPX, or has no track point.
    """
    try:
        parsed = gpxpy.parse(document)
    except (GPXException, ValueError) as problem:
        message = " ".join(str(problem).split())
        raise LogFault(f"{name}: not a GPX document that can be read ({message})") from None
    fixes: list[Fix] = []
    refusals = Refusals()
    number = 0
    for track in parsed.tracks:
        for segment in track.segments:
            for point in segment.points:
                number += 1
                try:
                    fixes.append(_fix(point))
                except Unusable as problem:
                    text = f"{point.latitude}, {point.longitude}: {problem}"
                    refusals.add(problem.reason, f"track point {number}", text)
    if not number:
        if prefix := _PREFIX.search(document):
            raise LogFault(
                f"{name}: no track point (trkpt): the GPX namespace has the prefix '{prefix[1].decode()}', "
                "only GPX without prefixes is read"
            )
        found = _ROOT_NAMESPACE.search(document)
        if found and not found[1].startswith(_NAMESPACE.encode()):
            stranger = found[1].decode("utf-8", "replace")
            raise LogFault(f"{name}: no track point (trkpt): the namespace is '{stranger}', not '{_NAMESPACE}...'")
        others = f"{len(parsed.waypoints)} waypoints and {len(parsed.routes)} routes"
        raise LogFault(f"{name}: no track point (trkpt) in {len(document)} bytes, {others}")
    return fixes, number, refusals


def _fix(point: GPXTrackPoint) -> Fix:
    if point.time is None:
        raise Unusable("no time", "the point has no time")
    moment = point.time if point.time.tzinfo else point.time.replace(tzinfo=UTC)
    satellites = _optional("satellites", point.satellites)
    return Fix(
        time=moment.timestamp(),
        latitude=checked("latitude", point.latitude),
        longitude=checked("longitude", point.longitude),
        altitude=_optional("altitude", point.elevation),
        fix_quality=_QUALITY.get(point.type_of_gpx_fix or ""),
        satellites=None if satellites is None else int(satellites),
        hdop=_optional("hdop", point.horizontal_dilution),
        speed=_optional("speed", point.speed),
        course=_optional("course", point.course),
    )


def _optional(name: str, value: float | None) -> float | None:
    return None if value is None else checked(name, float(value))
