"""One file per moment; each has a `router`."""

from __future__ import annotations

from fastapi import APIRouter


def routers() -> list[APIRouter]:
    """All pages."""
    from evenstand.web.pages import (
        after,
        before,
        blending,
        components,
        counting,
        evenings,
        filling,
        home,
        machine,
        proof,
        shed,
        start,
        todays,
    )

    return [
        home.router,
        start.router,
        before.router,
        blending.router,
        filling.router,
        counting.router,
        after.router,
        todays.router,
        machine.router,
        evenings.router,
        shed.router,
        proof.router,
        components.router,
    ]
