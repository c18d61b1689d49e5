"""What a program leaves behind that fetches the page and opens no connection."""

import asyncio
import os
import time
from pathlib import Path
from typing import ClassVar
from urllib.request import urlopen

import pytest
from nicegui import Client
from page.person import ended, memory_mb, processes, started
from page.test_jobs import run

from moulddesign.design import Design
from moulddesign.page import serve

LOADS = 25


class Idle:
    """Takes the place of a worker, and notes what it is asked for."""

    asked: ClassVar[list] = []

    def __init__(self, *_):
        pass

    def start(self):
        pass

    def end(self):
        pass

    def stop(self, _):
        pass

    async def retire(self, at_mb):
        pass

    async def stream(self, job, *_, **__):
        self.asked.append(job)
        yield "nothing", None


async def loaded(app):
    """Ask for the page as a program does; return the answer's status and text."""
    scope = {
        "type": "http", "http_version": "1.1", "method": "GET", "scheme": "http", "path": "/",
        "raw_path": b"/", "root_path": "", "query_string": b"", "headers": [(b"host", b"x")],
        "server": ("127.0.0.1", 80), "client": ("127.0.0.1", 1),
    }  # fmt: skip
    sent = []

    async def receive():
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message):
        sent.append(message)

    await app(scope, receive, send)
    return sent[0]["status"], b"".join(one.get("body", b"") for one in sent)


def test_bare_loads_leave_no_client_task_job_or_file(monkeypatch, tmp_path):
    kept = serve.DownloadStore()
    monkeypatch.chdir(tmp_path)  # the page moves into its uploads
    monkeypatch.setattr(serve, "Worker", Idle)
    monkeypatch.setattr(serve, "CHECKS_WARM_UP_DELAY_S", 0.0)
    monkeypatch.setattr(serve, "DownloadStore", lambda: kept)

    async def left():
        """Return tasks, files and jobs once all clients are dropped."""
        # The framework does so every ten seconds, with those that have not connected for a minute.
        Client.prune_instances(client_age_threshold=0.0)
        await asyncio.sleep(1.5)  # a client's loop looks once a second whether it is to end
        return len(asyncio.all_tasks()), sorted(tmp_path.rglob("*")), list(Idle.asked)

    async def visited():
        app = serve.application(Design(), tmp_path, lambda: None)
        async with app.router.lifespan_context(app):
            await loaded(app)  # what the first load imports and keeps is no leak
            before = await left()
            for _ in range(LOADS):
                status, text = await loaded(app)
                assert status == 200
                assert b"Your piece" in text
            assert len(Client.instances) <= serve.MOST_WAITING < LOADS
            assert kept.is_open
            assert await left() == before
            assert not Client.instances
            assert not kept.is_open

    run(visited())


def worked_s(root):
    """Return the time that the processes below one have worked [s]."""
    # utime and stime are the 14th and 15th of proc(5), the name in brackets before them the second
    stats = [Path(f"/proc/{one}/stat").read_text() for one in processes(root)[1:]]
    fields = [stat.rpartition(")")[2].split() for stat in stats]
    return sum(int(one[11]) + int(one[12]) for one in fields) / os.sysconf("SC_CLK_TCK")


@pytest.mark.slow
def test_three_hundred_bare_loads_cost_no_work_and_no_memory_for_long(tmp_path):
    own = {"TMPDIR": str(tmp_path), "MOULDDESIGN_WORKSHOP": str(tmp_path / "workshop.toml")}
    page = started("--port", "0", **own)
    root = page.process.pid
    try:
        before_s = -1.0
        while before_s != worked_s(root) or len(processes(root)) < 4:  # its workers are not warm
            before_s = worked_s(root)
            time.sleep(10.0)
        before_mb = memory_mb(root)
        files = sorted(tmp_path.rglob("*"))
        for _ in range(300):
            urlopen(page.address).read()  # noqa: S310 (our own page)
        time.sleep(80.0)  # a minute until they count as gone, and ten seconds between two looks
        after_mb = memory_mb(root)
        print(f"{before_mb:.0f} MB before, {after_mb:.0f} after")  # noqa: T201 (a measurement)
        assert after_mb < before_mb + 100.0
        assert worked_s(root) < before_s + 1.0
        assert sorted(tmp_path.rglob("*")) == files
    finally:
        ended(page)
