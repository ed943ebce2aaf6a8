#!/usr/bin/env python3
"""A path between a bench and a phone that delays and drops packets.

    benches/path.py COMMAND...

Two network namespaces, a TUN device in each, and this relay between them: every packet comes 5 to 35 ms later (PATH_DELAY_MS
and PATH_JITTER_MS, evenly spread; in order, as by one radio), and one in a hundred never does (PATH_LOSS, a share). The command
runs in the bench's namespace and finds its address in PATH_AT, and in PATH_PHONE the name of the phone's (`ip netns exec`).
Needs root and iproute2. The kernel needs TUN devices, and no netem.
"""
import asyncio
import collections
import fcntl
import os
import random
import struct
import subprocess
import sys

TUNSETIFF, IFF_TUN, IFF_NO_PI = 0x400454CA, 0x0001, 0x1000
DELAY = float(os.environ.get("PATH_DELAY_MS", "5")) / 1000
JITTER = float(os.environ.get("PATH_JITTER_MS", "30")) / 1000
LOSS = float(os.environ.get("PATH_LOSS", "0.01"))
# What waits in a radio's queue before more is dropped.
QUEUE = 1000


def ip(*words):
    subprocess.run(["ip", *words], check=True)


def end(space, name, address):
    """A TUN device in a namespace; what it sends is read from what this returns."""
    device = os.open("/dev/net/tun", os.O_RDWR | os.O_NONBLOCK)
    fcntl.ioctl(device, TUNSETIFF, struct.pack("16sH22x", name.encode(), IFF_TUN | IFF_NO_PI))
    ip("netns", "add", space)
    ip("link", "set", name, "netns", space)
    ip("-n", space, "addr", "add", f"{address}/24", "dev", name)
    for link in ("lo", name):
        ip("-n", space, "link", "set", link, "up")
    return device


class Way:
    """One direction."""

    def __init__(self, loop, source, sink):
        self.loop, self.source, self.sink = loop, source, sink
        self.waiting = collections.deque()
        self.last = 0.0
        self.carried = self.dropped = 0
        loop.add_reader(source, self.take)

    def take(self):
        while True:
            try:
                packet = os.read(self.source, 65536)
            except BlockingIOError:
                return
            if random.random() < LOSS or len(self.waiting) >= QUEUE:
                self.dropped += 1
                continue
            self.last = max(self.last, self.loop.time() + DELAY + random.random() * JITTER)
            self.waiting.append(packet)
            self.loop.call_at(self.last, self.give)

    def give(self):
        self.carried += 1
        try:
            os.write(self.sink, self.waiting.popleft())
        except BlockingIOError:
            self.dropped += 1


async def main():
    spaces = [f"bothhands-{end}-{os.getpid()}" for end in ("bench", "phone")]
    addresses = ["10.77.0.1", "10.77.0.2"]
    try:
        devices = [
            end(space, f"bh{os.getpid() % 100000}{n}", address)
            for n, (space, address) in enumerate(zip(spaces, addresses))
        ]
        loop = asyncio.get_running_loop()
        ways = [Way(loop, *devices), Way(loop, *reversed(devices))]
        found = {**os.environ, "PATH_AT": addresses[0], "PATH_PHONE": spaces[1]}
        command = await asyncio.create_subprocess_exec(
            "ip", "netns", "exec", spaces[0], *sys.argv[1:], env=found
        )
        status = await command.wait()
        for device in devices:
            loop.remove_reader(device)
        for name, way in zip(("from the bench", "from the phone"), ways):
            print(f"packets {name}: {way.carried} carried, {way.dropped} dropped")
        return status
    finally:
        for space in spaces:
            subprocess.run(["ip", "netns", "del", space], check=False)


if len(sys.argv) < 2:
    sys.exit(__doc__)
sys.exit(asyncio.run(main()))
