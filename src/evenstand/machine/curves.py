"""Dose across the tool on a curve with the openers in the ground: every row, the whole turn, kilograms moved from outside to inside."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import RangeError, require_range
from evenstand.base.worked import worked


@worked(
    formula="rate_kg_ha * angle_rad * width_m ** 2 / 8 / 10000",
    source="definition",
    where="integral of (distance from the middle) x angle over half the width; the radius drops out",
)
def turn_shift(rate_kg_ha: float, width_m: float, angle_rad: float) -> float:
    """Product that a turn puts on the inner half of the tool's ground and that is missing on the outer half.

    Parameters
    ----------
    rate_kg_ha : float
        Rate asked. [kg/ha]
    width_m : float
        Working width. [m]
    angle_rad : float
        Angle turned through with the openers down; pi is a half circle. [rad]

    Returns
    -------
    float
        Mass, the same for every radius above half the width. [kg]

    Raises
    ------
    RangeError
        If an argument is negative.
    """
    for name, value in (("rate_kg_ha", rate_kg_ha), ("width_m", width_m), ("angle_rad", angle_rad)):
        require_range(name, value, 0.0, math.inf, high_open=True)
    return rate_kg_ha * angle_rad * width_m**2 / 8 / 1e4


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnProfile:
    """Dose of every row in a turn.

    offset_m: rows across the tool from its middle, outer side positive [m]; dose_ratio: dose over the dose asked, in the same order [-];
    inner, outer: of the first and last row [-]; outside_rows: rows further off than the band; outside_share: of all rows [-];
    mean_ground: mean dose over the ground covered, 1 where the speed is taken at the middle [-]; mean_rows: plain mean of the rows, above
    1 [-]; area_ha: ground covered in the turn [ha]; put_kg: product put down on it [kg]; too_much_kg, too_little_kg: against the rate
    asked, row by row [kg]; the masses and the area are None without rate or angle.
    """

    offset_m: npt.NDArray[np.float64]
    dose_ratio: npt.NDArray[np.float64]
    inner: float
    outer: float
    outside_rows: int
    outside_share: float
    mean_ground: float
    mean_rows: float
    area_ha: float
    put_kg: float | None = None
    too_much_kg: float | None = None
    too_little_kg: float | None = None


def turn_profile(
    radius_m: float,
    row_spacing_m: float,
    rows: int | None = None,
    *,
    offsets_m: Sequence[float] | npt.NDArray[np.float64] | None = None,
    band: float = 0.1,
    angle_rad: float = math.pi,
    rate_kg_ha: float | None = None,
    sensor_offset_m: float = 0.0,
) -> TurnProfile:
    """Dose of every row of the tool in a turn with the openers down.

    Every row gets the same product each second, but the outer rows travel further: a row `y` metres outside the middle gets
    R / (R + y) of the dose.

    Parameters
    ----------
    radius_m : float
        Radius the middle of the tool follows. [m]
    row_spacing_m : float
        Between rows. [m]
    rows : int or None
        Number of rows, evenly spaced about the middle; None with `offsets_m`. [-]
    offsets_m : array_like of float, shape (rows,), or None
        Rows across the tool from its middle, outer side of the turn positive. [m]
    band : float
        How far from 1 a row may be before it counts as outside. [-]
    angle_rad : float
        Angle turned through with the openers down; pi is a half circle. [rad]
    rate_kg_ha : float or None
        Rate asked, for the masses. [kg/ha]
    sensor_offset_m : float
        Where across the tool the speed is taken, outer side positive; a wheel on one side sees another speed. [m]

    Returns
    -------
    TurnProfile
        Row by row and summed over the turn. [units in the field names]

    Raises
    ------
    RangeError
        If a row or the speed sensor would stand still or run backwards, or an argument is outside its range.

    References
    ----------
    Definition: length of a row in a turn is (radius + offset) x angle; dose is product over length.

    Examples
    --------
    64 rows of 254 mm on a 25 m radius: the outermost gets 25 % too little, the innermost 47 % too much.

    >>> p = turn_profile(25, 0.254, 64, rate_kg_ha=121)
    >>> round(p.inner, 2), round(p.outer, 2), round(p.mean_ground, 6), p.outside_rows
    (1.47, 0.76, 1.0, 44)
    """
    require_range("radius_m", radius_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
    require_range("row_spacing_m", row_spacing_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
    require_range("band", band, 0.0, 1.0)
    require_range("angle_rad", angle_rad, 0.0, math.inf, high_open=True, unit="rad")
    if rate_kg_ha is not None:
        require_range("rate_kg_ha", rate_kg_ha, 0.0, math.inf, high_open=True, unit="kg/ha")
    across = _rows(row_spacing_m, rows, offsets_m)
    reach = radius_m + across
    if reach[0] <= row_spacing_m / 2 or radius_m + sensor_offset_m <= 0:
        least = -float(min(across[0] - row_spacing_m / 2, sensor_offset_m))
        raise RangeError(
            f"{radius_m:g} m", where="radius_m", limit=f"radius_m > {least:g}", cure="Lift the openers in a turn as tight as that."
        )
    dose = (radius_m + sensor_offset_m) / reach
    ground = reach * angle_rad * row_spacing_m / 1e4
    off = np.abs(dose - 1) > band
    masses: tuple[float | None, float | None, float | None] = (None, None, None)
    if rate_kg_ha is not None:
        error = rate_kg_ha * (dose - 1) * ground
        masses = (float((rate_kg_ha * dose * ground).sum()), float(error[error > 0].sum()), float(-error[error < 0].sum()))
    across.flags.writeable = dose.flags.writeable = False
    return TurnProfile(
        offset_m=across,
        dose_ratio=dose,
        inner=float(dose[0]),
        outer=float(dose[-1]),
        outside_rows=int(off.sum()),
        outside_share=float(off.mean()),
        mean_ground=float((dose * reach).sum() / reach.sum()),
        mean_rows=float(dose.mean()),
        area_ha=float(ground.sum()),
        put_kg=masses[0],
        too_much_kg=masses[1],
        too_little_kg=masses[2],
    )


def _rows(row_spacing_m: float, rows: int | None, offsets_m: Sequence[float] | npt.NDArray[np.float64] | None) -> npt.NDArray[np.float64]:
    """Rows across the tool, inner side first. [m]"""
    if (rows is None) == (offsets_m is None):
        raise RangeError("rows and offsets_m", where="rows", limit="one of the two", cure="Give the number of rows, or each row's place.")
    if rows is not None:
        require_range("rows", rows, 1)
        return np.asarray((np.arange(rows) - (rows - 1) / 2) * row_spacing_m, dtype=np.float64)
    across = np.sort(np.asarray(offsets_m, dtype=np.float64))
    if across.ndim != 1 or across.size == 0 or not np.isfinite(across).all():
        raise RangeError("the rows' places are no list of numbers", where="offsets_m", cure="Give one number for each row.")
    return across


@worked(formula="width_m / 2 * (1 + 1 / band)", source="definition", where="radius / (radius - width / 2) = 1 + band")
def tightest_radius(width_m: float, band: float) -> float:
    """Tightest turn in which every opener stays inside a band of the dose.

    Parameters
    ----------
    width_m : float
        Working width. [m]
    band : float
        How far from 1 the inner end may be, 0.1 for 10 %. [-]

    Returns
    -------
    float
        Radius of the tool's middle; the inner end is the one that limits. [m]

    Raises
    ------
    RangeError
        If width or band is not above 0.

    Examples
    --------
    16.256 m within 10 %: 89 m; tighter, and the inner openers sow more than that.

    >>> round(tightest_radius(16.256, 0.10))
    89
    """
    require_range("width_m", width_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
    require_range("band", band, 0.0, math.inf, low_open=True, high_open=True)
    return width_m / 2 * (1 + 1 / band)
