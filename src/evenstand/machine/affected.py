"""Which rows get nothing when a run, a head or a segment gives nothing, and what their siblings get instead."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenstand.base.errors import MissingError, RangeError, require_range
from evenstand.machine.runs import written_head
from evenstand.model import Outfit, Run


@dataclass(frozen=True, slots=True, kw_only=True)
class Affected:
    """Rows that get nothing of one stream when a run, a head or a segment gives nothing.

    what: "run 14", "head C", "segment 3"; stream: which product path; heads: letters; openers: numbers that get nothing, from the left;
    rows: how many; share: of the rows this stream feeds [-]; width_m: rows times spacing [m]; gap_m: widest gap of neighbours [m];
    row_m_ha: metres of empty row per hectare driven [m/ha]; area_km_ha: ground without this product per kilometre driven [ha/km];
    area_pass_ha: the same for one pass; these five None without a row spacing, the last also without a pass length [ha];
    siblings: openers that get more meanwhile; sibling_ratio: their dose over before, 1 without siblings [-]; backs_up: whether the
    product has nowhere to go and fills its hoses, so that the meter stalls or spills; reached_by: other streams that still reach
    these openers.
    """

    what: str
    stream: str | None
    heads: tuple[str, ...]
    openers: tuple[int, ...]
    rows: int
    share: float
    width_m: float | None
    gap_m: float | None
    row_m_ha: float | None
    area_km_ha: float | None
    area_pass_ha: float | None
    siblings: tuple[int, ...]
    sibling_ratio: float
    backs_up: bool
    reached_by: tuple[str, ...]


def rows_affected(
    outfit: Outfit,
    *,
    run: int | None = None,
    head: str | None = None,
    segment: int | None = None,
    stream: str | None = None,
    pass_m: float | None = None,
) -> Affected:
    """Rows that get nothing when one run, one head or one meter segment gives nothing, and what the others get instead.

    Parameters
    ----------
    outfit : Outfit
        With its runs and heads. [-]
    run : int or None
        Number of an opener. Give just one of run, head and segment. [-]
    head : str or None
        Letter of a head, or of the primary that feeds it. [-]
    segment : int or None
        Number of a meter segment. [-]
    stream : str or None
        Key of the stream; needed for a run or a segment where several streams have it. [-]
    pass_m : float or None
        Length of a pass, for its area. [m]

    Returns
    -------
    Affected
        Openers, rows, width, area and what siblings get. Runs already shut count as getting nothing before. [units in the field names]

    Raises
    ------
    MissingError
        If nothing of that name is written down, or several streams have it.
    RangeError
        If not just one thing is named, or the pass length is below 0.

    References
    ----------
    definition: rows x spacing x length; what one outlet no longer gets its siblings share.
    """
    if sum(thing is not None for thing in (run, head, segment)) != 1:
        raise RangeError("name one of run, head and segment", where="run, head, segment", cure="Give just one of them.")
    if pass_m is not None:
        require_range("pass_m", pass_m, 0, math.inf, high_open=True, unit="m")
    what, dead_runs, heads = _dead(outfit, run, head, segment, stream)
    key = _stream_of(outfit, heads[0])
    mates, backs_up = _siblings(outfit, run, head, heads, dead_runs)
    openers = tuple(sorted({r.number for r in dead_runs if not r.shut}))
    fed = {r.number for r in outfit.runs if not r.shut and _stream_of(outfit, r.head) == key}
    spacing = outfit.row_spacing_m
    rows = len(openers)
    width = rows * spacing if spacing is not None else None
    return Affected(
        what=what,
        stream=key,
        heads=tuple(heads),
        openers=openers,
        rows=rows,
        share=rows / len(fed) if fed else 0.0,
        width_m=width,
        gap_m=_widest(outfit, openers) * spacing if spacing is not None else None,
        row_m_ha=rows / len(fed) * 1e4 / spacing if spacing and fed else None,
        area_km_ha=width / 10 if width is not None else None,
        area_pass_ha=width * pass_m / 1e4 if width is not None and pass_m is not None else None,
        siblings=mates,
        sibling_ratio=(len(mates) + rows) / len(mates) if mates else 1.0,
        backs_up=backs_up and rows > 0,
        reached_by=_other_streams(outfit, openers, key),
    )


def _stream_of(outfit: Outfit, letter: str) -> str | None:
    return next((h.stream for h in outfit.heads if h.letter == letter), None)


def _dead(outfit: Outfit, run: int | None, head: str | None, segment: int | None, stream: str | None) -> tuple[str, list[Run], list[str]]:
    """What gives nothing, in words; the runs behind it; the heads they hang on."""
    if run is not None:
        found = [r for r in outfit.runs if r.number == run and (stream is None or _stream_of(outfit, r.head) == stream)]
        what, heads = f"run {run}", list(dict.fromkeys(r.head for r in found))
    elif head is not None:
        heads = [written_head(outfit, head).letter]
        found = [r for r in outfit.runs if r.head == head]
        what = f"head {head}"
    else:
        heads = [h.letter for h in outfit.heads if h.segment == segment and (stream is None or h.stream == stream)]
        found = [r for r in outfit.runs if r.head in heads]
        what = f"segment {segment}"
    if not found:
        raise MissingError(f"no run behind {what} is written down", where="run map", cure="Walk it from meter to opener and note it.")
    if len({_stream_of(outfit, letter) for letter in heads}) > 1:
        raise MissingError(f"several streams have {what}", where="stream", cure="Name the stream too.")
    return what, found, heads


def _siblings(outfit: Outfit, run: int | None, head: str | None, heads: Sequence[str], dead: Sequence[Run]) -> tuple[tuple[int, ...], bool]:
    """Openers that get what the dead ones do not, and whether the product has nowhere to go."""
    gone = {id(r) for r in dead}
    if run is not None:
        mates = {r.number for r in outfit.runs if r.head == heads[0] and not r.shut and id(r) not in gone}
    elif head is not None:
        number, stream = written_head(outfit, head).segment, written_head(outfit, head).stream
        on = {h.letter for h in outfit.heads if number is not None and h.segment == number and h.stream == stream and h.letter != head}
        mates = {r.number for r in outfit.runs if r.head in on and not r.shut}
    else:
        return (), False  # a segment that does not turn backs nothing up
    return tuple(sorted(mates)), not mates


def _widest(outfit: Outfit, openers: Sequence[int]) -> int:
    """Most neighbouring openers without one between them that still gets product."""
    across = {run.number: run.offset_m for run in outfit.runs}
    order = sorted(across, key=lambda number: (across[number], number))
    dead, best, here = set(openers), 0, 0
    for number in order:
        here = here + 1 if number in dead else 0
        best = max(best, here)
    return best


def _other_streams(outfit: Outfit, openers: Sequence[int], key: str | None) -> tuple[str, ...]:
    dead = set(openers)
    found = [_stream_of(outfit, r.head) for r in outfit.runs if r.number in dead and not r.shut]
    return tuple(dict.fromkeys(s for s in found if s is not None and s != key))
