"""Who works when: nobody has all the places, and a place is free when its work has ended."""

from __future__ import annotations

import asyncio
import threading
from contextlib import contextmanager

import pytest

from twogauge.serve.turns import CLIENT, Turns


@contextmanager
def held_up():
    """A piece of work that ends when it is told to, and the counts of how often it began and ended."""
    go, began, ended = threading.Event(), [], []

    def work():
        began.append(1)
        assert go.wait(20.0)
        ended.append(1)
        return "done"

    try:
        yield work, go, began, ended
    finally:
        go.set()


async def of(client, turns, call):
    CLIENT.set(client)
    return await turns.work(call)


def start(client, turns, call):
    return asyncio.ensure_future(of(client, turns, call))


async def until(what):
    async with asyncio.timeout(10.0):
        while not what():  # noqa: ASYNC110 - a thread cannot set an event of this loop
            await asyncio.sleep(0.005)


def test_one_client_leaves_a_place_for_another():
    async def scenario():
        turns = Turns(at_once=2, of_one=1)
        with held_up() as (work, go, began, _):
            one = [start("one", turns, work) for _ in range(5)]
            await until(lambda: began)
            assert await of("other", turns, lambda: "quick") == "quick"
            assert len(began) == 1
            go.set()
            assert await asyncio.gather(*one) == ["done"] * 5

    asyncio.run(scenario())


def test_work_that_nobody_waits_for_any_more_keeps_its_place_until_it_ends():
    async def scenario():
        turns = Turns(at_once=1, of_one=1)
        with held_up() as (work, go, began, ended):
            for _ in range(3):
                given_up = start("one", turns, work)
                await until(lambda: began)
                given_up.cancel()
                with pytest.raises(asyncio.CancelledError):
                    await given_up
            later = start("other", turns, lambda: len(ended))
            await asyncio.sleep(0.05)
            assert not later.done()
            assert len(began) == 1
            go.set()
            assert await later == 1

    asyncio.run(scenario())


def test_what_fails_frees_its_place_and_so_does_what_leaves_the_queue():
    async def scenario():
        turns = Turns(at_once=1, of_one=1)
        with pytest.raises(ZeroDivisionError):
            await of("one", turns, lambda: 1 / 0)
        with held_up() as (work, go, began, _):
            first = start("one", turns, work)
            await until(lambda: began)
            waiting = [start(client, turns, work) for client in ("one", "other")]
            await asyncio.sleep(0.02)
            for each in waiting:
                each.cancel()
            await asyncio.gather(*waiting, return_exceptions=True)
            go.set()
            await first
        assert await of("other", turns, lambda: "here") == "here"
        assert len(began) == 1

    asyncio.run(scenario())


def test_clients_are_forgotten_when_their_work_is_done():
    async def scenario():
        turns = Turns(at_once=2, of_one=1)
        for i in range(100):
            await of(str(i), turns, lambda: None)
        await asyncio.sleep(0)
        return len(turns._own)

    assert asyncio.run(scenario()) <= 1
