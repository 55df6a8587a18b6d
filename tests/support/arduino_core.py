"""Sketches built as the Arduino core's own build has it (its platform.txt and boards.txt), and run on a simulated board."""

from __future__ import annotations

import re
import shlex
import subprocess
from pathlib import Path

from tests.support.needs import demand, tool

CORE = Path("/usr/share/arduino/hardware/arduino/avr")
BOARD_SOURCE = Path(__file__).with_name("avr_board.c")


def core() -> Path:
    """The folder of the core. Without it a test is skipped on a user's machine, and fails in CI."""
    tool("avr-gcc", "gcc-avr avr-libc")
    demand(CORE.exists(), "no Arduino core here (Debian: arduino-core-avr)")
    return CORE


def _properties(board: str) -> dict[str, str]:
    """What platform.txt and boards.txt say for a board; `compiler.warning_flags` is what "all warnings" chooses."""
    found = {
        "compiler.path": "",
        "runtime.ide.version": "10819",
        "build.arch": "AVR",
        "includes": "",
        "build.extra_flags": "",
    }
    for name, prefix in (("platform.txt", ""), ("boards.txt", f"{board}.")):
        for line in (core() / name).read_text(encoding="utf-8").splitlines():
            key, equal, value = line.partition("=")
            for start in {prefix, prefix.partition("menu.")[0]}:  # one of the board's processors, and the board
                if equal and not key.startswith("#") and key.startswith(start):
                    found[key.removeprefix(start)] = value
    return {**found, "compiler.warning_flags": found["compiler.warning_flags.all"]}


def _command(known: dict[str, str], recipe: str, **more: str) -> list[str]:
    text, known = known[recipe], {**known, **more}
    while wanted := re.findall(r"{([\w.]+)}", text):
        for key in wanted:
            text = text.replace(f"{{{key}}}", known[key])
    return shlex.split(text)


def build(sketch: Path, library: Path, folder: Path, *, board: str = "uno", flags: str = "") -> tuple[Path, str]:
    """The program of a sketch with a library: its ELF file, and what the compiler said of sketch and library."""
    known = _properties(board)
    known["includes"] = " ".join(
        f"-I{shlex.quote(str(path))}"
        for path in (core() / "cores/arduino", core() / "variants" / known["build.variant"], library / "src")
    )
    # The headers of GCC 5 keep DECIMAL_DIG from C++; the core's strings ask for it.
    known |= {"compiler.cpp.extra_flags": f"{flags} -DDECIMAL_DIG=__DECIMAL_DIG__", "compiler.c.extra_flags": flags}
    main = folder / f"{sketch.name}.cpp"
    main.write_text(f'#include <Arduino.h>\n#line 1 "{sketch.name}"\n{sketch.read_text(encoding="utf-8")}', encoding="utf-8")
    sources = [main, *sorted((library / "src").glob("*.c")), *sorted((core() / "cores/arduino").iterdir())]
    said, objects = "", []
    for source in sources:
        kind = source.suffix.removeprefix(".")
        if kind not in {"c", "cpp", "S"}:
            continue
        objects.append(folder / f"{source.name}.o")
        paths = {"source_file": str(source), "object_file": str(objects[-1])}
        done = subprocess.run(
            _command(known, f"recipe.{kind}.o.pattern", **paths), capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        said += done.stderr if not source.is_relative_to(core()) else ""
    more = {"build.path": str(folder), "build.project_name": sketch.name, "archive_file": "none.a"}
    more["object_files"] = " ".join(shlex.quote(str(path)) for path in objects)
    command = [part for part in _command(known, "recipe.c.combine.pattern", **more) if not part.endswith("none.a")]
    subprocess.run(command, check=True, capture_output=True)
    return folder / f"{sketch.name}.elf", said


def simulator(folder: Path) -> Path:
    """The simulated board, built."""
    program = folder / "board"
    command = [tool("gcc"), "-O2", str(BOARD_SOURCE), "-o", str(program), "-lsimavr", "-lsimavrparts", "-lelf"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    demand(not done.returncode, f"no simulator here (Debian: libsimavr-dev libelf-dev): {done.stderr[:200]}")
    return program


def run(board: Path, elf: Path, text: str, *, mcu: str = "atmega328p", baud: int = 9600, apart: int = 0) -> list[str]:
    """The lines that a board prints on its serial port while it is fed lines, so many milliseconds apart."""
    done = subprocess.run(
        [board, elf, mcu, str(baud), str(apart)], input=text.encode(), capture_output=True, timeout=300, check=False
    )
    assert done.returncode == 0, (done.returncode, done.stdout, done.stderr)
    return done.stdout.decode("latin-1").splitlines()
