"""Many tablets at once against some servers, each sending its next entry once the last is answered. See saves.py."""

from __future__ import annotations

import asyncio
import json
import sys
import time
import uuid
from pathlib import Path

#: Stands in a job's body where each entry's own id goes.
ID = "00000000-0000-0000-0000-000000000000"


async def _tablet(port: int, path: str, cookie: str, body: str, until: float, taken: list[float],
                  refused: list[str]) -> None:
    kind = "application/json" if body.startswith("{") else "application/x-www-form-urlencoded"
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    while time.perf_counter() < until:
        sent = body.replace(ID, str(uuid.uuid4())).encode()
        head = (f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nCookie: {cookie}\r\nContent-Length: {len(sent)}\r\n"
                f"Content-Type: {kind}\r\n\r\n")
        begun = time.perf_counter()
        writer.write(head.encode() + sent)
        answer = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1")
        length = next((int(line.split(":")[1]) for line in answer.split("\r\n")
                       if line.lower().startswith("content-length:")), 0)
        await reader.readexactly(length)
        taken.append(time.perf_counter() - begun)
        if not answer.startswith(("HTTP/1.1 303", "HTTP/1.1 204", "HTTP/1.1 201")):
            refused.append(answer[:200])
        if "connection: close" in answer.lower():
            writer.close()
            reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.close()


async def _all(ports: list[int], jobs: list[list[str]], seconds: float) -> dict[str, object]:
    taken: list[float] = []
    refused: list[str] = []
    begun = time.perf_counter()
    await asyncio.gather(*(_tablet(ports[i % len(ports)], *job, begun + seconds, taken, refused)
                           for i, job in enumerate(jobs)))
    spent = time.perf_counter() - begun
    taken.sort()
    return {"a_second": len(taken) / spent, "p99_ms": 1000 * taken[int(len(taken) * 0.99)], "answered": len(taken),
            "refused": len(refused), "first": refused[:1]}


if __name__ == "__main__":
    ports, jobs_file, seconds = sys.argv[1:]
    print(json.dumps(asyncio.run(_all([int(port) for port in ports.split(",")],
                                      json.loads(Path(jobs_file).read_text()), float(seconds)))))
