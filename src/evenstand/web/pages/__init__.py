"""One file per moment; each has a `router`."""

from __future__ import annotations

from fastapi import APIRouter


def routers() -> list[APIRouter]:
    """All pages."""
    from evenstand.web.pages import (
        after,
        before,
        blending,
        calling,
        catching,
        components,
        counting,
        drilling,
        evenings,
        fill_checks,
        filling,
        home,
        machine,
        ordering,
        proof,
        proving,
        shed,
        shifting,
        start,
        todays,
    )

    return [
        home.router,
        start.router,
        before.router,
        blending.router,
        fill_checks.router,
        filling.router,
        catching.router,
        counting.router,
        after.router,
        shifting.router,
        calling.router,
        todays.router,
        machine.router,
        proving.router,
        evenings.router,
        shed.router,
        ordering.router,
        proof.router,
        drilling.router,
        components.router,
    ]
