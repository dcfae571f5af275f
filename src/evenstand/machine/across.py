"""What differs across the tool: in a turn, between heads, when a run is shut."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenstand.base.errors import Fault, RangeError, require_range
from evenstand.base.worked import worked


@worked(
    formula="1 / (1 + width_m / (2 * radius_m))", source="definition", where="circle: length at the outer opener over that at the middle"
)
def outer_dose(radius_m: float, width_m: float) -> float:
    """Dose at the outer end of the tool in a turn, over the dose asked.

    Parameters
    ----------
    radius_m : float
        Radius the middle of the tool follows. [m]
    width_m : float
        Working width. [m]

    Returns
    -------
    float
        Ratio below 1: the outer openers travel further on the same product. [-]

    Raises
    ------
    RangeError
        If the radius or width is not above 0.
    """
    _turn(radius_m, width_m)
    return 1 / (1 + width_m / (2 * radius_m))


def turn_dose(radius_m: float, width_m: float) -> tuple[float, float]:
    """Dose ratios at the ends of the tool in a turn with the openers down.

    Parameters
    ----------
    radius_m : float
        Radius the middle of the tool follows, above half the width. [m]
    width_m : float
        Working width. [m]

    Returns
    -------
    tuple of float
        (inner, outer): dose over the dose asked at the inner and the outer end. [-]

    Raises
    ------
    RangeError
        If the radius is not above half the width: the inner end would stand still or run backwards.

    Examples
    --------
    A 16.3 m tool on a 25 m radius sows 48 % too much inside and 25 % too little outside:

    >>> inner, outer = turn_dose(25, 16.3)
    >>> round(inner, 2), round(outer, 2)
    (1.48, 0.75)
    """
    _turn(radius_m, width_m)
    if radius_m <= width_m / 2:
        raise RangeError(
            f"{radius_m:g} m", where="radius_m", limit=f"radius_m > {width_m / 2:g}", cure="Lift the openers in a turn as tight as that."
        )
    return 1 / (1 - width_m / (2 * radius_m)), outer_dose(radius_m, width_m)


def _turn(radius_m: float, width_m: float) -> None:
    require_range("radius_m", radius_m, 0, math.inf, low_open=True, high_open=True, unit="m")
    require_range("width_m", width_m, 0, math.inf, low_open=True, high_open=True, unit="m")


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadBalance:
    """How evenly segments feed heads. share: of the product each head gets [-]; row_ratio: dose of a row on each head over the
    mean row [-]; worst: largest over smallest row, less one [-]; when_one_shut: what a sibling gets more when one outlet of its head
    is shut and the segment is not, infinite for a lone outlet [-]; load_kg_s: product through each head's primary, None if the flow
    is not given [kg/s]."""

    share: tuple[float, ...]
    row_ratio: tuple[float, ...]
    worst: float
    when_one_shut: tuple[float, ...]
    load_kg_s: tuple[float, ...] | None = None


def head_balance(outlets: Sequence[int], segments: Sequence[float] | None = None, *, flow_kg_s: float | None = None) -> HeadBalance:
    """Dose of a row on each head, from outlets per head and what each head's meter segment gives.

    Parameters
    ----------
    outlets : sequence of int, shape (heads,)
        Open outlets of each head, at least 1. [-]
    segments : sequence of float or None, shape (heads,)
        What the segment of each head gives, in any unit; None: all the same. [any]
    flow_kg_s : float or None
        Product that all heads get together, to be shared out. [kg/s]

    Returns
    -------
    HeadBalance
        Shares and ratios in the order given. [-]

    Raises
    ------
    RangeError
        If a head has no outlet, a segment gives nothing, or the numbers of both differ.

    References
    ----------
    Definition: share of a head is its segment over all segments; dose of a row is its share over its outlets.

    Examples
    --------
    Heads of 7 and 6 outlets on equal segments: rows differ by 17 %.

    >>> round(head_balance([7, 6]).worst, 3)
    0.167
    """
    if flow_kg_s is not None:
        require_range("flow_kg_s", flow_kg_s, 0, math.inf, high_open=True, unit="kg/s")
    given = [1.0] * len(outlets) if segments is None else [float(s) for s in segments]
    if len(given) != len(outlets) or not outlets:
        raise RangeError(f"{len(outlets)} heads and {len(given)} segments do not pair", where="segments", cure="Give one for each head.")
    faults = [
        Fault(where=f"head {i + 1}", what=f"{n} outlets, segment {s:g}", limit="1 outlet or more, segment above 0", cure="Correct it.")
        for i, (n, s) in enumerate(zip(outlets, given, strict=True))
        if n < 1 or not (s > 0 and math.isfinite(s))
    ]
    if faults:
        raise RangeError(faults)
    total, rows = sum(given), sum(outlets)
    share = tuple(s / total for s in given)
    ratio = tuple(s / n * rows for s, n in zip(share, outlets, strict=True))
    return HeadBalance(
        share=share,
        row_ratio=ratio,
        worst=max(ratio) / min(ratio) - 1,
        when_one_shut=tuple(1 / (n - 1) if n > 1 else math.inf for n in outlets),
        load_kg_s=None if flow_kg_s is None else tuple(s * flow_kg_s for s in share),
    )
