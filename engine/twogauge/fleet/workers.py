"""Who answers pieces side by side: processes, since the calls of numpy are too short for threads to pass each other.

One worker is a thread of the run itself, so that a short log waits for no process to begin. Processes are begun afresh
(not forked: Arrow has threads of its own), get what they need once, and end with the run, also where that is killed.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context, parent_process
from threading import Thread
from typing import Any, Generic, Protocol, TypeVar

from twogauge.errors import InputError

R_co = TypeVar("R_co", covariant=True)
R = TypeVar("R")


class Answers(Protocol[R_co]):
    """What workers do; picklable where there are several."""

    def answer(self, *task: Any) -> R_co:
        """Do one task."""
        ...


class Workers(Generic[R]):
    """Answers tasks side by side.

    Args:
        work: what answers them.
        count: how many do so; one stays in this process.
    """

    def __init__(self, work: Answers[R], count: int) -> None:
        self._executor: Executor
        self._call: Callable[..., R]
        if count == 1:
            self._executor, self._call = ThreadPoolExecutor(1, "twogauge"), work.answer
        else:
            self._executor = ProcessPoolExecutor(count, get_context("spawn"), _begin, (work,))
            self._call = _answer

    def submit(self, *task: Any) -> Future[R]:
        """Begin a task; see `result_of`."""
        try:
            return self._executor.submit(self._call, *task)
        except BrokenProcessPool:
            raise _ended() from None

    def shutdown(self) -> None:
        """Wait for what has begun, and drop the rest."""
        self._executor.shutdown(wait=True, cancel_futures=True)


def result_of(task: Future[R]) -> R:
    """Return what came of a task.

    Raises:
        InputError: what the task raised, or its process was ended from outside.
    """
    try:
        return task.result()
    except BrokenProcessPool:
        raise _ended() from None


def _ended() -> InputError:
    return InputError(
        "a worker was ended from outside, perhaps for want of memory; the same command goes on where this one stopped "
        "(with --workers 1 it takes the least memory)"
    )


_work: list[Answers[Any]] = []  # of a process that answers, set once where it begins


def _begin(work: Answers[Any]) -> None:
    """Set a process up."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the run itself says when to stop
    _work[:] = [work]
    Thread(target=_end_with_the_run, daemon=True).start()


def _end_with_the_run() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _answer(*task: Any) -> Any:
    try:
        return _work[0].answer(*task)
    except InputError as error:  # some of them cannot be sent from one process to another
        raise InputError(str(error)) from None
