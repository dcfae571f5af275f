"""A served book and a real Chromium that may talk to nobody else."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update",
    "--disable-sync",
]  # fmt: skip
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
AXE = Path(__file__).resolve().parent.parent / "js" / "node_modules" / "axe-core" / "axe.min.js"


@pytest.fixture(scope="session")
def demo_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo farm as a book."""
    from evenstand.desk.demo import build_book

    folder = tmp_path_factory.mktemp("site") / "book"
    build_book(folder)
    return folder


@pytest.fixture(scope="session")
def address(demo_book: Path) -> Iterator[str]:
    """The demo book, served on a free port."""
    import uvicorn

    from evenstand.web.site import create_app

    server = uvicorn.Server(uvicorn.Config(create_app(demo_book), host="127.0.0.1", port=0, log_level="warning", lifespan="on"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    for _ in range(200):
        if server.started:
            break
        threading.Event().wait(0.05)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(10)


@pytest.fixture(scope="session")
def chromium() -> Iterator[object]:
    """A headless Chromium."""
    if CHROMIUM is None:
        pytest.skip("NOT RUN HERE: no Chromium on this machine (Debian package chromium)")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as p:
        browser = p.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def axe_source() -> str:
    """axe-core, from the tests' own npm folder."""
    if not AXE.exists():
        pytest.skip("NOT RUN HERE: axe-core is not there (npm ci in tests/js)")
    return AXE.read_text()
