import asyncio

import pytest

from api.http.problems.errors import PlansBusy
from api.planning.fair_queue import FairQueue
from tests.coroutines import run_coroutine


async def _settle():
    for _ in range(5):
        await asyncio.sleep(0)


def _queue(turns=2, per_turn=8, in_all=64):
    return FairQueue(turns, waiting_per_turn=per_turn, waiting_in_all=in_all)


def test_owners_take_turns_however_many_requests_each_has():
    async def run():
        queue, order = _queue(turns=1), []

        async def ask(owner, number):
            await queue.enter(owner, 1, 60.0)
            order.append((owner, number))

        await queue.enter("greedy", 1, 60.0)
        tasks = [asyncio.create_task(ask("greedy", number)) for number in range(3)]
        await _settle()
        tasks += [asyncio.create_task(ask(owner, 0)) for owner in ("second", "third")]
        await _settle()
        owner = "greedy"
        for count in range(1, 6):
            queue.leave(owner)
            await _settle()
            assert len(order) == count
            owner = order[-1][0]
        queue.leave(owner)
        await asyncio.gather(*tasks)
        assert (queue.held, queue.waiting) == (0, 0)
        return order

    assert run_coroutine(run()) == [("greedy", 0), ("second", 0), ("third", 0), ("greedy", 1), ("greedy", 2)]


def test_an_owner_holds_no_more_turns_than_its_share():
    async def run():
        queue = _queue(turns=2)
        await queue.enter("greedy", 1, 60.0)
        second = asyncio.create_task(queue.enter("greedy", 1, 60.0))
        await _settle()
        assert (queue.held, queue.waiting) == (1, 1)
        await queue.enter("other", 1, 60.0)
        assert queue.held == 2
        queue.leave("other")
        await _settle()
        assert not second.done()
        queue.leave("greedy")
        await second
        assert (queue.held, queue.waiting) == (1, 0)

    run_coroutine(run())


def test_who_leaves_or_is_late_waits_no_more():
    async def run():
        queue = _queue(turns=1)
        await queue.enter("first", 1, 60.0)
        left = asyncio.create_task(queue.enter("second", 1, 60.0))
        await _settle()
        left.cancel()
        with pytest.raises(asyncio.CancelledError):
            await left
        with pytest.raises(PlansBusy, match="in time"):
            await queue.enter("third", 1, 0.01)
        assert queue.waiting == 0
        queue.leave("first")
        await queue.enter("fourth", 1, 0.01)
        assert queue.held == 1

    run_coroutine(run())


def test_a_turn_that_comes_as_its_owner_leaves_goes_to_the_next():
    async def run():
        queue = _queue(turns=1)
        await queue.enter("first", 1, 60.0)
        waiting = [asyncio.create_task(queue.enter(owner, 1, 60.0)) for owner in ("second", "third")]
        await _settle()
        queue.leave("first")  # gives the turn to the second, which has not seen it yet
        waiting[0].cancel()
        await asyncio.gather(*waiting, return_exceptions=True)
        assert waiting[1].exception() is None
        assert (queue.held, queue.waiting) == (1, 0)

    run_coroutine(run())


def test_one_owner_cannot_fill_the_queue():
    async def run():
        queue = _queue(turns=2, per_turn=3, in_all=4)
        await queue.enter("greedy", 1, 60.0)
        tasks = [asyncio.create_task(queue.enter("greedy", 1, 60.0)) for _ in range(3)]
        await _settle()
        with pytest.raises(PlansBusy) as refused:
            await queue.enter("greedy", 1, 60.0)
        assert refused.value.limit == "at most 3 waiting per key, 4 in total"
        await queue.enter("other", 1, 60.0)
        tasks.append(asyncio.create_task(queue.enter("other", 1, 60.0)))
        await _settle()
        with pytest.raises(PlansBusy):
            await queue.enter("third", 1, 60.0)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        assert queue.waiting == 0

    run_coroutine(run())
