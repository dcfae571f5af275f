"""Who may talk to the site: this machine's browser under this site's own name, and forms sent from its own pages."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from urllib.parse import urlsplit

from fastapi import Request, Response
from fastapi.responses import PlainTextResponse

MIB = 2**20
UPLOADS = {"/after/trail": 512 * MIB, "/machine/outline": 64 * MIB}
FORM_MOST = MIB
LONGEST_NAME = 48  # letters of an upload's name that are kept
LOCAL = {"127.0.0.1", "localhost", "[::1]", "::1", "testserver"}
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; img-src 'self' data:; style-src 'self' 'unsafe-inline'; object-src 'none'; base-uri 'none'; "
        "form-action 'self'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}


def file_name(text: str, otherwise: str) -> str:
    """The name of an upload as a name in our own folder: no path, nothing that cannot be written, not too long, its ending kept.

    Parameters
    ----------
    text : str
        As the browser sent it. [-]
    otherwise : str
        Where nothing is left of it. [-]
    """
    plain = "".join(c for c in text.replace("\\", "/").rpartition("/")[2] if c.isprintable()).strip(" .")
    head, dot, ending = plain.rpartition(".")
    short = f"{head[:LONGEST_NAME]}.{ending[:12]}" if dot and head else plain[:LONGEST_NAME]
    return short.encode(errors="ignore").decode() or otherwise


def _host(text: str) -> str:
    return (urlsplit(f"//{text}").hostname or "").lower()


def _too_long(request: Request) -> Response | None:
    """Refuse a body that is longer than its page takes before any of it is read; a browser always states the length."""
    most = UPLOADS.get(request.url.path, FORM_MOST)
    stated = request.headers.get("content-length", "")
    if not stated.isdigit():
        return PlainTextResponse("The length of the form is not stated.\n", status_code=411)
    if int(stated) > most:
        text = f"More than {most // MIB} MB. A log this long is read with: evenstand trail read FILE.\n"
        return PlainTextResponse(text, status_code=413)
    return None


async def guard(request: Request, call_next: Callable[[Request], Awaitable[Response]]) -> Response:
    """Refuse a foreign Host (a name that was bent to this address) and a form from a foreign page (Origin)."""
    host = _host(request.headers.get("host", ""))
    if host not in LOCAL:
        return PlainTextResponse("This site answers only to 127.0.0.1 and localhost.\n", status_code=421)
    if request.method not in {"GET", "HEAD"}:
        origin = request.headers.get("origin") or request.headers.get("referer") or ""
        if origin == "null" or (origin and urlsplit(origin).netloc.lower() != request.headers.get("host", "").lower()):
            return PlainTextResponse("A form from another site was refused. Open the page here and send it again.\n", status_code=403)
        if not origin and request.headers.get("sec-fetch-site", "same-origin") not in {"same-origin", "none"}:
            return PlainTextResponse("A form from another site was refused.\n", status_code=403)
        refused = _too_long(request)
        if refused is not None:
            return refused
        request.app.state.site.forget()
    response = await call_next(request)
    if request.method not in {"GET", "HEAD"}:
        request.app.state.site.forget()
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    return response
