"""Coroutines run to their end from a test that is not asynchronous."""

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

__all__ = ["run_coroutine"]

T = TypeVar("T")


def run_coroutine(coroutine: Coroutine[object, object, T]) -> T:
    """Run it in an event loop of a thread of its own, and return its result.

    In the main thread a loop may run already: the browser of tests/api/kiosk keeps one until the test process ends.
    """
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, coroutine).result()  # noqa: TID251 - the thread is new
