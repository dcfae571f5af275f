"""Runs that are shut, for tramlines or by a fault: what their siblings get, and what that is on a hectare."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenstand.base.errors import Fault, RangeError, require_range
from evenstand.base.worked import worked


@worked(formula="(1 - segment_off) * outlets / (outlets - shut)", source="definition")
def sibling_dose(outlets: int, shut: int, segment_off: float = 0.0) -> float:
    """Dose of the open runs of a head over the dose asked, when some of its runs are shut.

    Parameters
    ----------
    outlets : int
        Outlets of the head. [-]
    shut : int
        Of these, shut. [-]
    segment_off : float
        Share of the head's meter segment that is shut as well: shut / outlets keeps the siblings right. [-]

    Returns
    -------
    float
        Ratio; with one of n shut and the segment turning, n / (n - 1). [-]

    Raises
    ------
    RangeError
        If no outlet is left open, or a share is outside 0 to 1.

    Examples
    --------
    One of eight shut: the other seven get a seventh more.

    >>> round(sibling_dose(8, 1) - 1, 3)
    0.143
    """
    require_range("outlets", outlets, 1)
    require_range("shut", shut, 0, outlets, high_open=True)
    require_range("segment_off", segment_off, 0.0, 1.0)
    return (1 - segment_off) * outlets / (outlets - shut)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShutRuns:
    """What shut runs do to the rest.

    rows_shut: rows without product; rows_changed: open rows whose dose differs from the one asked; row_ratio: dose of an open row of
    each head over the dose asked, 0 where none is open [-]; shut_share: of the ground [-]; changed_share: of the ground [-]; put_ratio:
    product put down over what it was with all open [-]; shut_ha, changed_ha: on the area given [ha]; extra_kg: what the siblings get
    too much [kg], None without rate and area; missed_kg: what the shut rows do not get [kg]; spread_kg_ha: dose of an open row of each
    head [kg/ha], None without a rate.
    """

    rows_shut: int
    rows_changed: int
    row_ratio: tuple[float, ...]
    shut_share: float
    changed_share: float
    put_ratio: float
    shut_ha: float | None = None
    changed_ha: float | None = None
    extra_kg: float | None = None
    missed_kg: float | None = None
    spread_kg_ha: tuple[float, ...] | None = None


def shut_runs(
    outlets: Sequence[int],
    shut: Sequence[int],
    *,
    segment_off: Sequence[float] | None = None,
    rate_kg_ha: float | None = None,
    area_ha: float | None = None,
    every_passes: int = 1,
) -> ShutRuns:
    """What shut runs do to their siblings, and what that is on the ground.

    The meter keeps dropping: what a shut run does not take goes to its siblings on the head, unless the segment is shut as well.

    Parameters
    ----------
    outlets : sequence of int, shape (heads,)
        Outlets of each head. [-]
    shut : sequence of int, shape (heads,)
        Of these, shut. [-]
    segment_off : sequence of float or None, shape (heads,)
        Share of each head's meter segment that is shut as well. [-]
    rate_kg_ha : float or None
        Rate asked. [kg/ha]
    area_ha : float or None
        Ground driven. [ha]
    every_passes : int
        The runs are shut on one pass in so many: tramlines. [-]

    Returns
    -------
    ShutRuns
        Rows, shares and kilograms. [units in the field names]

    Raises
    ------
    RangeError
        If the numbers of heads differ, or a value is outside its range.

    Examples
    --------
    Two runs shut for a tramline on one pass in three, on two of eight heads of eight:

    >>> s = shut_runs([8] * 8, [1, 1, 0, 0, 0, 0, 0, 0], rate_kg_ha=120, area_ha=60, every_passes=3)
    >>> s.rows_shut, s.rows_changed, round(s.row_ratio[0], 3), round(s.shut_ha, 3)
    (2, 14, 1.143, 0.625)
    """
    off = [0.0] * len(outlets) if segment_off is None else [float(s) for s in segment_off]
    _check(outlets, shut, off)
    require_range("every_passes", every_passes, 1)
    if rate_kg_ha is not None:
        require_range("rate_kg_ha", rate_kg_ha, 0.0, math.inf, high_open=True, unit="kg/ha")
    if area_ha is not None:
        require_range("area_ha", area_ha, 0.0, math.inf, high_open=True, unit="ha")
    rows = sum(outlets)
    ratio = tuple(sibling_dose(n, k, s) if k < n else 0.0 for n, k, s in zip(outlets, shut, off, strict=True))
    open_rows = [n - k for n, k in zip(outlets, shut, strict=True)]
    dark = sum(n if s == 1 else k for n, k, s in zip(outlets, shut, off, strict=True))
    changed = sum(o for o, r in zip(open_rows, ratio, strict=True) if o and r > 0 and not math.isclose(r, 1.0, rel_tol=1e-9))
    shut_share, changed_share = dark / rows / every_passes, changed / rows / every_passes
    put = math.fsum(o * r for o, r in zip(open_rows, ratio, strict=True)) / rows
    more = math.fsum(o * max(r - 1, 0.0) for o, r in zip(open_rows, ratio, strict=True)) / rows / every_passes
    mass = None if rate_kg_ha is None or area_ha is None else rate_kg_ha * area_ha
    return ShutRuns(
        rows_shut=dark,
        rows_changed=changed,
        row_ratio=ratio,
        shut_share=shut_share,
        changed_share=changed_share,
        put_ratio=1 - (1 - put) / every_passes,
        shut_ha=None if area_ha is None else area_ha * shut_share,
        changed_ha=None if area_ha is None else area_ha * changed_share,
        extra_kg=None if mass is None else mass * more,
        missed_kg=None if mass is None else mass * shut_share,
        spread_kg_ha=None if rate_kg_ha is None else tuple(rate_kg_ha * r for r in ratio),
    )


def _check(outlets: Sequence[int], shut: Sequence[int], off: Sequence[float]) -> None:
    if not outlets or not len(outlets) == len(shut) == len(off):
        raise RangeError(
            f"{len(outlets)} heads, {len(shut)} shut, {len(off)} segments do not pair", where="shut", cure="Give one for each head."
        )
    faults = [
        Fault(where=f"head {i + 1}", what=f"{n} outlets, {k} shut, segment {s:g} off", limit="0 <= shut <= outlets, 0 <= off <= 1",
              cure="Correct it.")
        for i, (n, k, s) in enumerate(zip(outlets, shut, off, strict=True))
        if n < 1 or not 0 <= k <= n or not 0 <= s <= 1
    ]  # fmt: skip
    faults += [
        Fault(where=f"head {i + 1}", what=f"all {n} outlets are shut and its segment turns", limit="the product has to go somewhere",
              cure="Shut the segment too, or leave one outlet open.")
        for i, (n, k, s) in enumerate(zip(outlets, shut, off, strict=True))
        if n == k and s < 1
    ]  # fmt: skip
    if faults:
        raise RangeError(faults)


@worked(formula="rows * row_spacing_m * length_m / 10000", source="definition")
def row_area(rows: float, row_spacing_m: float, length_m: float) -> float:
    """Ground of some rows over a distance.

    Parameters
    ----------
    rows : float
        Rows. [-]
    row_spacing_m : float
        Between rows. [m]
    length_m : float
        Distance driven. [m]

    Returns
    -------
    float
        Area: one 254 mm row over 800 m is 0.02 ha. [ha]

    Raises
    ------
    RangeError
        If an argument is negative.

    Examples
    --------
    >>> round(row_area(1, 0.254, 800), 3)
    0.02
    """
    for name, value in (("rows", rows), ("row_spacing_m", row_spacing_m), ("length_m", length_m)):
        require_range(name, value, 0.0, math.inf, high_open=True)
    return rows * row_spacing_m * length_m / 1e4
