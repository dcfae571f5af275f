"""One file per moment; each has a `router`."""

from __future__ import annotations

from fastapi import APIRouter


def routers() -> list[APIRouter]:
    """All pages."""
    from evenstand.web.pages import after, before, components, filling, home, machine, proof, shed, start

    return [
        home.router,
        start.router,
        before.router,
        filling.router,
        after.router,
        machine.router,
        shed.router,
        proof.router,
        components.router,
    ]
