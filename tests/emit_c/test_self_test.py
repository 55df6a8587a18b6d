"""The self-test of emitted C: on this machine, an AVR, a Cortex-M0 and a big-endian PowerPC, and with faults planted."""

from __future__ import annotations

import re
import subprocess

import pytest

from packetcodec import Schema, compile_plan
from packetcodec.cli.app import run
from packetcodec.emit.back_end import with_layouts
from packetcodec.emit.c.writer import write_c
from packetcodec.starter import schema_text
from tests.support.conformance import SANITIZERS, TWO_TRAILS, WARNINGS
from tests.support.low_bits import SCHEMA as LOW_BITS
from tests.support.needs import tool

STARTER = Schema.parse(schema_text())
PLAIN = """
#include <stdio.h>
static void say(unsigned number) { printf("=%u\\n", number); }
"""
#: Bytes to the UART of an ATmega, then asleep without interrupts, where the simulator ends.
AVR = """
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
static void say(unsigned number)
{
    char digits[6];
    unsigned char n = 0;
    UCSR0B = 1 << TXEN0;
    UDR0 = '=';
    do digits[n++] = (char)('0' + number % 10U); while (number /= 10U);
    while (n) UDR0 = (unsigned char)digits[--n];
    UDR0 = '\\n';
    cli();
    sleep_mode();
}
"""
#: A Cortex-M0 from reset: its vectors, and the debugger's calls for output and end (Arm semihosting 4 and 24).
M0 = """
static int ask(int what, const void *with)
{
    register int r0 __asm__("r0") = what;
    register const void *r1 __asm__("r1") = with;
    __asm__ volatile("bkpt 0xab" : "+r"(r0) : "r"(r1) : "memory");
    return r0;
}
static void say(unsigned number)
{
    char text[8] = "=00000\\n";
    for (int n = 5; n; n--) { text[n] = (char)('0' + number % 10U); number /= 10U; }
    ask(4, text);
    ask(24, (const void *)0x20026);
}
int main(void);
__attribute__((section(".vectors"), used)) static const void *const vectors[2] = {(void *)0x20003ff0, (const void *)main};
"""
MACHINES = {
    "here": (PLAIN, ["gcc", *SANITIZERS], [], "gcc"),
    "big-endian PowerPC": (
        PLAIN, ["powerpc-linux-gnu-gcc", "-O2", "-static"], ["qemu-ppc"],
        "gcc-powerpc-linux-gnu libc6-dev-powerpc-cross qemu-user",
    ),
    "AVR": (
        AVR, ["avr-gcc", "-Os", "-mmcu=atmega1284p"], ["simavr", "-m", "atmega1284p", "-f", "16000000"], "gcc-avr simavr",
    ),
    "Cortex-M0": (
        M0,
        ["arm-none-eabi-gcc", "-Os", "-mcpu=cortex-m0", "-mthumb", "--specs=nano.specs", "-nostartfiles",
         "-Wl,--section-start=.vectors=0,-Ttext=0x100,-Tdata=0x20000000"],
        ["qemu-system-arm", "-M", "microbit", "-nographic", "-semihosting", "-kernel"],
        "gcc-arm-none-eabi qemu-system-arm",
    ),
}  # fmt: skip


def first_fault(folder, texts, machine="here"):
    """What the self-test says on a machine: 0, or the number of the vector at fault."""
    support, compiler, runner, package = MACHINES[machine]
    name = next(name for name in texts if name.endswith("_packets.h")).removesuffix("_packets.h")
    main = f'#include "{name}_packets.h"\n{support}\nint main(void) {{ say({name}_self_test()); return 0; }}\n'
    for file, text in {**texts, "main.c": main}.items():
        (folder / file).write_text(text, encoding="utf-8")
    sources = [*(file for file in texts if file.endswith(".c")), "main.c"]
    command = [tool(compiler[0], package), "-std=gnu99", *compiler[1:], *sources, "-o", "test.elf"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    start = [tool(runner[0], package), *runner[1:]] if runner else []
    done = subprocess.run(
        [*start, "./test.elf"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        timeout=200,
        stdin=subprocess.DEVNULL,
    )
    said = re.search(r"=(\d+)", done.stdout + done.stderr)
    assert said, done.stdout + done.stderr
    return int(said[1])


@pytest.mark.slow
@pytest.mark.parametrize("machine", MACHINES)
def test_the_vectors_are_right_on_every_machine(machine, tmp_path):
    assert first_fault(tmp_path, write_c(compile_plan(STARTER), self_test=True), machine) == 0


@pytest.mark.slow
@pytest.mark.parametrize("schema", [TWO_TRAILS, LOW_BITS], ids=["two trails", "low bits"])
@pytest.mark.parametrize("only", ["", "encode", "decode"])
def test_other_schemas_and_halves_are_tried_too(schema, only, tmp_path):
    texts = write_c(compile_plan(schema), self_test=True, only=only)
    assert first_fault(tmp_path, texts) == 0
    source = next(name for name in texts if name.endswith("_self_test.c"))
    command = [tool("gcc"), "-std=c99", *WARNINGS, "-c", source, "-o", "x.o"]
    subprocess.run(command, cwd=tmp_path, check=True)


@pytest.mark.slow
@pytest.mark.parametrize(
    "fault",
    [
        "0x5935U|0x5937U",
        "3394967296UL|3394967295UL",
        "& PADDING|& 0U",
        "_BAD_TRAIL;|_OK;",
        "233UL|234UL",
    ],
)
def test_a_fault_in_the_code_is_found(fault, tmp_path):
    texts = write_c(with_layouts(compile_plan(STARTER), ["position", "track"]), self_test=True)
    right, wrong = (part.replace("PADDING", "pasturePADDING") for part in fault.split("|"))
    assert right in texts["pasture_packets.c"]
    texts["pasture_packets.c"] = texts["pasture_packets.c"].replace(right, wrong)
    assert first_fault(tmp_path, texts) > 0


def test_the_command_writes_it_where_it_is_asked_for(tmp_path):
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")
    assert run(["emit", "c", str(tmp_path / "pasture.toml"), "--self-test", "-o", str(tmp_path / "out")]) == 0
    assert {file.name for file in (tmp_path / "out").iterdir()} == {
        "pasture_packets.h", "pasture_packets.c", "pasture_self_test.c",
    }  # fmt: skip
