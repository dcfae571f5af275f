"""Three widths: taped, typed for the rate, typed for guidance; and what each pair that differs does."""

from __future__ import annotations

import math
from dataclasses import dataclass

from evenstand.base.errors import require_range
from evenstand.base.worked import worked


@worked(formula="true_m - guidance_m", source="definition", where="lines are a guidance width apart, strips a true width wide")
def pass_overlap(true_m: float, guidance_m: float) -> float:
    """Ground sown twice beside each pass, negative for a strip left out.

    Parameters
    ----------
    true_m : float
        Width the openers cover: rows times spacing. [m]
    guidance_m : float
        Width typed for guidance, from line to line. [m]

    Returns
    -------
    float
        Overlap (+) or skip (-) at each joint. [m]

    Raises
    ------
    RangeError
        If a width is not above 0.
    """
    require_range("true_m", true_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
    require_range("guidance_m", guidance_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
    return true_m - guidance_m


@dataclass(frozen=True, slots=True, kw_only=True)
class WidthPair:
    """Two of the three widths. pair: "rate-true", "guidance-true", "rate-guidance"; difference_m: first less second [m]; ratio: first
    over second [-]; does: what the difference does, in a sentence."""

    pair: str
    difference_m: float
    ratio: float
    does: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ThreeWidths:
    """What three widths do together.

    pairs: those of which both are known; dose_ratio: true dose of a pass / asked [-]; field_ratio: product per hectare of field / asked,
    overlap counted [-]; counter_ratio: hectares shown / field hectares, joints counted [-]; overlap_m: sown twice beside each pass [m];
    skip_m: left out beside each pass [m]; twice_ha, skipped_ha: on the area given [ha]; extra_kg: product too much (+) or too little
    (-) on it [kg]; rows_off: true width against guidance, in rows [-]. None where a width, the area or the rate is not known.
    """

    pairs: tuple[WidthPair, ...]
    dose_ratio: float | None
    field_ratio: float | None
    counter_ratio: float | None
    overlap_m: float | None
    skip_m: float | None
    twice_ha: float | None
    skipped_ha: float | None
    extra_kg: float | None
    rows_off: float | None


def three_widths(
    *,
    true_m: float | None = None,
    rate_m: float | None = None,
    guidance_m: float | None = None,
    area_ha: float | None = None,
    rate_kg_ha: float | None = None,
    row_spacing_m: float | None = None,
) -> ThreeWidths:
    """What differences between the three widths do to dose, counter and joints.

    Parameters
    ----------
    true_m : float or None
        Width the openers cover: rows times spacing, or taped. [m]
    rate_m : float or None
        Width typed for the rate. [m]
    guidance_m : float or None
        Width typed for guidance. [m]
    area_ha : float or None
        Field area in parallel passes. [ha]
    rate_kg_ha : float or None
        Rate asked. [kg/ha]
    row_spacing_m : float or None
        Between rows. [m]

    Returns
    -------
    ThreeWidths
        Each pair with a sentence, and the sums. [units in the field names]

    Raises
    ------
    RangeError
        If a width, the area, the rate or the spacing is not above 0.

    Examples
    --------
    16.256 m of rows, 16.00 typed for the rate, 16.15 m for guidance: 1.6 % light, 0.106 m sown twice at each joint.

    >>> w = three_widths(true_m=16.256, rate_m=16.0, guidance_m=16.15, area_ha=62, rate_kg_ha=121)
    >>> round(w.dose_ratio - 1, 3), round(w.overlap_m, 3), round(w.twice_ha, 2), round(w.counter_ratio, 3)
    (-0.016, 0.106, 0.41, 0.991)
    """
    for name, value in (
        ("true_m", true_m), ("rate_m", rate_m), ("guidance_m", guidance_m), ("area_ha", area_ha), ("rate_kg_ha", rate_kg_ha),
        ("row_spacing_m", row_spacing_m),
    ):  # fmt: skip
        if value is not None:
            require_range(name, value, 0.0, math.inf, low_open=True, high_open=True)
    joint = None if true_m is None or guidance_m is None else pass_overlap(true_m, guidance_m)
    dose = None if true_m is None or rate_m is None else rate_m / true_m
    # Each pass puts dose x true width on a strip one guidance width wide: per hectare of field only rate and guidance count.
    field = None if rate_m is None or guidance_m is None else rate_m / guidance_m
    share = None if joint is None or guidance_m is None else joint / guidance_m
    extra = None if field is None or area_ha is None or rate_kg_ha is None else (field - 1) * area_ha * rate_kg_ha
    return ThreeWidths(
        pairs=_pairs(true_m, rate_m, guidance_m),
        dose_ratio=dose,
        field_ratio=field,
        counter_ratio=field,
        overlap_m=None if joint is None else max(joint, 0.0),
        skip_m=None if joint is None else max(-joint, 0.0),
        twice_ha=None if share is None or area_ha is None else max(share, 0.0) * area_ha,
        skipped_ha=None if share is None or area_ha is None else max(-share, 0.0) * area_ha,
        extra_kg=extra,
        rows_off=None if joint is None or row_spacing_m is None else joint / row_spacing_m,
    )


def _pairs(true_m: float | None, rate_m: float | None, guidance_m: float | None) -> tuple[WidthPair, ...]:
    found = []
    if rate_m is not None and true_m is not None:
        found.append(_pair("rate-true", rate_m, true_m, "every pass is sown {:.1%} too {}.", ("thick", "thin")))
    if guidance_m is not None and true_m is not None:
        found.append(_pair("guidance-true", guidance_m, true_m, "{:.1%} of a width is {} beside each pass.", ("left out", "sown twice")))
    if rate_m is not None and guidance_m is not None:
        found.append(
            _pair("rate-guidance", rate_m, guidance_m, "the hectare counter reads {:.1%} {} after a field of full passes.", ("high", "low"))
        )
    return tuple(found)


def _pair(name: str, first: float, second: float, text: str, words: tuple[str, str]) -> WidthPair:
    ratio = first / second
    if math.isclose(ratio, 1.0, rel_tol=5e-5):
        does = "The two agree."
    else:
        does = text.format(abs(ratio - 1), words[0] if ratio > 1 else words[1])
        does = does[0].upper() + does[1:]
    return WidthPair(pair=name, difference_m=first - second, ratio=ratio, does=does)
