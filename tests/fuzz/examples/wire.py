# ruff: noqa: T201  # a program answers on stdout
import sys

from gate_decoder import decode

for line in sys.stdin:
    verb, _, text = line.strip().partition(" ")
    answer = "?"
    if verb == "decode":
        status, raw = decode(bytes.fromhex(text.replace("-", "")))
        answer = "ok 2 " + " ".join(map(str, raw)) if status == "ok" else status
    print(answer, flush=True)
