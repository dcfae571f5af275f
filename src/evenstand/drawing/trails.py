"""Pass strips of a recorded trail."""

from __future__ import annotations

from collections.abc import Sequence

from evenstand.base.units import Profile
from evenstand.drawing.pass_strips import Mark, Strip, pass_strips
from evenstand.drawing.shapes import Drawing
from evenstand.trail import PassFacts


def strips_of(passes: Sequence[PassFacts]) -> list[Strip]:
    """Strips for the drawing from the passes of a trail; a mark never reaches beyond its pass.

    Parameters
    ----------
    passes : sequence of PassFacts
        In the order driven. [m]
    """
    return [
        Strip(
            number=p.number,
            length_m=p.length_m,
            marks=tuple(
                Mark(kind=e.kind, from_m=max(0.0, min(e.from_m, p.length_m)), to_m=max(0.0, min(e.to_m, p.length_m)), note=e.note)
                for e in p.exceptions
            ),
        )
        for p in passes
    ]


def strips_of_passes(passes: Sequence[PassFacts], *, profile: Profile = "si", name: str = "the field") -> Drawing:
    """Every pass of a trail as one line, its exceptions in ink and hatch.

    Parameters
    ----------
    passes : sequence of PassFacts
        In the order driven. [m]
    profile : str
        Units of lengths. [-]
    name : str
        For the title. [-]
    """
    return pass_strips(strips_of(passes), profile=profile, name=name)
