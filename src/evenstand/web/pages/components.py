"""Every piece of the site with its examples; the same examples are the fixtures of the template tests and of axe."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from evenstand.drawing import tokens
from evenstand.web.examples import EXAMPLES
from evenstand.web.site import site_of

router = APIRouter()


@router.get("/-/components")
def components(request: Request) -> Response:
    """The components page."""
    return site_of(request).page(request, "components.html", examples=EXAMPLES, colours=tokens.COLOURS)
