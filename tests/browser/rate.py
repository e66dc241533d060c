"""How many pictures a second two viewers get beside the show: `python -m tests.browser.rate`.

The show is `foreglow view` of the foyer, or of the display given, in a process of its own, with a
scene that changes in every frame. Both viewers are in this one. They take each picture of 960
pixels' width at once, as a browser on the same machine does.
"""

from __future__ import annotations

import asyncio
import json
import re
import subprocess
import sys

import aiohttp
import psutil

from emulator import RealClock

SECONDS = 10


async def watch(url: str, clock: RealClock, ends_ns: int) -> tuple[int, int, str]:
    """Pictures and bytes that one viewer got, and what the show says of its own rate."""
    count = size = 0
    words = ""
    async with aiohttp.ClientSession() as session, session.ws_connect(f"{url}live") as line:
        await line.send_json({"wide": 960})
        async for message in line:
            if message.type is aiohttp.WSMsgType.BINARY:
                await line.send_json({"seen": int.from_bytes(message.data[:8], "big")})
                count, size = count + 1, size + len(message.data)
            elif (told := json.loads(message.data))["kind"] == "told":
                words = ", ".join(
                    f"{gauge['name']} {gauge['value']}"
                    for gauge in told["gauges"]
                    if gauge["name"] in ("Missed", "Frames/s")
                )
            if clock.now_ns() > ends_ns:
                break
    return count, size, words


async def main(display: str) -> None:
    """Print the rates, the load of the show's process, and what it missed."""
    command = [
        sys.executable,
        "-m",
        "foreglow",
        "view",
        display,
        "lobby",
        "--browser",
        "--port",
        "0",
    ]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as show:
        try:
            found = re.search(r"http://\S+", show.stdout.readline())
            clock, process = RealClock(), psutil.Process(show.pid)
            before = process.cpu_times()
            ends_ns = clock.now_ns() + SECONDS * 1_000_000_000
            both = await asyncio.gather(*(watch(found[0], clock, ends_ns) for _ in range(2)))
            after = process.cpu_times()
        finally:
            show.terminate()
    for count, size, words in both:
        print(f"{count / SECONDS:.1f} pictures/s of {size / count / 1000:.0f} kB; {words}")
    used = after.user + after.system - before.user - before.system
    print(f"the show's process: {used / SECONDS:.0%} of a core")


if __name__ == "__main__":
    asyncio.run(main(sys.argv[1] if len(sys.argv) > 1 else "foyer"))
