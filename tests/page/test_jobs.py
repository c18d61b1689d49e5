"""The page's jobs in a real worker: figures before bodies, and a wrong design is told."""

import asyncio
from concurrent.futures import ThreadPoolExecutor
from functools import partial

import pytest

from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.page.jobs import PREVIEW, prepare
from moulddesign.workers import Worker


def run(work):
    """Run in a thread of its own: the browser's tool keeps an event loop in this one."""
    with ThreadPoolExecutor(1) as threads:
        return threads.submit(asyncio.run, work).result()


async def names(worker, design):
    answer = worker.stream(PREVIEW, design.plain(), limit_s=60.0, cancelled=asyncio.Event())
    return [name async for name, _ in answer]


def test_a_piece_is_told_figures_first_and_a_wrong_design_in_a_sentence(tmp_path):
    async def both():
        with pytest.raises(SpecError, match=r"^pastry.width_mm = 300"):
            await names(worker, Design.of({"pastry": {"width_mm": 300.0}}))
        first = worker.process_id
        assert await names(worker, Design()) == ["figures", "bodies"]
        assert worker.process_id == first

    worker = Worker(partial(prepare, str(tmp_path), 1))
    run(both())
    worker.end()
