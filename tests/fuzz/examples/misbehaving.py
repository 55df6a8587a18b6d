# ruff: noqa: T201  # a program answers on stdout
"""The decoder of gate_decoder.py in programs that do one thing wrong, named by the first argument."""

import os
import signal
import sys
import time
from pathlib import Path

from gate_decoder import decode

what, seen, wrong, kept = sys.argv[1], 0, 0, []
again = what.endswith("until Ctrl-C") and Path("started").exists()
if what.endswith("until Ctrl-C"):
    Path("started").touch()
for line in sys.stdin:
    seen += 1
    verb, _, text = line.strip().partition(" ")
    answer = "?"
    if verb == "decode":
        status, raw = decode(bytes.fromhex(text.replace("-", "")))
        answer = "ok 2 " + " ".join(map(str, raw)) if status == "ok" else status
    bad = answer == "bad_padding"
    if what == "dies" and bad:
        os._exit(3)
    if what == "aborts" and bad:
        os.abort()
    if what == "hangs" and bad:
        time.sleep(60)
    if what == "talks" and bad:
        print("padding is not zero!", flush=True)
    if what == "is silent" and bad:
        continue
    if "rubbish" in what and bad:
        answer, wrong = "\x00\xff ok? maybe", wrong + 1
    many = 1 if what.startswith("is asked again") else 2
    if what.endswith("until Ctrl-C") and ((again and wrong == many) or (what.startswith("is right") and seen == 300)):
        os.kill(os.getppid(), signal.SIGINT)  # as a user would who watches the run
    if what == "stops early" and seen > 120:
        break
    if what == "leaks":
        kept.append(bytearray(50_000))
    if what == "loses step":
        print(end="\n" if bad else "")
    print(answer, flush=True)
