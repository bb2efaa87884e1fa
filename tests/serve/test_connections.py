"""Connections on which nothing is asked: closed in time, so that whoever asks finds a place."""

from __future__ import annotations

import asyncio
from contextlib import asynccontextmanager

import pytest
import uvicorn
from starlette.responses import PlainTextResponse

from twogauge.serve import connections
from twogauge.serve.guard import HEADERS
from twogauge.serve.run import listen

ASK = b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"


@asynccontextmanager
async def serving(monkeypatch, *, to_ask=0.3, to_take=30.0, of_one=4, at_once=256, pause=0.0, text="here"):
    monkeypatch.setattr(connections, "TO_ASK", to_ask)
    monkeypatch.setattr(connections, "TO_TAKE", to_take)
    monkeypatch.setattr(connections, "MOST_AT_ONCE", at_once)
    monkeypatch.setattr(connections, "MOST_OF_ONE", of_one)

    async def app(scope, receive, send):
        await asyncio.sleep(pause)
        await PlainTextResponse(text)(scope, receive, send)

    listening = listen("127.0.0.1", 0)
    config = uvicorn.Config(
        app, http=connections.Connection, lifespan="off", ws="none", log_config=None, timeout_graceful_shutdown=1
    )
    server = uvicorn.Server(config)
    task = asyncio.create_task(server.serve(sockets=[listening]))
    try:
        yield listening.getsockname()[1], server.server_state.connections
    finally:
        server.should_exit = True
        await task
        listening.close()


async def opened(port, first=b""):
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(first)
    return reader, writer


async def ended(reader) -> bool:
    """Tell whether the server closes a connection, within a time that it takes easily."""
    try:
        async with asyncio.timeout(5.0):
            return await reader.read() in {b"", None}
    except ConnectionError:
        return True
    except TimeoutError:
        return False


@pytest.mark.parametrize("first", [b"", b"GET / HTTP/1.1\r\nHost: "])
def test_a_connection_on_which_no_request_comes_is_closed(monkeypatch, first):
    async def scenario():
        async with serving(monkeypatch) as (port, _):
            reader, writer = await opened(port, first)
            assert await ended(reader)
            writer.close()

    asyncio.run(scenario())


def test_so_is_one_whose_second_request_does_not_come_to_its_end(monkeypatch):
    async def scenario():
        async with serving(monkeypatch) as (port, _):
            reader, writer = await opened(port, ASK)
            assert b"200 OK" in await reader.readuntil(b"here")
            writer.write(ASK[:-2])
            assert await ended(reader)
            writer.close()

    asyncio.run(scenario())


def test_a_slow_answer_is_waited_for(monkeypatch):
    async def scenario():
        async with serving(monkeypatch, to_ask=0.2, pause=0.6) as (port, _):
            reader, writer = await opened(port, ASK)
            assert b"200 OK" in await reader.readuntil(b"here")
            writer.close()

    asyncio.run(scenario())


@pytest.mark.parametrize("last", [b"Connection: close\r\n", b""])
def test_an_answer_that_nobody_takes_is_not_kept_for_ever(monkeypatch, last):
    async def scenario():
        async with serving(monkeypatch, to_take=0.2, text="x" * 20_000_000) as (port, held):
            reader, writer = await opened(port, ASK[:-2] + last + b"\r\n")
            writer.transport.pause_reading()
            async with asyncio.timeout(5.0):
                while not held:  # noqa: ASYNC110 - nothing tells
                    await asyncio.sleep(0.02)
                while held:  # noqa: ASYNC110
                    await asyncio.sleep(0.02)
            writer.close()
            reader, writer = await opened(port, ASK)
            assert b"200 OK" in await reader.readuntil(b"xx")
            writer.close()

    asyncio.run(scenario())


def test_an_answer_that_is_taken_slowly_is_given_to_its_end(monkeypatch):
    async def scenario():
        monkeypatch.setattr(connections, "TAKEN", 1)
        async with serving(monkeypatch, to_take=0.2, text="x" * 20_000_000) as (port, _):
            reader, writer = await opened(port, ASK[:-2] + b"Connection: close\r\n\r\n")
            got = 0
            async with asyncio.timeout(20.0):
                while part := await reader.read(1_000_000):
                    got += len(part)
                    await asyncio.sleep(0.02)
            assert got > 20_000_000
            writer.close()

    asyncio.run(scenario())


def test_one_client_cannot_hold_every_place(monkeypatch):
    async def scenario():
        async with serving(monkeypatch, to_ask=30.0) as (port, _):
            held = [await opened(port) for _ in range(5)]
            assert await ended(held[-1][0])
            reader, writer = held[0]
            writer.write(ASK)
            assert b"200 OK" in await reader.readuntil(b"here")
            for _, each in held:
                each.close()

    asyncio.run(scenario())


def headers_of(answer: bytes) -> dict[str, str]:
    head = answer.partition(b"\r\n\r\n")[0].decode("ascii")
    return {name.lower(): value for name, _, value in (line.partition(": ") for line in head.split("\r\n")[1:])}


def test_what_is_no_http_is_refused_under_the_same_headers(monkeypatch):
    async def scenario():
        async with serving(monkeypatch, to_ask=30.0) as (port, _):
            reader, writer = await opened(port, b"\x16\x03\x01 no http\r\n\r\n")
            async with asyncio.timeout(5.0):
                answer = await reader.read()
            assert answer.startswith(b"HTTP/1.1 400 ")
            assert headers_of(answer).items() >= HEADERS.items()
            writer.close()

    asyncio.run(scenario())


def test_one_too_many_is_told_to_come_back_and_the_others_are_served(monkeypatch):
    async def scenario():
        async with serving(monkeypatch, to_ask=30.0, of_one=9, at_once=2) as (port, _):
            held = [await opened(port) for _ in range(2)]
            reader, writer = await opened(port, ASK.replace(b"GET /", b"GET /api/v1/refrigerants"))
            async with asyncio.timeout(5.0):
                answer = await reader.read()
            assert answer.startswith(b"HTTP/1.1 503 ")
            told = headers_of(answer)
            assert told.items() >= {**HEADERS, "content-type": "application/problem+json", "retry-after": "2"}.items()
            writer.close()
            held[0][1].write(ASK)
            assert b"200 OK" in await held[0][0].readuntil(b"here")
            for _, each in held:
                each.close()

    asyncio.run(scenario())
