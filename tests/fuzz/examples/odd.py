# ruff: noqa: T201  # a program answers on stdout
"""The decoder of gate_decoder.py, and an encoder, in programs whose fault is heard by a careful listener alone."""

import os
import sys
import time

from gate_decoder import crc, decode

what, held, late, spoiled, kept, ended = sys.argv[1], "?", "?", False, [], 0


def encode(words):
    codes = [255 if word == "-" else int(word) for word in words]
    if words[0] == "-" or not 0 <= codes[0] <= 255 or codes[2] not in {0, 1, 2} or codes[3] not in {0, 1}:
        return "refused"
    if words[1] != "-":
        codes[1] = (min(max(codes[1], -400), 600) + 400 + 2) // 5
    body = bytes([0x12, codes[0], codes[1], codes[2] << 6 | codes[3] << 5])
    return (body + bytes([crc(body)])).hex()


if what == "dies at the start":
    print("no such port", file=sys.stderr)
    sys.exit(7)
for line in sys.stdin:
    verb, _, text = line.strip().partition(" ")
    answer = "?"
    if verb == "decode" or what == "ignores the verb":
        try:
            status, raw = decode(bytes.fromhex(text.replace("-", "")))
        except ValueError:
            status, raw = "too_short", []
        answer = "ok 2 " + " ".join(map(str, raw)) if status == "ok" else status
        if status == "ok" and spoiled:
            answer = f"ok 2 {(raw[0] + 1) % 256} " + " ".join(map(str, raw[1:]))
        held = answer if status == "ok" else held
        if status == "bad_padding":
            spoiled = what == "spoils its state"
            held = "?" if what == "forgets" else held
            ended = 5 if what == "ends badly" else 0
            if what == "complains":
                print("gate.c:7:3: runtime error: shift exponent 32 is too large", file=sys.stderr)
            if what == "is slow":
                time.sleep(0.15)
        if what == "leaks" or (what == "leaks of few" and raw and raw[0] % 16 == 3):
            kept.append(bytes(100 if what == "leaks" else 1600) + b"%d" % len(kept))
    elif verb == "encode_base" and what == "encoder dies":
        os._exit(4)
    elif verb == "encode_base" and what != "decodes":
        words = text.split()
        answer = "?" if what == "gives up" and words[2] != "-" and int(words[2]) > 600 else encode(words[1:])
    elif verb == "held":
        answer = held
    if what == "is late":
        answer, late = late, answer
    if what == "keeps back":
        kept.append(answer)
        continue
    blank = " " if what == "indents" else ""
    print(blank + answer, end="\r\n" if what == "has other line ends" else "\n", flush=True)
print(*kept, sep="\n") if what == "keeps back" else None
sys.exit(ended)
