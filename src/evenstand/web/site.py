"""The application: one book, one lock, pages by moment."""

from __future__ import annotations

import secrets
import tempfile
import threading
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse
from fastapi.staticfiles import StaticFiles
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.exceptions import HTTPException

from evenstand import __version__
from evenstand.base.clock import Clock, SystemClock
from evenstand.base.errors import EvenstandError
from evenstand.base.units import Profile, profile_unit, restated, restated_fault, shown, shown_value
from evenstand.desk.cards import first_and_rest, flag_of, suffix_of
from evenstand.drawing import tokens
from evenstand.paper.wording import card_value, spread
from evenstand.web import naming
from evenstand.web.guarding import file_name, guard

if TYPE_CHECKING:
    from evenstand.book import Book

T = TypeVar("T")
STAGED = 4  # uploads waiting for their columns to be confirmed

MENU = (
    ("/", "Next"),
    ("/before", "Before"),
    ("/at-the-fill", "At the fill"),
    ("/after", "After the field"),
    ("/machine", "The machine"),
    ("/shed", "The shed"),
    ("/proof", "Proof"),
)


class Site:
    """What every page needs: the book behind its lock, the templates, the reader's units."""

    def __init__(self, folder: Path, *, clock: Clock, who: str, verification: Callable[[], dict[str, Any]] | None) -> None:
        self.folder = folder
        self.clock = clock
        self.who = who
        self.verification = verification
        self._lock = threading.RLock()
        self._book: Book | None = None
        self._known: dict[Hashable, Any] = {}
        self._staging: tempfile.TemporaryDirectory[str] | None = None
        self._staged: dict[str, Path] = {}
        self.templates = Environment(
            loader=PackageLoader("evenstand.web"),
            autoescape=select_autoescape(default=True, default_for_string=True),
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self.templates.globals.update(menu=MENU, version=__version__, shown=shown, shown_value=shown_value, profile_unit=profile_unit)
        self.templates.globals.update(
            card_value=card_value, suffix_of=suffix_of, spread=spread, first_and_rest=first_and_rest, flag_of=flag_of
        )
        self.templates.filters.update(day=naming.day, moment=naming.moment, causes=naming.causes, many=_many, restated=restated)

    @contextmanager
    def book(self) -> Iterator[Book]:
        """The book, one request at a time; made if the folder holds none yet."""
        from evenstand.book import Book

        with self._lock:
            if self._book is None:
                if self.folder.is_file():  # a bundle: for reading only
                    self._book = Book.open(self.folder, clock=self.clock)
                elif (self.folder / "book.gpkg").exists():
                    self._book = Book.open(self.folder, write=True, who=self.who, clock=self.clock)
                else:
                    self._book = Book.create(self.folder, farm="Our farm", profile="si", who=self.who, clock=self.clock)
            yield self._book

    def once(self, key: Hashable, make: Callable[[], T]) -> T:
        """What `make` gives, kept until a form is sent: this site is the book's only writer while it is open."""
        with self._lock:
            if key not in self._known:
                self._known[key] = make()
            found: T = self._known[key]
            return found

    def forget(self) -> None:
        """A form came in: everything is computed anew."""
        with self._lock:
            self._known.clear()

    def stage(self, name: str) -> tuple[str, Path]:
        """A place for an upload that waits for an answer, and the token it is found by; the oldest gives way."""
        with self._lock:
            if self._staging is None:
                self._staging = tempfile.TemporaryDirectory(prefix="evenstand-")
            while len(self._staged) >= STAGED:
                self.unstage(next(iter(self._staged)))
            token = secrets.token_urlsafe(16)
            folder = Path(self._staging.name) / token
            folder.mkdir()
            self._staged[token] = folder / file_name(name, "log")
            return token, self._staged[token]

    def staged(self, token: str) -> Path | None:
        """The upload of a token, None if it is gone."""
        with self._lock:
            path = self._staged.get(token)
            return path if path is not None and path.is_file() else None

    def unstage(self, token: str) -> None:
        """Throw an upload away."""
        with self._lock:
            path = self._staged.pop(token, None)
            if path is not None:
                path.unlink(missing_ok=True)
                path.parent.rmdir()

    def close(self) -> None:
        """Let go of the book and of uploads that were never confirmed."""
        with self._lock:
            self._known.clear()
            self._staged.clear()
            if self._staging is not None:
                self._staging.cleanup()
                self._staging = None
            if self._book is not None:
                self._book.close()
                self._book = None

    def profile(self) -> Profile:
        """The units this book is shown in."""
        with self.book() as book:
            return book.profile

    def page(self, request: Request, template: str, *, status: int = 200, **values: Any) -> HTMLResponse:
        """A page from its template."""
        path = request.url.path
        here = next((href for href, _ in reversed(MENU) if href != "/" and path.startswith(href)), "/")
        with self.book() as book:
            farm, profile, bundle = book.farm, book.profile, book.bundle
        text = self.templates.get_template(template).render(
            here=here, path=path, query=dict(request.query_params), farm=farm, units=profile, bundle=bundle, **values
        )
        return HTMLResponse(text, status_code=status)


def site_of(request: Request) -> Site:
    """The site behind a request."""
    site: Site = request.app.state.site
    return site


def create_app(
    folder: Path | str, *, clock: Clock | None = None, who: str = "site", verification: Callable[[], dict[str, Any]] | None = None
) -> FastAPI:
    """The local site on one book.

    Parameters
    ----------
    folder : Path or str
        The book's folder; made on first use if it holds none. [-]
    clock : Clock or None
        The machine's clock where not given. [-]
    who : str
        Whose name stands in the history. [-]
    verification : callable or None
        Gives the verification report as `evenstand verify --json` prints it; handed in, because pages know no formula. [-]
    """
    from contextlib import asynccontextmanager

    from evenstand.web.pages import routers

    site = Site(Path(folder), clock=clock or SystemClock(), who=who, verification=verification)

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> Any:
        yield
        site.close()

    app = FastAPI(
        title="Evenstand", docs_url=None, redoc_url=None, openapi_url=None, default_response_class=HTMLResponse, lifespan=lifespan
    )
    app.state.site = site
    app.middleware("http")(guard)
    here = Path(__file__).parent
    app.mount("/-/static", StaticFiles(directory=here / "static"), name="static")
    app.mount("/-/fonts", StaticFiles(directory=here.parent / "paper" / "fonts"), name="fonts")
    app.add_api_route("/-/tokens.css", _tokens_css, methods=["GET"], response_class=Response)
    for router in routers():
        app.include_router(router)
    app.add_exception_handler(EvenstandError, _designed)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _incomplete)
    return app


def _many(count: int, one: str, more: str = "") -> str:
    """'1 fill', '3 fills', '1 234 rows'. [text]"""
    return f"{shown_value(float(count), 'count')} {one if count == 1 else more or one + 's'}"


def _tokens_css() -> Response:
    """Colour, type and space tokens as custom properties."""
    text = f"{tokens.font_faces('/-/fonts/')}\n:root {{\n{tokens.custom_properties()}\n}}\n{tokens.role_rules()}\n"
    return Response(text, media_type="text/css")


def _designed(request: Request, error: Exception) -> Response:
    """A designed error as a page (or JSON), never a trace."""
    assert isinstance(error, EvenstandError)
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse(error.to_dict(), status_code=422)
    site = site_of(request)
    faults = tuple(restated_fault(fault, site.profile()) for fault in error.faults)
    return site.page(request, "error.html", status=422, title="That did not work", faults=faults, back=_back(request))


def _back(request: Request) -> str:
    """Where a page that could not be shown leads: the form it came from, else the first page of its moment."""
    path = request.url.path
    if request.method != "GET":
        return path
    return next((href for href, _ in MENU if href != "/" and path.startswith(href) and path != href), "/")


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    titles = {404: "No such page", 405: "This page takes no such form"}
    title = titles.get(error.status_code, "That did not work")
    return site_of(request).page(request, "error.html", status=error.status_code, title=title, faults=(), back="/")


def _incomplete(request: Request, error: Exception) -> Response:
    """A form that lacks a part its page sends; a person sees this only with a page from another version."""
    return site_of(request).page(request, "error.html", status=422, title="The form was not complete", faults=(), back="/")
