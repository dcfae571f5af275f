"""Pass strips of a recorded trail."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from evenstand.base.units import Profile
from evenstand.drawing.pass_strips import Mark, Strip, pass_strips
from evenstand.drawing.shapes import Drawing

if TYPE_CHECKING:
    from evenstand.trail.passes import PassFacts


def strips_of(passes: Sequence[PassFacts]) -> tuple[Strip, ...]:
    """Each pass of a trail as a strip, its exceptions as marks. [m]"""
    return tuple(
        Strip(
            number=p.number,
            length_m=p.length_m,
            marks=tuple(
                Mark(kind=e.kind, from_m=max(0.0, min(e.from_m, p.length_m)), to_m=max(0.0, min(e.to_m, p.length_m)), note=e.note)
                for e in p.exceptions
            ),
        )
        for p in passes
    )


def strips_of_passes(passes: Sequence[PassFacts], *, width: float = 720.0, profile: Profile = "si", name: str = "the trail") -> Drawing:
    """The passes of a trail unrolled, exceptions in ink and hatch.

    Parameters
    ----------
    passes : sequence of PassFacts
        In the order driven. [m]
    width : float
        Width of the drawing. [drawing units]
    profile : str
        Units of lengths. [-]
    name : str
        For the title. [-]

    Returns
    -------
    Drawing
        One line a pass. [drawing units]
    """
    return pass_strips(strips_of(passes), width=width, profile=profile, name=name)
