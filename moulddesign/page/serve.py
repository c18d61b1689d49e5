"""The page as a program: a port, workers, routes, who may ask for anything, and a clean end."""

import asyncio
import contextlib
import os
import signal
import socket
import webbrowser
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable, MutableMapping
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated, Any, Final

import uvicorn
from fastapi import FastAPI, Query, Request, Response
from nicegui import Client, ui

from moulddesign.artwork.patterns import pattern_names, patterns_folder
from moulddesign.core import MouldError, SpecError, WriteError
from moulddesign.design import Design
from moulddesign.page.design_form import known_words
from moulddesign.page.jobs import CHECKS, PREVIEW, prepare
from moulddesign.page.layout import Page
from moulddesign.page.session import BUILD_LIMIT_S, Desk, Session, Workers
from moulddesign.page.texts import language_for, texts
from moulddesign.page.uploads import (
    WANTED,
    Shelf,
    adopted,
    received,
    refuse_strange,
    unpacked,
    unpacked_set,
)
from moulddesign.workers import Job, Worker

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

NAMES: Final = ("127.0.0.1", "localhost")
"""Names of this machine that a browser may use."""

MOST_BODY: Final = 64 * 1024 * 1024
"""Largest body of any request; each upload has its own, smaller limit [bytes]."""

POLICY: Final = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; "
    "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
    "connect-src 'self'; frame-ancestors 'none'; form-action 'self'; base-uri 'self'; "
    "object-src 'none'"
)
"""What the page may load: nothing from elsewhere (the framework compiles its templates itself)."""

HEADERS: Final = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
)

STEP_IN: Final = (
    b"<!doctype html><html lang=en><meta charset=utf-8><title>moulddesign</title>"
    b"<p>Another site has sent you here. <a href=''>Open the page</a> if that is what you want.</p>"
)
"""Shown instead of the page to who follows a link from another site: nothing is built yet."""


class Guard:
    """Lets through what the page itself asks for, and refuses the rest.

    Parameters
    ----------
    app : callable
        The ASGI application behind it.
    port : int
        The port that it is served on.
    """

    # Plain ASGI: a middleware of the framework would not see websockets.

    def __init__(self, app: App, port: int) -> None:
        self.app = app
        self.hosts = {f"{name}:{port}".encode() for name in NAMES}
        self.origins = {b"http://" + host for host in self.hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request, or refuse it."""
        if scope["type"] not in {"http", "websocket"}:
            await self.app(scope, receive, send)
            return
        headers = _headers(scope["headers"])
        if _how_often(scope, b"host") != 1 or headers[b"host"] not in self.hosts:
            await _refused(scope, send, 421, body=b"This name is not served here.")
        elif _how_often(scope, b"origin") > 1 or self._is_foreign(headers):
            if _is_visit(scope, headers):
                await _refused(scope, send, 403, body=STEP_IN)
            else:
                await _refused(scope, send, 403, body=b"Other sites may not ask for this.")
        elif _too_large(headers):
            await _refused(scope, send, 413, body=b"That is too large.")
        else:
            await self.app(scope, receive, _with_headers(send))

    def _is_foreign(self, headers: dict[bytes, bytes]) -> bool:
        origin = headers.get(b"origin")
        if origin is not None and origin not in self.origins:
            return True
        return headers.get(b"sec-fetch-site", b"none") not in {b"none", b"same-origin"}


def _headers(pairs: Iterable[tuple[bytes, bytes]]) -> dict[bytes, bytes]:
    return {name.lower(): value for name, value in pairs}


def _how_often(scope: Scope, name: bytes) -> int:
    """Return how often a header was sent: of two, one could hide the other."""
    return sum(one.lower() == name for one, _ in scope["headers"])


def _is_visit(scope: Scope, headers: dict[bytes, bytes]) -> bool:
    return (
        scope["type"] == "http"
        and scope["method"] == "GET"
        and scope["path"] == "/"
        and headers.get(b"sec-fetch-mode") == b"navigate"
        and headers.get(b"sec-fetch-dest") == b"document"
    )


def _too_large(headers: dict[bytes, bytes]) -> bool:
    length = headers.get(b"content-length", b"0")
    return not length.isdigit() or int(length) > MOST_BODY


async def _refused(scope: Scope, send: Send, status: int, *, body: bytes) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})
        return
    kind = b"text/html" if body.startswith(b"<") else b"text/plain"
    headers = [
        (b"content-type", kind + b"; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
        *HEADERS,
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


def _with_headers(send: Send) -> Send:
    async def sent(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            own = {name for name, _ in message.get("headers", ())}
            more = [pair for pair in HEADERS if pair[0] not in own]
            message = dict(message) | {"headers": [*message.get("headers", ()), *more]}
        await send(message)

    return sent


HOST: Final = "127.0.0.1"
PORT: Final = 8467
"""Where the page is looked for first."""

CHECKS_NICENESS: Final = 4
"""Checks go on while a design is changed, and the picture of the change shall not wait for
them, though on a busy machine they shall come to an end all the same."""

HEAD_START_S: Final = 4.0
"""The first picture of who opens the page at once does not share the machine with the checks'
libraries, which take seconds to load [s]."""

TRIED: Final = 50
"""Ports after it that are tried, one after another."""

KINDS: Final = {"svg": "image/svg+xml", "png": "image/png", "jpg": "image/jpeg"}
OTHER_KINDS: Final = {"pdf": "application/pdf", "toml": "text/plain", "json": "application/json"}


def free_socket(port: int) -> socket.socket:
    """Return a socket that listens on this machine alone: on a port, or the next free one.

    Parameters
    ----------
    port : int
        Where to begin; 0 for any.

    Raises
    ------
    WriteError
        None of them is free.
    """
    for number in range(port, port + TRIED) if port else (0,):
        made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind((HOST, number))
            made.listen(128)
        except (OSError, OverflowError):
            made.close()
            continue
        return made
    raise WriteError(f"{HOST}:{port}", "is taken, and so are the ports after it; name another")


def serve(design: Design, port: int, *, tell: Callable[[str], None], look: bool) -> None:
    """Serve the page until Ctrl-C.

    Parameters
    ----------
    design : Design
        What is shown where the address holds no design.
    port : int
        Where to begin looking for a free port.
    tell : callable
        Told the address.
    look : bool
        Whether the browser is opened.
    """
    with (
        contextlib.closing(free_socket(port)) as ear,
        TemporaryDirectory(prefix="moulddesign-page-") as folder,
    ):
        number = ear.getsockname()[1]
        address = f"http://{HOST}:{number}/"
        app = application(design, Path(folder), lambda: _greet(address, tell, look=look))
        config = uvicorn.Config(
            Guard(app, number), log_level="warning", ws_max_size=2**22,
            timeout_graceful_shutdown=2, server_header=False,
        )  # fmt: skip
        # A plain kill ends it as Ctrl-C does: the folder of uploads is taken away.
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        uvicorn.Server(config).run(sockets=[ear])


def _greet(address: str, tell: Callable[[str], None], *, look: bool) -> None:
    tell(address)
    if look:
        webbrowser.open(address)


def application(design: Design, folder: Path, ready: Callable[[], None]) -> FastAPI:
    """Return the page's application.

    Parameters
    ----------
    design : Design
        What is shown where the address holds no design.
    folder : Path
        For uploads.
    ready : callable
        Called once it serves and its first worker is warm.
    """
    shelf, desk = Shelf(folder), Desk()
    usual = adopted(design, shelf)
    os.chdir(folder)  # relative names in a design are uploads, here as in the workers
    workers = Workers(
        preview=Worker(partial(prepare, str(folder), 0)),
        build=Worker(partial(prepare, str(folder), CHECKS_NICENESS)),
        tasks=Worker(partial(prepare, str(folder), 0)),
    )

    @contextlib.asynccontextmanager
    async def life(_: FastAPI) -> AsyncIterator[None]:
        workers.preview.start()
        warm = asyncio.create_task(_woken(workers, usual, ready))
        yield
        warm.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await warm
        workers.end()

    app = FastAPI(lifespan=life, openapi_url=None)
    _routes(app, shelf, desk)
    _take_uploads(app, shelf)

    _front(
        lambda first: Session(first, workers=workers, shelf=shelf, desk=desk),
        shelf,
        usual,
    )
    look, *scripts = (
        Path(__file__).with_name(name).read_text("utf-8")
        for name in ("look.css", "keys.js", "upload.js")
    )
    ui.add_head_html(f"<style>{look}</style><script>{''.join(scripts)}</script>", shared=True)
    ui.run_with(
        app, title="moulddesign", dark=None, tailwind=False, reconnect_timeout=20.0,
        show_welcome_message=False, favicon=Path(__file__).with_name("sign.svg"),
    )  # fmt: skip
    return app


def _addressed(packed: str, shelf: Shelf) -> Design:
    tree = unpacked(packed)
    refuse_strange(tree, Design, known=known_words(), shelf=shelf)
    return Design.of(tree)


def _front(begun: Callable[[Design], Session], shelf: Shelf, usual: Design) -> None:
    """Serve the page itself: the design in the address, or the usual one."""

    @ui.page("/")
    def show(
        request: Request,
        client: Client,
        *,
        packed: Annotated[str, Query(alias="design")] = "",
        asked: Annotated[str, Query(alias="in")] = "",
    ) -> None:
        words = texts(language_for(asked, request.headers.get("accept-language", "")))
        trouble = None
        try:
            first = _addressed(packed, shelf) if packed else usual
        except SpecError as error:
            first, trouble = usual, error
        session = begun(first)
        client.on_disconnect(session.rest)
        client.on_connect(session.go_on)
        client.on_delete(session.close)
        ui.page_title(words["title"])
        ui.query("html").props(f"lang={words.language}")
        page = Page(session, words)
        page.lay_out()
        if trouble is not None:
            page.say(trouble)


async def _woken(workers: Workers, usual: Design, ready: Callable[[], None]) -> None:
    """Wake the workers one after another, and greet as soon as a first picture would be quick."""
    await _warmed(workers.preview, PREVIEW, usual)
    ready()
    await asyncio.sleep(HEAD_START_S)
    await _warmed(workers.build, CHECKS, usual)


async def _warmed(worker: Worker, job: Job, design: Design) -> None:
    """Let a worker load its libraries before anybody waits for it."""
    with contextlib.suppress(MouldError):  # the page will say what is wrong with the design
        async for _ in worker.stream(
            job, design.plain(), limit_s=BUILD_LIMIT_S, cancelled=asyncio.Event()
        ):
            pass


def _routes(app: FastAPI, shelf: Shelf, desk: Desk) -> None:
    @app.get("/files/{token}/{name}")
    def file(token: str, name: str) -> Response:
        content = desk.file(token, name)
        if content is None:
            return Response("There is no such file; make the files again.", 404)
        ending = name.rpartition(".")[2]
        kind = (KINDS | OTHER_KINDS).get(ending, "application/octet-stream")
        headers = {"cache-control": "no-store", "content-security-policy": "sandbox"}
        return Response(content, media_type=kind, headers=headers)

    @app.get("/pattern/{name}")
    def pattern(name: str) -> Response:
        bundled = name in pattern_names()
        path = patterns_folder() / f"{name}.svg" if bundled else shelf.path(name)
        kind = KINDS.get("" if path is None else path.suffix[1:])
        if path is None or kind is None:
            return Response("There is no such drawing.", 404)
        headers = {
            "content-security-policy": "sandbox; default-src 'none'; style-src 'unsafe-inline'"
        }
        return Response(path.read_bytes(), media_type=kind, headers=headers)


def _take_uploads(app: FastAPI, shelf: Shelf) -> None:
    @app.post("/upload/set")
    async def upload_set(request: Request) -> dict[str, Any]:
        try:
            raw = await received("set", request.stream())
            text, names = await asyncio.to_thread(unpacked_set, raw, shelf)
        except SpecError as error:
            return {"error": f"The file {error.need}."}
        return {"text": text, "names": names}

    @app.post("/upload/{kind}")
    async def upload(kind: str, request: Request) -> dict[str, str]:
        if kind not in WANTED:
            return {"error": "There is nothing of that kind to upload."}
        try:
            return {"name": await shelf.take(kind, request.stream())}
        except SpecError as error:
            return {"error": f"The file {error.need}."}
