"""The processes that build: they are cancelled, they die, they take too long, and it goes on."""

import asyncio
import os
import signal
from concurrent.futures import ThreadPoolExecutor

import pytest

from moulddesign.core import KernelError, SpecError
from moulddesign.design import Design
from moulddesign.page.session import wanted_event
from moulddesign.page.workers import Worker

PLAIN = Design().plain()


@pytest.fixture
def worker(tmp_path):
    made = Worker(tmp_path)
    yield made
    made.end()


def run(work):
    """Run in a thread of its own: the browser's tool keeps an event loop in this one."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, work).result()


async def told(worker, job="the piece", *arguments, limit_s=60.0, wanted=None):
    event = wanted_event() if wanted is None else wanted
    return [name async for name, _ in worker.parts(job, *arguments, limit_s=limit_s, wanted=event)]


def test_a_piece_is_told_figures_first(worker):
    assert run(told(worker, "the piece", PLAIN)) == ["figures", "bodies"]


def test_a_wrong_design_is_told_and_the_process_lives_on(worker):
    async def both():
        wrong = Design.of({"pastry": {"width_mm": 300.0}}).plain()
        with pytest.raises(SpecError, match=r"^pastry.width_mm = 300"):
            await told(worker, "the piece", wrong)
        first = worker.process_id
        await told(worker, "the piece", PLAIN)
        return first, worker.process_id

    first, second = run(both())
    assert first == second


def test_a_process_that_dies_is_told_and_replaced(worker):
    async def both():
        await told(worker, "the piece", PLAIN)
        dying = worker.process_id
        going = asyncio.ensure_future(told(worker, "the checks", PLAIN))
        await asyncio.sleep(0.2)
        os.kill(dying, signal.SIGKILL)
        with pytest.raises(KernelError, match="its process ended"):
            await going
        return dying, await told(worker, "the piece", PLAIN)

    dying, parts = run(both())
    assert worker.process_id != dying
    assert parts == ["figures", "bodies"]


def test_a_job_that_takes_too_long_is_ended(worker):
    async def both():
        await told(worker, "the piece", PLAIN)
        with pytest.raises(KernelError, match="it took too long"):
            await told(worker, "the checks", PLAIN, limit_s=0.05)

    run(both())


def test_a_job_that_is_cancelled_tells_nothing_more(worker):
    async def both():
        await told(worker, "the piece", PLAIN)
        wanted = wanted_event()
        going = asyncio.ensure_future(told(worker, "the checks", PLAIN, wanted=wanted))
        await asyncio.sleep(0.1)
        before = worker.process_id
        worker.cancel(wanted)
        with pytest.raises(KernelError, match="its process ended"):
            await going
        return before

    assert run(both()) != worker.process_id


def test_what_is_not_wanted_any_more_is_not_begun(worker):
    unwanted = asyncio.Event()
    assert run(told(worker, "the piece", PLAIN, wanted=unwanted)) == []
    assert worker.process_id is None
