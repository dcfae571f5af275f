"""`evenstand serve`: a book as a local site."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(name="serve")
@click.argument("folder", type=click.Path(path_type=Path), default=Path("book"))
@click.option("--port", type=click.IntRange(1024, 65535), default=8707, show_default=True, help="Port on this machine.")
@click.option("--who", default="site", show_default=True, help="Whose name stands in the history.")
def command(folder: Path, port: int, who: str) -> int:
    """Open a book as a site on 127.0.0.1. An empty folder becomes a new book with the first form; a bundle opens for reading only.

    Only this machine's browser can reach it, and only forms from its own pages are taken.
    """
    import socket

    import uvicorn

    from evenstand.base.errors import InputError
    from evenstand.verify import run
    from evenstand.web.site import create_app

    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            raise InputError(f"port {port} is taken", where="--port", cure=f"Try --port {port + 1}.") from None
    app = create_app(folder, who=who, verification=lambda: run().to_dict())
    with app.state.site.book() as book:  # a locked or damaged book is told here, not on the first page
        click.echo(f"{book.farm}: http://127.0.0.1:{port}/    (Ctrl+C closes the book)")
    uvicorn.run(app, host="127.0.0.1", port=port, log_level="warning")
    return 0
