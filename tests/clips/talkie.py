#!/usr/bin/env python3
"""The actors' speech out of a talking adventure game (Debian's beneath-a-steel-sky), as WAV files: hours of real
English that was not recorded for a recogniser. Needs nothing but Python.

    tests/clips/talkie.py FOLDER_WITH_SKY_DNR EVERY OUTPUT_FOLDER

writes every EVERYth spoken line, in the order of the game.
"""
import struct
import sys
import wave
from pathlib import Path

FIRST, LAST = 50000, 58999  # numbers of the files that are speech
HEADER = 22  # bytes of a file's own header
RATE = 11025  # samples a second, 8 bit unsigned


class Bits:
    """Bits of a packed block, lowest first in words of two bytes, with raw bytes between them."""

    def __init__(self, data):
        self.data, self.at = data, 0
        self.held, self.count = self.word(0), 16

    def word(self, at):
        return int.from_bytes(self.data[at:at + 2], "little")

    def take(self, n):
        value = self.held & ((1 << n) - 1)
        self.held >>= n
        self.count -= n
        if self.count < 16:
            self.at += 2
            self.held |= self.word(self.at) << self.count
            self.count += 16
        return value

    def raw(self, n):
        data = self.data[self.at:self.at + n]
        self.at += n
        self.count -= 16
        self.held &= (1 << self.count) - 1
        self.held |= self.word(self.at) << self.count
        self.count += 16
        return data

    def table(self):
        """A table of codes: (bits, code) to value."""
        lengths = [self.take(4) for _ in range(self.take(5))]
        codes, code = {}, 0
        for bits in range(1, 17):
            for value, length in enumerate(lengths):
                if length == bits:
                    turned = int(format(code >> (16 - bits), f"0{bits}b")[::-1], 2)
                    codes[bits, turned] = value
                    code += 1 << (16 - bits)
        return codes

    def value(self, codes):
        bits = next(b for b in range(1, 17) if (b, self.held & ((1 << b) - 1)) in codes)
        value = codes[bits, self.take(bits)]
        return value if value < 2 else 1 << (value - 1) | self.take(value - 1)


def unpack(packed):
    """The bytes packed as `RNC 1` in `packed`."""
    blocks = packed[17]
    bits = Bits(packed[18:] + bytes(4))
    bits.take(2)
    out = bytearray()
    for _ in range(blocks):
        literals, distances, lengths = bits.table(), bits.table(), bits.table()
        for left in range(bits.take(16), 0, -1):
            out += bits.raw(n) if (n := bits.value(literals)) else b""
            if left > 1:
                start = len(out) - bits.value(distances) - 1
                for i in range(bits.value(lengths) + 2):
                    out.append(out[start + i])
    return bytes(out)


def speech(folder):
    """Number and packed samples of each spoken line."""
    index = (folder / "sky.dnr").read_bytes()
    data = (folder / "sky.dsk").read_bytes()
    for entry in range(struct.unpack_from("<I", index)[0]):
        number, at, size = (int.from_bytes(part, "little") for part in (
            index[4 + 8 * entry:][:2], index[4 + 8 * entry:][2:5], index[4 + 8 * entry:][5:8]))
        if not FIRST <= number <= LAST:
            continue
        start = (at & 0x7FFFFF) * (16 if at >> 23 else 1)
        line = data[start:start + (size & 0x3FFFFF)]
        yield number, line[HEADER:]


def main():
    folder, every, out = Path(sys.argv[1]), int(sys.argv[2]), Path(sys.argv[3])
    out.mkdir(parents=True, exist_ok=True)
    for number, line in sorted(speech(folder))[::every]:
        with wave.open(str(out / f"{number}.wav"), "wb") as file:
            file.setparams((1, 1, RATE, 0, "NONE", ""))
            file.writeframes(unpack(line) if line[:4] == b"RNC\x01" else line)


main()
