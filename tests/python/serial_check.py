"""Reads a simulated balance with pyserial, knowing nothing of panbell: prints each mass at rest.

Takes the port's name, how a line at rest looks (a regular expression with the groups value and
unit), and how many different masses to wait for.
"""

import re
import sys
import time

import serial

port, form, count = sys.argv[1], re.compile(sys.argv[2]), int(sys.argv[3])
until = time.monotonic() + 30
seen = []
with serial.Serial(port, 9600, timeout=1) as line:
    print("open", flush=True)
    while len(seen) < count and time.monotonic() < until:
        text = line.readline().decode("ascii").rstrip("\r\n")
        found = form.fullmatch(text)
        if found is None:
            continue
        mass = f"{found['value'].strip()} {found['unit'].strip()}"
        if not seen or seen[-1] != mass:
            seen.append(mass)
            print(mass, flush=True)
sys.exit(0 if len(seen) == count else 1)
