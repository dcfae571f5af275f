"""Draft and power of drawing a tool, from published tables and forms with how well each was read."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from evenstand.base.errors import MissingError, RangeError, require_range
from evenstand.base.units import FOOT_M, LB_KG
from evenstand.base.worked import worked
from evenstand.reference import figure, figures, table

Drive = Literal["two-wheel", "front-assist", "four-wheel", "tracks"]
DRIVES: tuple[Drive, ...] = ("two-wheel", "front-assist", "four-wheel", "tracks")
Surface = Literal["concrete", "firm", "tilled", "soft"]
Soil = Literal["fine", "medium", "coarse"]
STANDARD_GRAVITY = 9.80665
"""By definition. [m/s²]"""
HORSEPOWER_KW = 550 * FOOT_M * LB_KG * STANDARD_GRAVITY / 1000
"""550 ft lbf/s, by definition. [kW]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """Pull of an implement from a published table. force_n, low_n, high_n: with the printed range [N]; per: what is counted; source;
    seen; note."""

    force_n: float
    low_n: float
    high_n: float
    per: str
    source: str
    seen: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftRatio:
    """How the draft of a direct-seeding opener changes against a measured one. ratio: middle of low and high; low, high: shares per
    km/h and cm added up, or compounded: the source does not say which [-]; source; seen."""

    ratio: float
    low: float
    high: float
    source: str
    seen: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerNeed:
    """Power from the hitch back to the engine.

    drawbar_kw: pull times speed [kW]; pto_kw: at the PTO for that, with what fan and pumps take [kW]; engine_kw: at the flywheel [kW];
    load: pto_kw over the rated PTO power, None without it; above 1 the tractor cannot do it [-]; drawbar_share: drawbar over PTO power
    [-]; best_slip_low, best_slip_high: on that surface [-]; source; seen.
    """

    drawbar_kw: float
    pto_kw: float
    engine_kw: float
    load: float | None
    drawbar_share: float
    best_slip_low: float
    best_slip_high: float
    source: str
    seen: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerFigure:
    """A published power for comparison. key; low_kw, high_kw: for the width or rows given [kW]; where; source; seen."""

    key: str
    low_kw: float
    high_kw: float
    where: str
    source: str
    seen: str


@worked(
    formula="soil_factor * (a_n + b_n * (speed_m_s * 3.6) + c_n * (speed_m_s * 3.6)**2) * count * depth_cm",
    source="d497-textbook-problem",
    where="D = F (A + B S + C S²) W T",
)
def draft_force(
    soil_factor: float, a_n: float, speed_m_s: float, count: float, *, b_n: float = 0.0, c_n: float = 0.0, depth_cm: float = 1.0
) -> float:
    """Draft of an implement by the form of ASABE D497.

    Parameters
    ----------
    soil_factor : float
        Dimensionless factor of the soil. [-]
    a_n : float
        Constant part, per row, tool or metre, and per centimetre where depth counts. [N]
    speed_m_s : float
        Ground speed; the form counts km/h. [m/s]
    count : float
        Rows, tools or metres of width. [-]
    b_n : float
        Part per km/h. [N/(km/h)]
    c_n : float
        Part per (km/h)². [N/(km/h)²]
    depth_cm : float
        Depth; 1 for drills and planters, whose figures hold it already. [cm]

    Returns
    -------
    float
        Draft. [N]

    Raises
    ------
    RangeError
        If an argument is below 0.

    Examples
    --------
    A chisel plough at 10 km/h, printed as 68 512.5 N:

    >>> round(draft_force(0.7, 91, 10 / 3.6, 45, b_n=5.4, depth_cm=15), 1)
    68512.5
    """
    named = {"soil_factor": soil_factor, "a_n": a_n, "speed_m_s": speed_m_s, "count": count, "b_n": b_n, "c_n": c_n, "depth_cm": depth_cm}
    for name, value in named.items():
        require_range(name, value, 0, math.inf, high_open=True)
    speed = speed_m_s * 3.6
    return soil_factor * (a_n + b_n * speed + c_n * speed**2) * count * depth_cm


def implement_draft(implement: str, count: float, speed_m_s: float, *, soil: Soil = "medium", depth_m: float | None = None) -> Draft:
    """Draft from the published table: drills and planters per row, cultivators per tool and depth.

    Parameters
    ----------
    implement : str
        Key of the table, such as "drill-wide". [-]
    count : float
        Rows or tools. [-]
    speed_m_s : float
        Ground speed. [m/s]
    soil : str
        "fine", "medium" or "coarse" texture. [-]
    depth_m : float or None
        Working depth; needed where the figure is per centimetre. [m]

    Returns
    -------
    Draft
        Force with its printed range. [N]

    Raises
    ------
    MissingError
        If the table has no such implement (air-seeder, hoe and no-till drill rows were not read), or a depth is needed.
    RangeError
        If a number or the soil is out of range.
    """
    known = [key for key, entry in table("machines")["draft"].items() if not isinstance(entry, str)]
    if implement not in known:
        raise MissingError(
            f"no draft of '{implement}' was read", where="implement", limit=", ".join(known), cure="Measure the pull, then scale it."
        )
    if soil not in ("fine", "medium", "coarse"):
        raise RangeError(f"'{soil}' is no texture", where="soil", limit="fine, medium, coarse", cure="Choose one.")
    entry = table("machines")["draft"][implement]
    per_depth = "cm" in entry["per"]
    if per_depth and depth_m is None:
        raise MissingError("this draft is per centimetre of depth", where="depth_m", cure="Measure the depth.")
    a = figure("machines", "draft", implement, "a")
    b = figures("machines", "draft", implement, "b")
    force = draft_force(
        figure("machines", "draft", implement, soil).value,
        a.value,
        speed_m_s,
        count,
        b_n=b[0].value if b else 0.0,
        depth_cm=100 * depth_m if per_depth and depth_m is not None else 1.0,
    )
    spread = figure("machines", "draft", implement, "range").value
    return Draft(
        force_n=force,
        low_n=force * (1 - spread),
        high_n=force * (1 + spread),
        per=entry["per"],
        source=a.source,
        seen=a.seen,
        note=f"{entry['name']}: the table gives it within {spread:.0%}, without the cart.",
    )


def opener_draft_ratio(
    *, speed_change_m_s: float = 0.0, depth_change_m: float = 0.0, soil: Literal["same", "to-heavy-clay", "to-sandy-loam"] = "same"
) -> DraftRatio:
    """Draft of direct-seeding openers over a measured draft, after a change of speed, depth or soil.

    Parameters
    ----------
    speed_change_m_s : float
        New speed less the measured one's. [m/s]
    depth_change_m : float
        New depth less the measured one's. [m]
    soil : str
        "same", or from sandy loam "to-heavy-clay", or back "to-sandy-loam". [-]

    Returns
    -------
    DraftRatio
        Ratio with both readings of the source. [-]

    Raises
    ------
    RangeError
        If the change is so large that the shares would add up to nothing, or the soil is unknown.

    References
    ----------
    Collins and Fowler 1995, abstract: +4 % per km/h, about +20 % per cm, heavy clay +24 % over sandy loam.
    """
    speed, depth, clay = (figure("machines", "openers", key) for key in ("per-km-h", "per-cm", "heavy-clay"))
    if soil not in ("same", "to-heavy-clay", "to-sandy-loam"):
        raise RangeError(f"'{soil}' is no change", where="soil", limit="same, to-heavy-clay, to-sandy-loam", cure="Choose one.")
    by_soil = {"same": 1.0, "to-heavy-clay": 1 + clay.value, "to-sandy-loam": 1 / (1 + clay.value)}[soil]
    kmh, cm = speed_change_m_s * 3.6, depth_change_m * 100
    linear = (1 + speed.value * kmh) * (1 + depth.value * cm)
    require_range("speed_change_m_s", 1 + speed.value * kmh, 0, math.inf, low_open=True, high_open=True)
    require_range("depth_change_m", 1 + depth.value * cm, 0, math.inf, low_open=True, high_open=True)
    compound = (1 + speed.value) ** kmh * (1 + depth.value) ** cm
    low, high = sorted((linear * by_soil, compound * by_soil))
    return DraftRatio(ratio=(low + high) / 2, low=low, high=high, source=speed.source, seen=speed.seen)


@worked(formula="force_n * speed_m_s / 1000", source="drawbar-lecture", where="kW = kN km/h / 3.6")
def drawbar_power(force_n: float, speed_m_s: float) -> float:
    """Power at the hitch.

    Parameters
    ----------
    force_n : float
        Pull, tool and cart together. [N]
    speed_m_s : float
        Ground speed. [m/s]

    Returns
    -------
    float
        Power. [kW]

    Raises
    ------
    RangeError
        If an argument is below 0.

    Examples
    --------
    68 512.5 N at 10 km/h is 190.3 kW, not the 113 kW that a textbook prints:

    >>> round(drawbar_power(68512.5, 10 / 3.6), 1)
    190.3
    """
    require_range("force_n", force_n, 0, math.inf, high_open=True, unit="N")
    require_range("speed_m_s", speed_m_s, 0, math.inf, high_open=True, unit="m/s")
    return force_n * speed_m_s / 1000


def power_need(
    force_n: float,
    speed_m_s: float,
    *,
    drive: Drive,
    surface: Surface,
    other_pto_kw: float = 0.0,
    rated_pto_kw: float | None = None,
) -> PowerNeed:
    """Power an engine must have for a pull on a surface.

    Parameters
    ----------
    force_n : float
        Pull, tool and cart together. [N]
    speed_m_s : float
        Ground speed. [m/s]
    drive : str
        "two-wheel", "front-assist", "four-wheel" or "tracks". [-]
    surface : str
        "concrete", "firm", "tilled" or "soft". [-]
    other_pto_kw : float
        What fan and pumps take, counted at the PTO. [kW]
    rated_pto_kw : float or None
        Rated PTO power, for the load. [kW]

    Returns
    -------
    PowerNeed
        Drawbar, PTO and engine power. [kW]

    Raises
    ------
    RangeError
        If a number, drive or surface is out of range.
    """
    share = drawbar_share(drive, surface)
    require_range("other_pto_kw", other_pto_kw, 0, math.inf, high_open=True, unit="kW")
    if rated_pto_kw is not None:
        require_range("rated_pto_kw", rated_pto_kw, 0, math.inf, low_open=True, high_open=True, unit="kW")
    drawbar = drawbar_power(force_n, speed_m_s)
    pto = drawbar / share + other_pto_kw
    slip = figure("machines", "power", "best-slip", surface)
    of_engine = figure("machines", "power", "pto-of-engine")
    return PowerNeed(
        drawbar_kw=drawbar,
        pto_kw=pto,
        engine_kw=pto / of_engine.value,
        load=None if rated_pto_kw is None else pto / rated_pto_kw,
        drawbar_share=share,
        best_slip_low=slip.low,
        best_slip_high=slip.high,
        source=of_engine.source,
        seen=of_engine.seen,
    )


def drawbar_share(drive: Drive, surface: Surface) -> float:
    """Drawbar power over PTO power, from the published table.

    Working: a figure that is looked up.

    Parameters
    ----------
    drive : str
        "two-wheel", "front-assist", "four-wheel" or "tracks". [-]
    surface : str
        "concrete", "firm", "tilled" or "soft". [-]

    Returns
    -------
    float
        Ratio. [-]

    Raises
    ------
    RangeError
        If the table has no such drive or surface.

    References
    ----------
    arizona-machinery: table of drawbar over PTO power by drive and surface.
    """
    found = figures("machines", "power", drive, surface) if drive in DRIVES else ()
    if not found:
        limit = "two-wheel, front-assist, four-wheel, tracks; concrete, firm, tilled, soft"
        raise RangeError(f"no figure for '{drive}' on '{surface}'", where="drive, surface", limit=limit, cure="Choose from these.")
    return found[0].value


def published_power(*, width_m: float | None = None, rows: int | None = None) -> tuple[PowerFigure, ...]:
    """Published power of like work, to hold a computed need beside; guidance of other machines, never a limit.

    Parameters
    ----------
    width_m : float or None
        Working width; without it figures per width are left out. [m]
    rows : int or None
        Openers; without it figures per row are left out. [-]

    Returns
    -------
    tuple of PowerFigure
        Each with its source. [kW]

    Raises
    ------
    RangeError
        If the width or the rows are not above 0.
    """
    for name, value in (("width_m", width_m), ("rows", rows)):
        if value is not None:
            require_range(name, value, 0, math.inf, low_open=True, high_open=True)
    scales = {
        "tillage-width": width_m,
        "zero-till-row": rows,
        "ammonia-applicator": None if width_m is None else width_m / FOOT_M * HORSEPOWER_KW,
        "cart": HORSEPOWER_KW,
    }
    found = [(key, figure("machines", "power-compare", key), scale) for key, scale in scales.items() if scale is not None]
    return tuple(
        PowerFigure(key=key, low_kw=f.low * scale, high_kw=f.high * scale, where=f.where, source=f.source, seen=f.seen)
        for key, f, scale in found
    )
