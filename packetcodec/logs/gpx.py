"""GPX: the track points of a file that is one whole XML document.

Owns one rule: only track points with a time are positions that a receiver reported; routes and waypoints
are plans. Where GPX 1.1 names the kind of fix it becomes a number of GGA: none 0, 2d and 3d 1, dgps 2, pps
3.

The document is read as it comes, by the standard library's expat. It fetches nothing; a document that defines entities is
refused, and so is one whose tags never end or are nested without end: no GPX is like that.

>>> from packetcodec.logs.format import Findings
>>> document = b'<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x"><trk><trkseg>'
>>> document += b'<trkpt lat="46.5" lon="9.9"><time>2026-07-01T12:00:00Z</time></trkpt></trkseg></trk></gpx>'
>>> [(fix.time, fix.latitude) for fix in FORMAT.fixes(iter([document]), Findings("herd.gpx"))]
[(1782907200.0, 46.5)]
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final
from xml.parsers import expat

from packetcodec.errors import LogFault
from packetcodec.logs.fix import Fix
from packetcodec.logs.format import Findings, LogFormat
from packetcodec.logs.values import RecordFault, integer, moment, number, shown

if TYPE_CHECKING:
    from collections.abc import Iterator

_NAMESPACE: Final = "http://www.topografix.com/GPX/"
_QUALITY: Final = {"none": 0, "2d": 1, "3d": 1, "dgps": 2, "pps": 3}
_XML: Final = re.compile(rb"(?:\xef\xbb\xbf)?\s*<(?:\?xml|!--|!DOCTYPE|gpx|[A-Za-z0-9_]+:gpx)")
#: Elements of a track point that tell something.
_TOLD: Final = frozenset({"time", "ele", "fix", "sat", "hdop", "speed", "course"})
_MAX_DEPTH: Final = 100
_MAX_TAG: Final = 1 << 20
_MAX_TEXT: Final = 200


def _fixes(chunks: Iterator[bytes], findings: Findings) -> Iterator[Fix]:
    """The usable track points of a document.

    Raises:
        LogFault: the document is not XML, not GPX, or has no track point.
    """
    document = _Document(findings)
    for chunk in chunks:
        yield from document.feed(chunk)
    yield from document.feed(b"", last=True)
    if not findings.records:
        others = f"{document.seen['wpt']} waypoints and {document.seen['rte']} routes"
        findings.nothing = f"no track point (trkpt) in {findings.size} bytes, {others}"


class _Document:
    """A document under way: what the parser tells, in the terms of GPX."""

    def __init__(self, findings: Findings) -> None:
        self.seen = {"wpt": 0, "rte": 0}
        self._findings = findings
        self._fixes: list[Fix] = []
        self._space: str | None = None
        self._depth = 0
        self._point: dict[str, str] | None = None
        self._point_depth = 0
        self._told = ""
        self._fed = 0
        self._parser = expat.ParserCreate(namespace_separator=" ")
        self._parser.buffer_text = True
        self._parser.StartElementHandler = self._start
        self._parser.EndElementHandler = self._end
        self._parser.CharacterDataHandler = self._text
        self._parser.EntityDeclHandler = self._entity

    def feed(self, data: bytes, *, last: bool = False) -> list[Fix]:
        self._fed += len(data)
        try:
            self._parser.Parse(data, last)
        except expat.ExpatError as problem:
            raise self._fault(f"not a GPX document that can be read ({problem})") from None
        if self._fed - self._parser.CurrentByteIndex > _MAX_TAG + len(data):
            raise self._fault(f"not a GPX document that can be read (a tag of more than {_MAX_TAG:,} bytes)")
        fixes, self._fixes = self._fixes, []
        return fixes

    def _fault(self, message: str) -> LogFault:
        return LogFault(f"{self._findings.name}: {message}")

    def _entity(self, *_declared: object) -> None:
        raise self._fault("not a GPX document that can be read (it defines XML entities, which GPX has no use for)")

    def _root(self, space: str, name: str) -> None:
        if space and not space.startswith(_NAMESPACE):
            raise self._fault(f"no track point (trkpt): the namespace is '{shown(space)}', not '{_NAMESPACE}...'")
        if name != "gpx":
            raise self._fault(f"no track point (trkpt): the document is '{shown(name)}', not 'gpx'")
        self._space = space

    def _start(self, tag: str, attributes: dict[str, str]) -> None:
        self._depth += 1
        if self._depth > _MAX_DEPTH:
            raise self._fault(f"not a GPX document that can be read (more than {_MAX_DEPTH} tags within each other)")
        space, _, name = tag.rpartition(" ")
        if self._space is None:
            self._root(space, name)
        self._told = ""
        if space != self._space:
            return
        if self._point is None and name == "trkpt":
            self._findings.records += 1
            self._point, self._point_depth = {key: attributes.get(key, "") for key in ("lat", "lon")}, self._depth
        elif self._point is not None and self._depth == self._point_depth + 1 and name in _TOLD:
            self._told = name
        elif name in self.seen:
            self.seen[name] += 1

    def _text(self, text: str) -> None:
        if self._told and self._point is not None:
            self._point[self._told] = (self._point.get(self._told, "") + text)[:_MAX_TEXT]

    def _end(self, _tag: str) -> None:
        if self._point is not None and self._depth == self._point_depth:
            point, self._point = self._point, None
            try:
                self._fixes.append(_fix(point))
            except RecordFault as problem:
                text = f"{shown(point['lat'])}, {shown(point['lon'])}: {problem}"
                self._findings.refusals.add(problem.reason, f"track point {self._findings.records}", text)
        self._depth -= 1
        self._told = ""


def _fix(point: dict[str, str]) -> Fix:
    def optional(name: str, key: str) -> float | None:
        text = point.get(key, "").strip()
        return number(name, text) if text else None

    if not (time := point.get("time", "").strip()):
        raise RecordFault("no time", "the point has no time")
    return Fix(
        time=moment(time),
        latitude=number("latitude", point["lat"]),
        longitude=number("longitude", point["lon"]),
        altitude=optional("altitude", "ele"),
        fix_quality=_QUALITY.get(point.get("fix", "").strip()),
        satellites=integer("satellites", sat) if (sat := point.get("sat", "").strip()) else None,
        hdop=optional("hdop", "hdop"),
        speed=optional("speed", "speed"),
        course=optional("course", "course"),
    )


FORMAT: Final = LogFormat(
    name="gpx", records="track points", recognises=lambda head: bool(_XML.match(head)), fixes=_fixes, by_time=True
)
