"""The page as a program: a port, workers, routes, and a clean end."""

import asyncio
import contextlib
import gc
import os
import signal
import socket
import webbrowser
from collections.abc import AsyncIterator, Callable
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated, Any, Final

import uvicorn
from fastapi import FastAPI, Query, Request, Response
from nicegui import Client, ui

from moulddesign.artwork.bundled_patterns import pattern_names, patterns_folder
from moulddesign.core import Message, MouldError, SpecError, WriteError, say
from moulddesign.design import Design, Workshop, read_workshop
from moulddesign.page import LIBRARIES
from moulddesign.page.address import decode_design
from moulddesign.page.choice_pictures import CHOICE_PICTURE, FOLDER, choice_names
from moulddesign.page.design_files import read_set, with_uploads, without_missing_files
from moulddesign.page.design_form import fresh_design, known_names
from moulddesign.page.guard import Guard, HeaderLimitProtocol
from moulddesign.page.jobs import CHECKS, PREVIEW, prepare
from moulddesign.page.layout import Page
from moulddesign.page.session import (
    BUILD_LIMIT_S,
    PIECE_LIMIT_S,
    DownloadStore,
    Session,
    Workers,
)
from moulddesign.page.texts import language_for, page_texts
from moulddesign.page.uploads import UPLOAD_KINDS, UploadStore, receive_upload
from moulddesign.workers import Job, Worker, sharing

Language = Annotated[str, Query(alias="in")]
"""The language that the browser's page is shown in."""

HOST: Final = "127.0.0.1"
PORT: Final = 8467
"""Where the page is looked for first."""

CHECKS_NICENESS: Final = 4
"""Checks run while a design is changed. The picture of the change must not wait for them, but on a
busy machine they must come to an end too."""

CHECKS_WARM_UP_DELAY_S: Final = 4.0
"""The checks' libraries take seconds to load: they wait so long, so that they do not slow the first
picture of somebody who opens the page at once [s]."""

MOST_WAITING: Final = 20
"""Tabs that were fetched and have not connected yet, of 1.5 MB each; of more than these the last
ten are kept, and a browser whose tab was dropped fetches the page again."""

PORTS_TRIED: Final = 50
"""Ports after it that are tried, one after another."""

IMAGE_MEDIA_TYPES: Final = {"svg": "image/svg+xml", "png": "image/png", "jpg": "image/jpeg"}
FILE_MEDIA_TYPES: Final = {
    "pdf": "application/pdf",
    "toml": "text/plain",
    "json": "application/json",
}


def free_socket(port: int) -> socket.socket:
    """Return a socket that listens on this machine alone: on a port, or the next free one.

    Raises
    ------
    WriteError
        None of them is free.
    """
    for number in range(port, port + PORTS_TRIED) if port else (0,):
        made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind((HOST, number))
            made.listen(128)
        except (OSError, OverflowError):
            made.close()
            continue
        return made
    raise WriteError(f"{HOST}:{port}", say("page.ports-taken"))


def serve(
    design: Design,
    port: int,
    *,
    announce: Callable[[str], None],
    open_browser: bool,
    language: str = "",
    workshop: Callable[[], Workshop] = read_workshop,
) -> None:
    """Serve the page until Ctrl-C, in a language, or in the browser's where it is empty.

    `workshop` returns what flows into every new design.
    """
    with (
        contextlib.closing(free_socket(port)) as listener,
        TemporaryDirectory(prefix="moulddesign-page-") as folder,
    ):
        number = listener.getsockname()[1]
        address = f"http://{HOST}:{number}/{f'?in={language}' if language else ''}"

        def ready() -> None:
            announce(address)
            if open_browser:
                webbrowser.open(address)

        app = application(design, Path(folder), ready, workshop=workshop)
        config = uvicorn.Config(
            Guard(app, number), log_level="warning", ws_max_size=2**22,
            timeout_graceful_shutdown=2, server_header=False, http=HeaderLimitProtocol,
        )  # fmt: skip
        # A plain kill ends it as Ctrl-C does: the folder of uploads is taken away.
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        uvicorn.Server(config).run(sockets=[listener])


def application(
    design: Design,
    folder: Path,
    ready: Callable[[], None],
    *,
    workshop: Callable[[], Workshop] = read_workshop,
) -> FastAPI:
    """Return the page's application."""
    for name in ("uploads", "temporary"):
        (folder / name).mkdir()
    uploads, store = UploadStore(folder / "uploads"), DownloadStore()
    default = with_uploads(design, uploads)
    os.chdir(uploads.folder)  # relative names in a design are uploads, here as in the workers
    prepared = partial(prepare, str(uploads.folder), str(folder / "temporary"))
    quick, nice = (partial(prepared, niceness=each) for each in (0, CHECKS_NICENESS))
    context = sharing(LIBRARIES)
    workers = Workers(
        preview=Worker(quick, context),
        build=Worker(nice, context),
        exact=Worker(nice, context),
        tasks=Worker(quick, context),
    )

    @contextlib.asynccontextmanager
    async def life(_: FastAPI) -> AsyncIterator[None]:
        workers.preview.start()
        warm = asyncio.create_task(_warm_up_all(workers, default, ready))
        yield
        warm.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await warm
        workers.end()

    app = FastAPI(lifespan=life, openapi_url=None)
    _routes(app, uploads, store)
    _choice_route(app, uploads, workers.tasks)
    _upload_routes(app, uploads)

    _serve_front(
        lambda design: Session(
            design, workers=workers, uploads=uploads, store=store, workshop=workshop
        ),
        uploads,
        default,
    )
    style, *scripts = (
        Path(__file__).with_name(name).read_text("utf-8")
        for name in ("style.css", "keys.js", "upload.js")
    )
    ui.add_head_html(f"<style>{style}</style><script>{''.join(scripts)}</script>", shared=True)
    ui.run_with(
        app, title="moulddesign", dark=None, tailwind=False, reconnect_timeout=20.0,
        show_welcome_message=False, favicon=Path(__file__).with_name("icon.svg"),
    )  # fmt: skip
    return app


def _design_of(address: str, uploads: UploadStore) -> tuple[Design, Message | None]:
    """Return the design in an address, and a note about drawings that are no longer here."""
    tree, note = without_missing_files(
        decode_design(address), Design, known=known_names(), uploads=uploads
    )
    return Design.of(tree), note


def _serve_front(
    new_session: Callable[[Design], Session], uploads: UploadStore, default: Design
) -> None:
    """Serve the page itself: the design in the address, or the default one."""
    waiting: dict[str, Client] = {}

    def drop_oldest() -> None:
        if len(waiting) > MOST_WAITING:
            for oldest in list(waiting.values())[: -MOST_WAITING // 2]:
                oldest.delete()
            gc.collect()  # their elements hold each other

    @ui.page("/")
    def show(
        request: Request,
        client: Client,
        *,
        encoded: Annotated[str, Query(alias="design")] = "",
        language: Language = "",
    ) -> None:
        words = page_texts(language_for(language, request.headers.get("accept-language", "")))
        problem = note = None
        session = new_session(default)
        try:
            fresh = fresh_design(default, session.workshop(), words.language)
            session.design, note = _design_of(encoded, uploads) if encoded else (fresh, None)
        except MouldError as error:
            problem = error
        client.on_disconnect(session.pause)
        client.on_connect(session.resume)
        client.on_delete(session.close)
        waiting[client.id] = client
        client.on_connect(lambda: waiting.pop(client.id, None))
        client.on_delete(lambda: waiting.pop(client.id, None))
        drop_oldest()
        ui.page_title(words["title"])
        ui.query("html").props(f"lang={words.language}")
        page = Page(session, words)
        page.lay_out()
        if problem is not None:
            page.show_notice(problem)
        if note is not None:
            page.show_note(note)


async def _warm_up_all(workers: Workers, default: Design, ready: Callable[[], None]) -> None:
    """Warm the workers up one after another; the page is ready once a first picture is quick."""
    await _warm_up(workers.preview, PREVIEW, default)
    ready()
    await asyncio.sleep(CHECKS_WARM_UP_DELAY_S)
    await _warm_up(workers.build, CHECKS, default)


async def _warm_up(worker: Worker, job: Job, design: Design) -> None:
    """Let a worker load its libraries before anybody waits for it."""
    with contextlib.suppress(MouldError):  # the page will say what is wrong with the design
        async for _ in worker.stream(
            job, design.plain(), limit_s=BUILD_LIMIT_S, cancelled=asyncio.Event()
        ):
            pass


def _routes(app: FastAPI, uploads: UploadStore, store: DownloadStore) -> None:
    @app.get("/files/{token}/{name}")
    def file(token: str, name: str) -> Response:
        content = store.file(token, name)
        if content is None:
            return Response("There is no such file; make the files again.", 404)
        ending = name.rpartition(".")[2]
        kind = (IMAGE_MEDIA_TYPES | FILE_MEDIA_TYPES).get(ending, "application/octet-stream")
        headers = {"cache-control": "no-store", "content-security-policy": "sandbox"}
        return Response(content, media_type=kind, headers=headers)

    @app.get("/pattern/{name}")
    def pattern(name: str) -> Response:
        bundled = name in pattern_names()
        path = patterns_folder() / f"{name}.svg" if bundled else uploads.path(name)
        kind = IMAGE_MEDIA_TYPES.get("" if path is None else path.suffix[1:])
        if path is None or kind is None:
            return Response("There is no such drawing.", 404)
        headers = {
            "content-security-policy": "sandbox; default-src 'none'; style-src 'unsafe-inline'"
        }
        return Response(path.read_bytes(), media_type=kind, headers=headers)


def _choice_route(app: FastAPI, uploads: UploadStore, worker: Worker) -> None:
    """Serve pictures of what the first screen offers: those shipped, and uploads drawn once."""
    drawn: dict[str, bytes] = {}
    names = frozenset(choice_names())

    async def drawing_of(name: str) -> bytes | None:
        if name not in drawn and (name in names or uploads.path(name) is not None):
            with contextlib.suppress(MouldError):  # its field says what is wrong with it
                async for content in worker.stream(
                    CHOICE_PICTURE, name, limit_s=PIECE_LIMIT_S, cancelled=asyncio.Event()
                ):
                    drawn[name] = content
        return drawn.get(name)

    @app.get("/choice/{name}")
    async def choice(name: str) -> Response:
        path = FOLDER / f"{name}.webp"
        shipped = name in names and path.is_file()
        content = path.read_bytes() if shipped else await drawing_of(name)
        if content is None and uploads.path(name) is not None:
            return Response(status_code=204)  # a browser tells of an error where nobody looks
        if content is None:
            return Response("There is no such picture.", 404)
        # An upload's name is a digest of its content; what is shipped changes with the version.
        headers = {"cache-control": "max-age=3600"}
        return Response(content, media_type="image/webp", headers=headers)


def _refusal(error: SpecError, language: str) -> str:
    return say("page.upload-refused", need=error.need).text(language_for(language, ""))


def _upload_routes(app: FastAPI, uploads: UploadStore) -> None:
    @app.post("/upload/set")
    async def upload_set(request: Request, language: Language = "") -> dict[str, Any]:
        try:
            raw = await receive_upload("set", request.stream())
            text, names, kept = await asyncio.to_thread(read_set, raw, uploads)
        except SpecError as error:
            return {"error": _refusal(error, language)}
        return {"text": text, "names": names, "kept": kept}

    @app.post("/upload/{kind}")
    async def upload(kind: str, request: Request, language: Language = "") -> dict[str, str]:
        if kind not in UPLOAD_KINDS:
            return {"error": say("page.upload-kind-unknown").text(language_for(language, ""))}
        try:
            return {"name": await uploads.receive(kind, request.stream())}
        except SpecError as error:
            return {"error": _refusal(error, language)}
