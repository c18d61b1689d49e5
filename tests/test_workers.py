"""Worker processes: they answer in parts, are cancelled, die, take too long, and it goes on."""

import asyncio
import multiprocessing
import os
import signal
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

import pytest
from worker_jobs import (
    COUNT,
    DIE,
    FAIL,
    FOLDER,
    PARENT,
    REFUSE,
    STUBBORN,
    UNSENDABLE,
    is_loaded,
    refused,
)

from moulddesign.core import KernelError, SpecError
from moulddesign.core.concurrency import pool_size
from moulddesign.workers import Worker, resident_mb, run_in_pool, second_process


@pytest.fixture
def worker():
    made = Worker()
    yield made
    made.end()


@pytest.fixture(autouse=True)
def _no_process_is_left():
    yield
    assert multiprocessing.active_children() == []


def run(work):
    """Run in a thread of its own: the browser's tool keeps an event loop in this one."""
    with ThreadPoolExecutor(1) as threads:
        return threads.submit(asyncio.run, work).result()


async def parts(worker, job, *arguments, limit_s=60.0, cancelled=None):
    event = asyncio.Event() if cancelled is None else cancelled
    answer = worker.stream(job, *arguments, limit_s=limit_s, cancelled=event)
    return [part async for part in answer]


def test_parts_come_in_order_and_before_the_end(worker):
    async def first():
        answer = worker.stream(COUNT, 3, 0.3, limit_s=60.0, cancelled=asyncio.Event())
        times = [(part, time.monotonic()) async for part in answer]
        return [part for part, _ in times], times[-1][1] - times[0][1]

    told, between_s = run(first())
    assert told == [0, 1, 2]
    assert between_s > 0.5  # two pauses of 0.3 s: nothing is kept back


@pytest.mark.parametrize(
    ("job", "arguments", "error", "sentence"),
    [
        (REFUSE, (4,), SpecError, r"^field = 4: it took too long; simplify the artwork\.$"),
        (FAIL, (), KernelError, r"^Making fail failed: ZeroDivisionError: by hand; please report"),
        (UNSENDABLE, (), KernelError, r"PicklingError|AttributeError|TypeError"),
    ],
    ids=["an error of ours", "a mistake of ours", "an answer that cannot be sent"],
)
def test_what_goes_wrong_is_raised_and_the_process_lives_on(
    worker, job, arguments, error, sentence
):
    async def both():
        with pytest.raises(error, match=sentence):
            await parts(worker, job, *arguments)
        first = worker.process_id
        assert await parts(worker, COUNT, 2) == [0, 1]
        return first, worker.process_id

    first, second = run(both())
    assert first == second


def test_a_process_that_holds_too_much_ends_between_two_jobs(worker):
    async def asked():
        working = asyncio.create_task(parts(worker, COUNT, 3, 0.1))
        await asyncio.sleep(0)
        first = worker.process_id
        await worker.retire(1e6)  # it holds less
        assert worker.process_id == first
        await worker.retire(0.0)
        assert (await working, worker.process_id) == ([0, 1, 2], None)
        return await parts(worker, COUNT, 1)

    assert run(asked()) == [0]


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="no such file on this system")
def test_memory_is_what_the_system_tells_in_words():
    told = Path("/proc/self/status").read_text(encoding="utf-8")
    kib = int(told.partition("VmRSS:")[2].split()[0])  # proc(5)
    assert resident_mb(os.getpid()) == pytest.approx(kib * 1024 / 1e6, rel=0.1)
    assert resident_mb(None) == 0.0


def test_a_process_that_dies_is_told_and_replaced(worker):
    async def both():
        with pytest.raises(KernelError, match=r"its process ended \(code -9\)"):
            await parts(worker, DIE, "dies")
        return await parts(worker, COUNT, 2)

    assert run(both()) == [0, 1]


def test_a_process_that_is_killed_between_jobs_is_replaced(worker):
    async def both():
        await parts(worker, COUNT, 1)
        before = worker.process_id
        os.kill(before, signal.SIGKILL)
        await asyncio.sleep(0.3)
        return before, await parts(worker, COUNT, 2)

    before, told = run(both())
    assert told == [0, 1]
    assert worker.process_id != before


def test_a_job_that_takes_too_long_is_ended(worker):
    async def both():
        await parts(worker, COUNT, 1)  # a new process has more time, for its libraries
        with pytest.raises(KernelError, match="it took too long"):
            await parts(worker, COUNT, 100, 0.5, limit_s=0.05)
        return await parts(worker, COUNT, 2)

    assert run(both()) == [0, 1]


def test_a_job_that_is_not_needed_any_more_ends_at_its_checkpoint(worker):
    async def both():
        await parts(worker, COUNT, 1)
        before = worker.process_id
        cancelled = asyncio.Event()
        going = asyncio.ensure_future(parts(worker, COUNT, 1000, 0.1, cancelled=cancelled))
        await asyncio.sleep(0.3)
        cancelled.set()
        told = await going
        assert worker.process_id == before
        return told, await parts(worker, COUNT, 2)

    told, after = run(both())
    assert len(told) < 10
    assert after == [0, 1]


@pytest.mark.parametrize("end", [Worker.cancel, Worker.stop], ids=["another starts", "none does"])
def test_a_job_that_is_cancelled_ends_at_once_with_its_process(worker, end):
    async def both():
        await parts(worker, COUNT, 1)
        cancelled = asyncio.Event()
        going = asyncio.ensure_future(parts(worker, COUNT, 2, 30.0, cancelled=cancelled))
        await asyncio.sleep(0.1)
        before = worker.process_id
        end(worker, cancelled)
        with pytest.raises(KernelError, match="its process ended"):
            await going
        return before

    assert run(both()) != worker.process_id
    assert (worker.process_id is None) == (end is Worker.stop)


def test_what_is_not_needed_any_more_is_not_begun(worker):
    cancelled = asyncio.Event()
    cancelled.set()
    assert run(parts(worker, COUNT, 2, cancelled=cancelled)) == []
    assert worker.process_id is None


def test_an_answer_that_nobody_waited_for_is_not_taken_for_the_next(worker):
    async def both():
        answer = worker.stream(COUNT, 4, 0.2, limit_s=60.0, cancelled=asyncio.Event())
        assert await anext(answer) == 0
        await answer.aclose()
        return await parts(worker, DIE, "whole")

    assert run(both()) == ["whole"]


def test_the_initializer_runs_first_in_each_process(tmp_path):
    worker = Worker(partial(os.chdir, str(tmp_path)))
    assert run(parts(worker, FOLDER)) == [str(tmp_path)]
    worker.end()
    assert run(parts(worker, FOLDER)) == [str(tmp_path)]
    worker.end()


def test_a_pool_answers_each_call_once_whatever_becomes_of_the_others():
    calls = [(DIE, ("a",)), (DIE, ("dies",)), (REFUSE, (3,)), (DIE, ("b",)), (DIE, ("c",))]
    made = dict(run_in_pool(calls, 2))
    assert {number: made[number] for number in (0, 3, 4)} == {0: "a", 3: "b", 4: "c"}
    assert "its process ended (code -9)" in str(made[1])
    assert str(made[2]).startswith("field = 3: ")


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="processes are copied there")
def test_the_processes_of_a_pool_are_copies_of_one_that_is_not_ours():
    parents = {made for _, made in run_in_pool([(PARENT, ()), (PARENT, ())], 2)}
    assert len(parents) == 1
    assert os.getpid() not in parents


def test_a_pool_does_things_at_the_same_time():
    start = time.monotonic()
    seconds = [time.monotonic() - start for _ in run_in_pool([(COUNT, (1, 2.0))] * 2, 2)]
    assert seconds[1] - seconds[0] < 1.5  # one after the other they would be 2 s apart


def test_a_pool_that_is_left_early_ends_what_ignores_a_request(tmp_path):
    ready = tmp_path / "ready"
    answers = run_in_pool([(COUNT, (1,)), (STUBBORN, (ready,))], 2)
    next(answers)
    while not ready.exists():
        time.sleep(0.05)
    answers.close()


def test_no_process_is_started_for_nothing():
    assert list(run_in_pool([], 4)) == []
    assert pool_size(None, 1) == 1
    assert pool_size(3, 2) == 2


@pytest.fixture
def cores(monkeypatch):
    """Return what sets how many cores there are for us."""
    return lambda count: monkeypatch.setattr(
        os, "sched_getaffinity", lambda _: set(range(count)), raising=False
    )


def test_a_second_process_makes_things_in_turn_and_raises_what_went_wrong(cores):
    cores(2)
    with second_process() as submit:
        there, ours, power, number = submit(
            [os.getpid, partial(refused, 4), partial(pow, 2, 10), partial(int, "x")]
        )
        (again,) = submit([os.getpid])
        dies, after = submit([partial(os._exit, 3), os.getpid])
        assert power() == 1024
        assert there() == again() not in {os.getpid(), None}
        with pytest.raises(KernelError, match="ValueError: invalid literal"):
            number()
        with pytest.raises(SpecError, match=r"^field = 4: it took too long"):
            ours()
        for made in (dies, after):
            with pytest.raises(KernelError, match=r"its process ended \(code 3\)"):
                made()


def test_a_second_process_loads_what_can_wait_after_the_first_tasks(cores):
    cores(2)
    asks = [partial(is_loaded, name) for name in ("colorsys", "wave")]
    with second_process("colorsys", later=["wave"]) as submit:
        assert [[there() for there in submit(asks)] for _ in range(2)] == [
            [True, False],
            [True, True],
        ]


def test_a_second_process_ends_with_its_work_undone(cores):
    cores(2)
    start = time.monotonic()
    with second_process() as submit:
        for _ in range(3):
            submit([partial(time.sleep, 100.0)])
    assert time.monotonic() - start < 50.0


def test_on_one_core_there_is_no_second_process(cores):
    cores(1)
    with second_process() as submit:
        assert [made() for made in submit([os.getpid])] == [os.getpid()]
