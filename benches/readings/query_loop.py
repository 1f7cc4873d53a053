"""Asks a meter for readings in a loop, as plainly as pyserial allows, and prints readings a second."""

import sys
import time

import serial

port, baud, span = sys.argv[1], int(sys.argv[2]), float(sys.argv[3])
with serial.Serial(port, baud, timeout=2) as line:
    count, start = 0, time.monotonic()
    while time.monotonic() - start < span:
        line.write(b"READ?\n")
        float(line.readline())
        count += 1
    print(count / (time.monotonic() - start))
