"""Segments and gears: how product per turn changes with what turns, and the width that each set of segments feeds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenstand.base.errors import Fault, RangeError, require_range
from evenstand.base.worked import worked
from evenstand.machine.metering import meter_speed


@worked(
    formula="factor_kg_rev * segments_now / segments_then * gear_now / gear_then",
    source="definition",
    where="each segment gives alike; the gear is roller turns to one turn counted",
)
def rescaled_factor(
    factor_kg_rev: float, segments_then: float, segments_now: float, gear_then: float = 1.0, gear_now: float = 1.0
) -> float:
    """Product per turn counted, after segments were shut or opened or the gear was changed.

    Parameters
    ----------
    factor_kg_rev : float
        Product per turn counted, as it was. [kg/rev]
    segments_then, segments_now : float
        Segments that turned then and turn now. [-]
    gear_then, gear_now : float
        Turns of the roller to one turn counted, then and now. [-]

    Returns
    -------
    float
        Product per turn counted. [kg/rev]

    Raises
    ------
    RangeError
        If an argument is not above 0.

    Examples
    --------
    1.25 kg/turn with 8 segments; one is shut: 1.094.

    >>> round(rescaled_factor(1.25, 8, 7), 3)
    1.094
    """
    for name, value in (
        ("factor_kg_rev", factor_kg_rev), ("segments_then", segments_then), ("segments_now", segments_now), ("gear_then", gear_then),
        ("gear_now", gear_now),
    ):  # fmt: skip
        require_range(name, value, 0.0, math.inf, low_open=True, high_open=True)
    return factor_kg_rev * segments_now / segments_then * gear_now / gear_then


@dataclass(frozen=True, slots=True, kw_only=True)
class SegmentSet:
    """Segments of a meter that feed the same rows. label; segments: how many; rows: openers they feed; shut: segments of these that
    are shut, whose rows get nothing; gear: turns of these segments to one turn counted [-]."""

    label: str
    segments: int
    rows: int
    shut: int = 0
    gear: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SetFeed:
    """What one set of segments feeds. label; rows: openers that get product; width_m: its feeding width [m]; factor_kg_rev: product per
    turn counted from the segments that turn [kg/rev]; share: of all product [-]; dose_ratio: dose of its rows over the mean dose of all
    rows fed [-]; rev_s: turns counted a second that would give it the rate asked by itself, None without rate and speed [rev/s]."""

    label: str
    rows: float
    width_m: float
    factor_kg_rev: float
    share: float
    dose_ratio: float
    rev_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterFeed:
    """A meter with all its sets. sets: in the order given; width_m: the feeding width to type for it [m]; factor_kg_rev: product per turn
    counted to type for it [kg/rev]; worst: largest over smallest dose of the rows fed, less one [-]; rows_without: openers that get
    nothing; rev_s: turns counted a second for the rate asked, None without rate and speed [rev/s]."""

    sets: tuple[SetFeed, ...]
    width_m: float
    factor_kg_rev: float
    worst: float
    rows_without: float
    rev_s: float | None = None


def meter_feed(
    sets: Sequence[SegmentSet],
    factor_kg_rev: float,
    row_spacing_m: float,
    *,
    rate_kg_ha: float | None = None,
    speed_m_s: float | None = None,
) -> MeterFeed:
    """Feeding width and product per turn of a meter and of each of its sets of segments.

    Parameters
    ----------
    sets : sequence of SegmentSet
        All sets on the shaft. [-]
    factor_kg_rev : float
        Product per turn counted with every segment open and every gear at 1. [kg/rev]
    row_spacing_m : float
        Between openers. [m]
    rate_kg_ha : float or None
        Rate asked. [kg/ha]
    speed_m_s : float or None
        Ground speed. [m/s]

    Returns
    -------
    MeterFeed
        For the shaft and for each set. [units in the field names]

    Raises
    ------
    RangeError
        If a set has no segment or no row, more segments are shut than there are, all are shut, or a value is not above 0.

    Examples
    --------
    Heads of 7 and 6 openers on one segment each: the sixes get 17 % more a row.

    >>> m = meter_feed([SegmentSet(label="A", segments=1, rows=7), SegmentSet(label="B", segments=1, rows=6)], 0.4, 0.305)
    >>> round(m.worst, 3), round(m.sets[0].width_m, 3)
    (0.167, 2.135)
    """
    require_range("factor_kg_rev", factor_kg_rev, 0.0, math.inf, low_open=True, high_open=True, unit="kg/rev")
    require_range("row_spacing_m", row_spacing_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
    _check(sets)
    one = factor_kg_rev / sum(s.segments for s in sets)
    live = [s.segments - s.shut for s in sets]
    factors = [one * n * s.gear for n, s in zip(live, sets, strict=True)]
    rows = [s.rows * n / s.segments for n, s in zip(live, sets, strict=True)]
    total, fed = math.fsum(factors), math.fsum(rows)
    mean = total / fed
    dose = [f / r / mean if r else 0.0 for f, r in zip(factors, rows, strict=True)]
    heard = [d for d, r in zip(dose, rows, strict=True) if r]

    def turns(width: float, factor: float) -> float | None:
        return None if rate_kg_ha is None or speed_m_s is None or not width else meter_speed(rate_kg_ha, speed_m_s, width, factor)

    return MeterFeed(
        sets=tuple(
            SetFeed(
                label=s.label, rows=r, width_m=r * row_spacing_m, factor_kg_rev=f, share=f / total, dose_ratio=d,
                rev_s=turns(r * row_spacing_m, f),
            )
            for s, r, f, d in zip(sets, rows, factors, dose, strict=True)
        ),
        width_m=fed * row_spacing_m,
        factor_kg_rev=total,
        worst=max(heard) / min(heard) - 1,
        rows_without=sum(s.rows for s in sets) - fed,
        rev_s=turns(fed * row_spacing_m, total),
    )  # fmt: skip


def _check(sets: Sequence[SegmentSet]) -> None:
    faults = [
        Fault(where=f"segments {s.label}", what=f"{s.segments} segments, {s.shut} shut, {s.rows} rows, gear {s.gear:g}",
              limit="1 or more segments and rows, 0 <= shut <= segments, gear above 0", cure="Correct it.")
        for s in sets
        if s.segments < 1 or s.rows < 1 or not 0 <= s.shut <= s.segments or not (s.gear > 0 and math.isfinite(s.gear))
    ]  # fmt: skip
    if not faults and all(s.shut == s.segments for s in sets):
        faults = [Fault(where="sets", what="every segment is shut", limit="one open", cure="Open a segment.")]
    if faults:
        raise RangeError(faults)
