"""Row-to-row distance of neighbouring passes against the width typed for guidance, and against the tool's own width."""

from __future__ import annotations

import math

from evenstand.base.estimate import Est
from evenstand.base.units import shown
from evenstand.reference.practice import default
from evenstand.trail.faults import Answer, Look, TrailFault, Unseen, limit
from evenstand.trail.passes import RowToRow, row_to_row

LEAST_PAIRS = 3
ONLY_GUIDANCE = "The tool's width: row to row is what guidance steered by. Only a tape tells the tool's."


def guidance_width(look: Look) -> tuple[Answer, ...]:
    """Passes that do not lie at the distance typed for guidance.

    Parameters
    ----------
    look : Look
        With positions; the outfit's guidance width typed. [-]

    Returns
    -------
    tuple of TrailFault or Unseen
        Row to row less what is typed. [m]

    References
    ----------
    definition: middle distance between neighbouring straight passes.
    """
    typed = look.outfit.widths.guidance_m
    if typed is None:
        return (
            _unseen(
                "guidance-width",
                "the guidance width typed",
                "Row to row cannot be held against guidance: the width typed for guidance is not known.",
            ),
        )
    seen = row_to_row(look.trail, look.passes)
    if seen is None:
        return (_no_lanes("guidance-width"),)
    lanes = max(1, round(seen.distance_m.value / typed))  # every second lane alone was driven, or recorded
    if seen.neighbours < LEAST_PAIRS or lanes > 1:
        return (_no_lanes("guidance-width"),)
    off, sd = seen.distance_m.value - typed, seen.distance_m.sd
    if abs(off) < limit("lane-least") or abs(off) < limit("lane-z") * sd:
        return ()
    return (
        _fault(
            look,
            "guidance-width",
            seen,
            Est(value=off, sd=sd, basis="measured", source=f"{seen.neighbours} neighbours"),
            claim=(
                f"Passes lie {shown(seen.distance_m.value, 'width', look.profile)} apart, {shown(typed, 'width', look.profile)} is typed "
                f"for guidance: {shown(abs(off), 'width', look.profile)} {'wider' if off > 0 else 'closer'}."
            ),
            against=f"typed for guidance: {shown(typed, 'width', look.profile)}",
            stop=abs(off) / typed >= default("stop-for-seed").low,
        ),
    )


def lane_gap(look: Look) -> tuple[Answer, ...]:
    """Passes farther apart than the tool is wide, or so close that they sow much ground twice.

    Parameters
    ----------
    look : Look
        With positions; the outfit's true or typed width. [-]

    Returns
    -------
    tuple of TrailFault or Unseen
        Row to row less the tool's width: a gap above 0. [m]

    References
    ----------
    definition: middle distance between neighbouring straight passes less the tool's width.
    """
    width = look.outfit.widths.true_m or (Est(value=look.outfit.width_m, sd=0.005 * look.outfit.width_m) if look.outfit.width_m else None)
    if width is None:
        return (_unseen("lane-gap", "the tool's width", "Gaps between passes cannot be seen: the tool's width is not known."),)
    seen = row_to_row(look.trail, look.passes)
    if seen is None:
        return (_no_lanes("lane-gap"),)
    if seen.neighbours < LEAST_PAIRS or round(seen.distance_m.value / width.value) > 1:
        return (_no_lanes("lane-gap"),)
    off = seen.distance_m.value - width.value
    sd = math.hypot(seen.distance_m.sd, width.sd)
    half_row = (look.outfit.row_spacing_m or 0.2) / 2
    much = default("overlap-no-sections").high * width.value
    if not (off > max(half_row, limit("lane-least"), limit("lane-z") * sd) or off < -max(much, limit("lane-z") * sd)):
        return ()
    gap = off > 0
    size = shown(abs(off), "width", look.profile)
    share = 100 * abs(off) / width.value
    return (
        _fault(
            look,
            "lane-gap",
            seen,
            Est(value=off, sd=sd, basis="measured", source=f"{seen.neighbours} neighbours"),
            claim=(
                f"Passes lie {size} farther apart than the tool is wide: a strip so wide stays unsown beside each, {share:.1f} %."
                if gap
                else f"Passes lie {size} closer than the tool is wide: {share:.1f} % is sown twice."
            ),
            against=f"the tool's width: {shown(width.value, 'width', look.profile)}",
            stop=share >= 100 * default("stop-for-seed").low,
        ),
    )


def _unseen(kind: str, need: str, says: str) -> Unseen:
    return Unseen(kind=kind, needs=(need,), says=says)


def _no_lanes(kind: str) -> Unseen:
    return _unseen(
        kind, "four straight neighbouring passes", "Row to row cannot be seen in this log: it has no four straight passes side by side."
    )


def _fault(look: Look, kind: str, seen: RowToRow, size: Est, *, claim: str, against: str, stop: bool) -> TrailFault:
    first, last = look.passes[0], look.passes[-1]
    return TrailFault(
        kind=kind,
        cause="guidance",
        claim=claim,
        since_s=first.start_s,
        since_low_s=0.0,
        since_high_s=first.end_s,
        until_s=None,
        first_row=first.first_row,
        last_row=last.last_row,
        passes=tuple(p.number for p in look.passes),
        size=size,
        size_unit="m",
        strength=abs(size.value) / max(size.sd, 1e-9),
        evidence=(f"{seen.neighbours} pairs of neighbours, scatter {shown(seen.scatter_m, 'width', look.profile)}", against),
        columns=("positions",),
        worth_stopping=stop,
        confirm_by="Tape between the outer rows of two neighbouring passes, and read the width in guidance.",
        not_claimed=ONLY_GUIDANCE,
    )
