"""Pass strips of a recorded trail."""

from __future__ import annotations

from collections.abc import Sequence

from evenstand.base.units import Profile
from evenstand.drawing.pass_strips import WORDS, Mark, Strip, pass_strips
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


def strips_in_parts(
    passes: Sequence[PassFacts], each: int, *, profile: Profile = "si", name: str = "the field", width: float = 720.0
) -> list[Drawing]:
    """The passes as several drawings of one scale, to be set below each other: the signs are explained under the last.

    Parameters
    ----------
    passes : sequence of PassFacts
        In the order driven. [m]
    each : int
        Passes in a drawing. [-]
    profile : str
        Units of lengths. [-]
    name : str
        For the title. [-]
    width : float
        Of each drawing. [drawing units]
    """
    strips = strips_of(passes)
    longest = max((s.length_m for s in strips), default=1.0) or 1.0
    there = {mark.kind for strip in strips for mark in strip.marks}
    every = [kind for kind in WORDS if kind in there]
    cuts = range(0, len(strips), each)
    return [
        pass_strips(
            strips[i : i + each], width=width, profile=profile, name=name, longest_m=longest, key=every if i + each >= len(strips) else ()
        )
        for i in cuts
    ]


def strips_of_passes(passes: Sequence[PassFacts], *, profile: Profile = "si", name: str = "the field", width: float = 720.0) -> Drawing:
    """Every pass of a trail as one line, its exceptions in ink and hatch.

    Parameters
    ----------
    passes : sequence of PassFacts
        In the order driven. [m]
    profile : str
        Units of lengths. [-]
    name : str
        For the title. [-]
    width : float
        Width of the drawing; narrow ones have narrow margins. [drawing units]
    """
    return pass_strips(strips_of(passes), profile=profile, name=name, width=width)
