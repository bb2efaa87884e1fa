"""Fifty people at one page: how long an answer takes, and whether any fails. Run by hand; it starts its own server.

    .venv/bin/python tests/benchmarks/serve.py [USERS [SECONDS]]

Each user types a reading of their own, with half a second between two requests for the ranking, as the page does.
"""

from __future__ import annotations

import asyncio
import random
import re
import signal
import subprocess
import sys
import time

import httpx2 as httpx

USERS = int(sys.argv[1]) if len(sys.argv) > 1 else 50
SECONDS = float(sys.argv[2]) if len(sys.argv) > 2 else 30.0
THINKS = 0.5  # s
SEED = 20260612


async def user(address: str, number: int, times: list[float], failures: list[str]) -> None:
    rng = random.Random(SEED + number)  # noqa: S311 - readings, not secrets
    until = time.monotonic() + SECONDS
    async with httpx.AsyncClient(base_url=address, timeout=30.0) as client:
        await asyncio.sleep(rng.uniform(0.0, THINKS))
        while time.monotonic() < until:
            reading = {
                "refrigerant": rng.choice(["R134a", "R1234yf", "R12"]),
                "low_side": f"{rng.uniform(5, 60):.1f} psi",
                "high_side": f"{rng.uniform(90, 350):.0f} psi",
                "ambient": f"{rng.uniform(65, 105):.0f} degF",
            }
            started = time.monotonic()
            try:
                answer = await client.get("/live", params=reading)
                if answer.status_code != 200 or "How likely" not in answer.json()["result"]:
                    failures.append(f"status {answer.status_code}")
            except httpx.HTTPError as error:
                failures.append(type(error).__name__)
            times.append(time.monotonic() - started)
            await asyncio.sleep(rng.uniform(0.5, 1.5) * THINKS)


async def everybody(address: str) -> tuple[list[float], list[str]]:
    times: list[float] = []
    failures: list[str] = []
    await asyncio.gather(*(user(address, number, times, failures) for number in range(USERS)))
    return sorted(times), failures


def main() -> None:
    command = [sys.executable, "-m", "twogauge", "serve", "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as server:
        address = re.search(r"http://\S+", server.stdout.readline())[0]
        started = time.monotonic()
        times, failures = asyncio.run(everybody(address))
        took = time.monotonic() - started
        server.send_signal(signal.SIGINT)
    at = {share: times[min(int(share * len(times)), len(times) - 1)] for share in (0.5, 0.95, 0.99)}
    print(f"{USERS} users, {took:.0f} s: {len(times)} requests, {len(times) / took:.0f} a second")
    print("  ".join(f"p{100 * share:.0f} {1000 * value:.0f} ms" for share, value in at.items()))
    print(f"failed: {len(failures)} {sorted(set(failures))}")
    sys.exit(bool(failures))


if __name__ == "__main__":
    main()
