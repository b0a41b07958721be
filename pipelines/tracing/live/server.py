"""The live page's server: this machine alone, one token, one host and port, nothing for any other origin."""

import secrets
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pipelines.deliverables.report.html import content_policy
from pipelines.tracing.live.desk import LiveDesk, live_site
from pipelines.tracing.page import page_script, page_style, shell, shell_script, trace_page
from terrain.errors import LotshedError

HOST, HEADER = "127.0.0.1", "x-lotshed-token"
MOST_BYTES = 20_000_000
Told = Callable[[str, Path, Path], None]


class LiveError(LotshedError, RuntimeError):
    """The live page cannot be served."""


def serve_live(site: Path, *, port: int, told: Told) -> None:
    """Serve the page until it is interrupted; `told` hears the address, and the files of the site and the drawing."""
    try:
        import uvicorn
    except ImportError:
        raise LiveError('the live page needs uvicorn and starlette: pip install "lotshed[live]"') from None
    screened, traced = live_site(site)
    # what is wrong with the site is said before a port is opened
    trace_page(screened, live=True)
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((HOST, port))
            # whoever comes before the server runs waits for it
            listening.listen()
        except OSError as error:
            raise LiveError(f"port {port} cannot be used: {error.strerror}; give another --port, or none") from None
        own, token = f"{HOST}:{listening.getsockname()[1]}", secrets.token_urlsafe(32)
        app = live_app(LiveDesk(screened, traced), own=own, token=token)
        told(f"http://{own}/#{token}", screened, traced)
        config = uvicorn.Config(app, log_level="error", access_log=False, lifespan="off", server_header=False,
                                timeout_graceful_shutdown=1)  # fmt: skip
        uvicorn.Server(config).run(sockets=[listening])


def live_app(desk: LiveDesk, *, own: str, token: str) -> Any:
    """The application: a page without data for anyone, everything else for who holds the token."""
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import HTMLResponse, JSONResponse, Response
    from starlette.routing import Route

    def page(_: Request) -> Response:
        return HTMLResponse(trace_page(desk.site, live=True))

    def answer(_: Request) -> Response:
        return JSONResponse(desk.told())

    def hand_over(_: Request) -> Response:
        try:
            return JSONResponse({"folder": desk.hand_over().name})
        except LotshedError as fault:
            return JSONResponse({"fault": str(fault)}, 409)

    async def drawing(request: Request) -> Response:
        from starlette.concurrency import run_in_threadpool

        read = bytearray()
        async for part in request.stream():
            read += part
            if len(read) > MOST_BYTES:
                return JSONResponse({"fault": "the drawing is larger than 20 MB"}, 413)
        try:
            tried = request.url.path == "/trial"
            number = await run_in_threadpool(desk.put, bytes(read).decode("utf-8"), trial=tried)
        except (LotshedError, UnicodeDecodeError) as fault:
            return JSONResponse({"fault": str(fault)}, 422)
        return JSONResponse({"drawing": number})

    routes = [
        Route("/", lambda _: HTMLResponse(shell())), Route("/page", page), Route("/answer", answer),
        Route("/drawing", drawing, methods=["POST"]), Route("/trial", drawing, methods=["POST"]),
        Route("/hand-over", hand_over, methods=["POST"]),
    ]  # fmt: skip
    return _guarded(Starlette(routes=routes), own=own, token=token)


def _guarded(app: Any, *, own: str, token: str) -> Any:
    """Refuse any other host, origin or token; say to a browser what the page may do."""
    from starlette.datastructures import Headers, MutableHeaders
    from starlette.responses import PlainTextResponse

    policy = content_policy(page_style(), page_script(live=True), shell_script(), connect="'self'")

    async def guarded(scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] != "http":
            return
        given = Headers(scope=scope)
        refused = _refusal(given, scope["method"], scope["path"], own, token)

        async def answered(message: Any) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers["content-security-policy"] = policy + "; frame-ancestors 'none'"
                headers["cache-control"], headers["x-content-type-options"] = "no-store", "nosniff"
                headers["referrer-policy"], headers["cross-origin-resource-policy"] = "no-referrer", "same-origin"
            await send(message)

        await (PlainTextResponse(refused, 403) if refused else app)(scope, receive, answered)

    return guarded


def _refusal(given: Any, method: str, path: str, own: str, token: str) -> str:
    """Why a request is refused; empty where it isn't."""
    origin = given.get("origin")
    if given.getlist("host") != [own]:
        return "another host"
    if origin != f"http://{own}" and (origin is not None or method not in ("GET", "HEAD")):
        return "another origin"
    if path != "/" and not secrets.compare_digest(given.get(HEADER, "").encode(), token.encode()):
        return "no token"
    return ""
