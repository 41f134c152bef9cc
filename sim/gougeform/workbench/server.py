"""The server of the workbench: hands out the page, answers it, keeps nothing of what is on anybody's bench.

Every request brings the whole bench and gets the new one back, so two tabs cannot disturb each other.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import signal
import socket
import sys
import threading
import traceback
import webbrowser
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

from aiohttp import web

from gougeform.errors import InputError
from gougeform.recipe.model import Recipe
from gougeform.workbench import address as addresses
from gougeform.workbench import answers
from gougeform.workbench.cross import cross_section
from gougeform.workbench.grinder import grinder_view
from gougeform.workbench.guard import HEADERS, checked_host, guard, names_of
from gougeform.workbench.head import head_shape
from gougeform.workbench.incoming import LARGEST_UPLOAD, good_recipe, parsed_json, parsed_upload
from gougeform.workbench.keeping import small_file
from gougeform.workbench.longjobs import JOBS, LongJobs
from gougeform.workbench.reaching import standing, work_profile
from gougeform.workbench.state import Desk, Shown, Trouble, start
from gougeform.workbench.workroom import Superseded, Workroom

LARGEST_REQUEST = 1024 * 1024
_PAGE = Path(__file__).resolve().parent / "page"
_KINDS = {".html": "text/html", ".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}


def build_app(
    first: Desk, names: Callable[[], tuple[frozenset[str], int]], allow_network: bool = False
) -> web.Application:
    """The application; `names` says which Host headers are ours, once the port is known."""
    app = web.Application(client_max_size=LARGEST_REQUEST, middlewares=[guard(names, allow_network)])
    room, jobs = Workroom(), LongJobs()

    async def closed(_: web.Application) -> None:
        room.close()

    app.on_cleanup.append(closed)
    for path in sorted(_PAGE.iterdir()):  # a fixed list: no request ever becomes a path
        if path.suffix in _KINDS:
            app.router.add_get("/" if path.name == "index.html" else f"/{path.name}", _file(path))

    def answer(path: str, work: Callable[[dict[str, Any]], Any]) -> None:
        async def handle(request: web.Request) -> web.StreamResponse:
            return await _answered(request, room, path, work)

        app.router.add_post(f"/do/{path}", handle)

    def bench_of(what: dict[str, Any]) -> Desk:
        if what.get("address"):
            return addresses.from_address(str(what["address"]), room.measured)
        return addresses.from_plain(what["bench"], room.measured) if what.get("bench") else first

    answer("begin", lambda what: {**answers.fixed(), **answers.whole(bench_of(what), room.measured)})
    answer(
        "turn", lambda what: answers.whole(answers.done(bench_of(what), what.get("do"), room.measured), room.measured)
    )

    def measured(what: dict[str, Any]) -> Any:
        return room.measured(good_recipe(what.get("recipe")))

    answer("head", lambda what: head_shape(measured(what)))
    answer("late", lambda what: answers.late(measured(what)))
    answer("cross", lambda what: cross_section(measured(what), _number(what, "behind_mm", 0.0, 200.0)))
    answer(
        "grinder",
        lambda what: [grinder_view(measured(what).gouge, i) for i in range(len(measured(what).gouge.settings))],
    )

    answer("work", lambda what: work_profile(what.get("work")))

    def stand(what: dict[str, Any]) -> Any:
        recipe = good_recipe(what.get("recipe"))
        room.measured(recipe)
        return standing(answers.tool_key(recipe.table), recipe, what.get("work"), what.get("stand"))

    answer("stand", stand)

    async def open_file(request: web.Request) -> web.StreamResponse:
        def work(what: dict[str, Any]) -> Any:
            text = what.get("text")
            table = parsed_upload(text.encode() if isinstance(text, str) else b"")
            bench = answers.opened_file(bench_of(what), what.get("tool", ""), table, room.measured)
            return answers.whole(bench, room.measured)

        if (request.content_length or 0) > 2 * LARGEST_UPLOAD + LARGEST_REQUEST // 2:
            raise web.HTTPRequestEntityTooLarge(LARGEST_REQUEST, request.content_length or 0)
        return await _answered(request, room, "open", work)

    app.router.add_post("/do/open", open_file)
    answer(
        "save", lambda what: small_file(str(what.get("kind")), bench_of(what), str(what.get("tool", "")), room.measured)
    )

    async def long(request: web.Request) -> web.StreamResponse:
        return await _long(request, jobs)

    for name in JOBS:
        app.router.add_post(f"/long/{name}", long)
    return app


def serve(
    recipes: tuple[Recipe, Recipe],
    *,
    host: str,
    port: int | None,
    usual_port: int,
    allow_network: bool,
    browser: bool,
    say: Callable[[str], None],
    work: str = "",
) -> int:
    """Serve until Ctrl-C; `say` is told where, and that it is closed. work: the workpiece chosen at first.

    Raises InputError where the address cannot be listened on, or a recipe not be ground.
    """
    from gougeform.grind.gouge import shape
    from gougeform.measure.measures import measure

    host = checked_host(host, allow_network)
    for recipe in recipes:
        measure(shape(recipe))
    listening = _socket(host, port, usual_port)
    try:
        asyncio.run(_serve(start(*recipes, Shown(work=work)), listening, host, allow_network, browser, say))
    finally:
        listening.close()
    say("The workbench is closed.")
    return 0


async def _serve(
    bench: Desk, listening: socket.socket, host: str, allow_network: bool, browser: bool, say: Callable[[str], None]
) -> None:
    port = listening.getsockname()[1]
    names = names_of(host, port, allow_network)
    # Handlers of requests that were given up are cancelled, so that their long jobs stop.
    runner = web.AppRunner(
        build_app(bench, lambda: (names, port), allow_network), handler_cancellation=True, access_log=None
    )
    await runner.setup()
    await web.SockSite(runner, listening, shutdown_timeout=1.0).start()
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for which in (signal.SIGINT, signal.SIGTERM):
        with contextlib.suppress(NotImplementedError):  # not on every system; there KeyboardInterrupt ends us
            loop.add_signal_handler(which, stop.set)
    shown = f"[{host}]" if ":" in host else host
    page = f"http://{shown}:{port}/"
    say(f"The workbench is open at {page}")
    if allow_network:
        say("Other machines can reach it: anybody on this network can use it.")
    say("Press Ctrl-C here to close it.")
    if browser:
        # A thread that nobody waits for: a browser in a terminal only comes back when it is left.
        threading.Thread(target=webbrowser.open, args=(page,), daemon=True).start()
    try:
        await stop.wait()
    finally:
        await runner.cleanup()


def _socket(host: str, port: int | None, usual: int) -> socket.socket:
    """A listening socket on the asked port, or the usual one, or where that is taken any free one."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    for attempt in (usual, 0) if port is None else (port,):
        made = socket.socket(family, socket.SOCK_STREAM)
        try:
            if sys.platform != "win32":
                made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            made.bind((host, attempt))
            made.listen(64)
            return made
        except OSError as error:
            made.close()
            if port is not None or attempt == 0:
                raise InputError(
                    "port",
                    f"{host} port {attempt} cannot be listened on: {error.strerror or error}",
                    "leave `port` out: a free one is taken",
                ) from error
    raise AssertionError("unreachable")


def _file(path: Path) -> Callable[[web.Request], Awaitable[web.StreamResponse]]:
    data = path.read_bytes()

    async def handle(_: web.Request) -> web.StreamResponse:
        return web.Response(body=data, content_type=_KINDS[path.suffix], charset="utf-8")

    return handle


async def _answered(
    request: web.Request, room: Workroom, lane: str, work: Callable[[dict[str, Any]], Any]
) -> web.StreamResponse:
    try:
        what = parsed_json(await request.read())
        lane = f"{lane}.{str(what.get('lane', ''))[:20]}"
        text = await room.newest(str(what.get("page", ""))[:40], lane, lambda: _text(work(what)))
    except InputError as error:
        return web.json_response({"error": Trouble.of(error).plain}, status=400)
    except Superseded:
        return web.json_response({"superseded": True})
    except (web.HTTPException, asyncio.CancelledError):
        raise
    except Exception:  # a fault of ours: say so on the page, and all of it in the terminal
        traceback.print_exc()
        return web.json_response({"error": _FAULT}, status=500)
    return web.Response(text=text, content_type="application/json")


_FAULT = {
    "field": "", "problem": "the workbench has met a fault of its own",
    "hint": "its terminal says more; the last good shape is still there",
}  # fmt: skip


async def _long(request: web.Request, jobs: LongJobs) -> web.StreamResponse:
    """One line of JSON for each word of the job."""
    name = request.path.rsplit("/", 1)[-1]
    try:
        what = parsed_json(await request.read())
    except InputError as error:
        return web.json_response({"error": Trouble.of(error).plain}, status=400)
    stream = web.StreamResponse(headers={**HEADERS, "Content-Type": "application/x-ndjson"})
    await stream.prepare(request)
    words = jobs.run(name, what)
    try:
        async for word in words:
            await stream.write(_text(word).encode() + b"\n")
    except InputError as error:
        await stream.write(_text({"error": Trouble.of(error).plain}).encode() + b"\n")
    except ConnectionError:
        pass  # the page has gone, or stopped the job
    finally:
        await words.aclose()
    return stream


def _text(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def _number(what: dict[str, Any], name: str, low: float, high: float) -> float:
    value = what.get(name)
    if not isinstance(value, int | float) or isinstance(value, bool) or not low <= value <= high:
        raise InputError(name, f"given {str(value)[:20]}, allowed is a number from {low:g} to {high:g} mm", "change it")
    return float(value)
