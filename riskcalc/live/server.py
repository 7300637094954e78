"""The workbench on this machine: one page, a handful of calls, a stream of answers. The one border to Starlette.

Only a browser that was given the token in the address is heard; the name it calls us by and the page it comes from are
checked, so no other site can reach in, whatever name it points at this machine.
"""

from __future__ import annotations

import asyncio
import json
import secrets
import shlex
import socket
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.middleware.base import BaseHTTPMiddleware, RequestResponseEndpoint
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from riskcalc.errors import InputError, one_problem
from riskcalc.live.answering import Answering, Pin, problems_of
from riskcalc.live.desk import Desk, form, live_html, live_policy
from riskcalc.output import write_files
from riskcalc.scenario import Scenario

MOST_PINS, MOST_LISTENERS = 4, 8
LARGEST_BODY = 64 * 1024
#: A stream that says nothing for longer is taken for dead by some browsers [s].
HEARTBEAT_S = 15.0
_NOT_SETTLED = {"key": "", "given": "no settled answer yet", "accepted": "a settled answer", "hint": ""}


class Bench:
    """The desk, the computation and who listens; calls come from one event loop, answers from a thread."""

    def __init__(self, desk: Desk, report: Callable[[Any, str], str]) -> None:
        self.desk = desk
        self.report = report
        self.answering = Answering(self._told)
        self.listeners: set[asyncio.Queue[dict[str, Any]]] = set()
        self.latest: dict[str, Any] = {}
        self.loop: asyncio.AbstractEventLoop | None = None

    def start(self) -> None:
        """Answer the scenario as it lies on the desk."""
        self.loop = asyncio.get_running_loop()
        self.answering.ask(self.desk.scenario())

    def _told(self, answer: dict[str, Any]) -> None:
        if self.loop is not None:
            with suppress(RuntimeError):  # the server ended meanwhile: nobody listens
                self.loop.call_soon_threadsafe(self._spread, answer)

    def _spread(self, answer: dict[str, Any]) -> None:
        self.latest = answer
        for queue in self.listeners:
            queue.put_nowait(answer)

    def turned(self, turn: Callable[[], Scenario]) -> dict[str, Any]:
        """Do one turn of the desk and start on the answer; what is wrong comes back, and nothing has changed."""
        try:
            scenario = turn()
        except InputError as error:
            return {"problems": problems_of(error), "form": None}
        return {"problems": [], "form": form(self.desk, scenario), "question": self.answering.ask(scenario)}

    def pin(self, name: str) -> dict[str, Any]:
        """Keep the answer at hand for comparison."""
        found = self.answering.found
        if found is None or len(self.answering.pins) >= MOST_PINS:
            full = {"key": "", "given": f"{MOST_PINS} pins already", "accepted": f"up to {MOST_PINS}", "hint": ""}
            return {"problems": [_NOT_SETTLED if found is None else full]}
        money = found.valuation
        paid = (money.payback_years <= found.scenario.study.horizon_years).astype(float)
        self.answering.pins.append(Pin(name[:80], dict(self.desk.changes), money.net_present_value, paid))
        return self.turned(self.desk.scenario)


class Calls:
    """What the page may ask of a bench, one method a call."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench

    async def page(self, _request: Request) -> Response:
        """Return the page itself."""
        return HTMLResponse(live_html(), headers={"Content-Security-Policy": live_policy()})

    async def state(self, _request: Request) -> Response:
        """Return the form and the answer at hand."""
        desk = self.bench.desk
        scenario = await run_in_threadpool(desk.scenario)
        return JSONResponse({"form": form(desk, scenario), "answer": self.bench.latest})

    async def turn(self, request: Request) -> Response:
        """Change, pick, undo, redo or reset."""
        asked, desk = await _asked(request), self.bench.desk
        value = asked.get("value")
        turns: dict[str, Callable[[], Scenario]] = {
            "change": lambda: desk.change(str(asked.get("key", "")), None if value is None else str(value)),
            "pick": lambda: desk.pick(str(asked.get("table", "")), str(asked.get("name", ""))),
            "undo": desk.undo,
            "redo": desk.redo,
            "reset": desk.reset,
        }
        name = request.path_params["turn"]
        if name not in turns:
            return PlainTextResponse("no such call", status_code=404)
        return JSONResponse(self.bench.turned(turns[name]))

    async def pin(self, request: Request) -> Response:
        """Keep the answer at hand for comparison."""
        return JSONResponse(self.bench.pin(str((await _asked(request)).get("name", "pinned"))))

    async def unpin(self, request: Request) -> Response:
        """Let go of a pinned answer."""
        index, pins = (await _asked(request)).get("index"), self.bench.answering.pins
        if isinstance(index, int) and 0 <= index < len(pins):
            del pins[index]
        return JSONResponse(self.bench.turned(self.bench.desk.scenario))

    async def save(self, request: Request) -> Response:
        """Write the changed scenario beside its file."""
        name = str((await _asked(request)).get("name", ""))
        return await _written(lambda: self.bench.desk.save(name))

    async def save_report(self, _request: Request) -> Response:
        """Write the report of the settled answer into the folder of the scenario."""
        found, desk = self.bench.answering.found, self.bench.desk
        if found is None:
            return JSONResponse({"problems": [_NOT_SETTLED]})
        text = await run_in_threadpool(self.bench.report, found, _command(desk))
        folder = desk.path.parent / "reports" / found.scenario.name
        return await _written(lambda: write_files(folder, {"report.html": text})[0])

    async def report(self, _request: Request) -> Response:
        """Return the report of the settled answer."""
        found = self.bench.answering.found
        if found is None:
            return HTMLResponse("<p>The report follows as soon as the answer has settled.</p>")
        return HTMLResponse(await run_in_threadpool(self.bench.report, found, _command(self.bench.desk)))

    async def command(self, _request: Request) -> Response:
        """Return the command that gives the same answer."""
        return JSONResponse({"command": _command(self.bench.desk)})

    async def stream(self, _request: Request) -> Response:
        """Tell of every answer as it comes."""
        if len(self.bench.listeners) >= MOST_LISTENERS:
            return PlainTextResponse("too many pages are open", status_code=429)
        return StreamingResponse(_answers(self.bench), media_type="text/event-stream")


def workbench(desk: Desk, *, report: Callable[[Any, str], str], host: str, port: int, token: str) -> Starlette:
    """Return the application; `report` makes the page of an assessment from it and the command that gives it again."""
    bench = Bench(desk, report)
    calls = Calls(bench)

    @asynccontextmanager
    async def lifespan(_app: Starlette) -> AsyncIterator[None]:
        bench.start()
        yield
        bench.answering.stop()

    asks = ("/state", calls.state), ("/report", calls.report), ("/command", calls.command), ("/stream", calls.stream)
    does = ("/turn/{turn}", calls.turn), ("/pin", calls.pin), ("/unpin", calls.unpin), ("/save", calls.save)
    routes = [Route(path, call) for path, call in (("/", calls.page), *asks)]
    routes += [Route(path, call, methods=["POST"]) for path, call in (*does, ("/save-report", calls.save_report))]
    return Starlette(
        routes=routes,
        middleware=[Middleware(BaseHTTPMiddleware, dispatch=guard(host=host, port=port, token=token))],
        lifespan=lifespan,
    )


def guard(*, host: str, port: int, token: str) -> Callable[[Request, RequestResponseEndpoint], Any]:
    """Return what lets through only a page of ours: token, Host, Origin, size of what is sent."""
    named = {f"{name}:{port}" for name in {host, "127.0.0.1", "localhost"}}
    ours = {f"http://{name}" for name in named}

    async def check(request: Request, call_next: RequestResponseEndpoint) -> Response:
        if request.headers.get("host") not in named:
            return PlainTextResponse("this address is not served here", status_code=421)
        origin = request.headers.get("origin")
        foreign = request.headers.get("sec-fetch-site", "none") not in ("same-origin", "none")
        if (origin is not None and origin not in ours) or foreign:
            return PlainTextResponse("calls from other sites are refused", status_code=403)
        given = request.headers.get("x-riskcalc-token") or request.query_params.get("token", "")
        if not secrets.compare_digest(given.encode(), token.encode()):
            return PlainTextResponse("open the address that riskcalc live printed: it holds a token", status_code=403)
        if int(request.headers.get("content-length") or 0) > LARGEST_BODY or (
            request.method == "POST" and "content-length" not in request.headers
        ):
            return PlainTextResponse("too much at once", status_code=413)
        response: Response = await call_next(request)
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Cache-Control"] = "no-store"
        response.headers.setdefault("X-Frame-Options", "SAMEORIGIN")
        return response

    return check


def serve(
    scenario_file: Path, *, host: str, port: int, report: Callable[[Any, str], str], say: Callable[[str], None]
) -> None:
    """Serve the workbench of a scenario until Ctrl-C; `say` is told the address to open.

    Raises
    ------
    InputError
        If the scenario is wrong or the port is taken.
    """
    import uvicorn

    desk = Desk(scenario_file)
    desk.scenario()
    listening = _socket(host, port)
    port = int(listening.getsockname()[1])
    token = secrets.token_urlsafe(24)
    application = workbench(desk, report=report, host=host, port=port, token=token)
    say(f"http://{host}:{port}/?token={token}")
    config = uvicorn.Config(application, log_level="critical", timeout_graceful_shutdown=1, access_log=False)
    try:
        uvicorn.Server(config).run(sockets=[listening])
    except KeyboardInterrupt:
        pass
    finally:
        listening.close()


def _socket(host: str, port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
    except OSError as error:
        listening.close()
        given = f"{host}:{port} ({error.strerror or error})"
        raise one_problem(
            "command line", "--port", given, "an address of this machine with a free port; 0 picks one"
        ) from error
    return listening


async def _written(write: Callable[[], Path]) -> Response:
    try:
        path = await run_in_threadpool(write)
    except InputError as error:
        return JSONResponse({"problems": problems_of(error)})
    return JSONResponse({"problems": [], "saved": path.as_posix()})


async def _asked(request: Request) -> dict[str, Any]:
    try:
        said = json.loads(await request.body() or b"{}")
    except (ValueError, RecursionError):
        return {}
    return said if isinstance(said, dict) else {}


async def _answers(bench: Bench) -> AsyncIterator[str]:
    """Yield every answer as an event, from the one at hand on."""
    queue: asyncio.Queue[dict[str, Any]] = asyncio.Queue()
    bench.listeners.add(queue)
    try:
        if bench.latest:
            yield f"data: {json.dumps(bench.latest, allow_nan=False)}\n\n"
        while True:
            try:
                answer = await asyncio.wait_for(queue.get(), HEARTBEAT_S)
            except TimeoutError:
                yield ": still here\n\n"
                continue
            yield f"data: {json.dumps(answer, allow_nan=False)}\n\n"
    finally:
        bench.listeners.discard(queue)


def _command(desk: Desk) -> str:
    words = ["riskcalc", "assess", desk.path.as_posix()]
    for change in desk.overrides:
        words += ["--set", change]
    return shlex.join(words)
