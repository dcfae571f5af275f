"""The application: one book, one lock, pages by moment."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fastapi import FastAPI, Request, Response
from fastapi.responses import HTMLResponse, JSONResponse, PlainTextResponse
from fastapi.staticfiles import StaticFiles
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.exceptions import HTTPException

from evenstand import __version__
from evenstand.base.clock import Clock, SystemClock
from evenstand.base.errors import EvenstandError
from evenstand.base.units import Profile, profile_unit, shown, shown_value
from evenstand.drawing import tokens
from evenstand.web.guarding import guard

if TYPE_CHECKING:
    from evenstand.book import Book

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
        self.templates = Environment(
            loader=PackageLoader("evenstand.web"),
            autoescape=select_autoescape(default=True, default_for_string=True),
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self.templates.globals.update(menu=MENU, version=__version__, shown=shown, shown_value=shown_value, profile_unit=profile_unit)

    @contextmanager
    def book(self) -> Iterator[Book]:
        """The book, one request at a time; made if the folder holds none yet."""
        from evenstand.book import Book

        with self._lock:
            if self._book is None:
                if (self.folder / "book.gpkg").exists():
                    self._book = Book.open(self.folder, write=True, who=self.who, clock=self.clock)
                else:
                    self._book = Book.create(self.folder, farm="Our farm", profile="si", who=self.who, clock=self.clock)
            yield self._book

    def close(self) -> None:
        """Let go of the book."""
        with self._lock:
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
            farm, profile = book.farm, book.profile
        text = self.templates.get_template(template).render(
            here=here, path=path, query=dict(request.query_params), farm=farm, units=profile, **values
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
    return app


def _tokens_css() -> Response:
    """Colour, type and space tokens as custom properties."""
    text = f"{tokens.font_faces('/-/fonts/')}\n:root {{\n{tokens.custom_properties()}\n}}\n{tokens.role_rules()}\n"
    return Response(text, media_type="text/css")


def _designed(request: Request, error: Exception) -> Response:
    """A designed error as a page (or JSON), never a trace."""
    assert isinstance(error, EvenstandError)
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse(error.to_dict(), status_code=422)
    return site_of(request).page(request, "error.html", status=422, title="That did not work", faults=error.faults)


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    if error.status_code == 404:
        return site_of(request).page(request, "error.html", status=404, title="No such page", faults=())
    return PlainTextResponse(str(error.detail), status_code=error.status_code)
