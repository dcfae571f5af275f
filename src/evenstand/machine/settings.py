"""What a wrong typed value does: dose, kilograms, hectares on the counter, what the display then says, and money."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import RangeError, require_range
from evenstand.base.worked import worked

Drive = Literal["motor", "ground"]


@worked(
    formula="(true_factor_kg_rev / typed_factor_kg_rev) * (typed_width_m / true_width_m) * distance_ratio",
    source="definition",
)
def dose_ratio(
    *,
    typed_factor_kg_rev: float = 1.0,
    true_factor_kg_rev: float = 1.0,
    typed_width_m: float = 1.0,
    true_width_m: float = 1.0,
    distance_ratio: float = 1.0,
) -> float:
    """True dose over the dose asked for, when typed values and true values differ.

    Parameters
    ----------
    typed_factor_kg_rev, true_factor_kg_rev : float
        Product per turn as typed and as it is. [kg/rev]
    typed_width_m, true_width_m : float
        Width as typed for the rate and as taped. [m]
    distance_ratio : float
        The machine's distance over the true distance; 1.04 is 4 % too long. [-]

    Returns
    -------
    float
        True dose / dose asked. [-]

    Raises
    ------
    RangeError
        If an argument is not above 0.

    Examples
    --------
    A factor typed 5 % too high sows 4.8 % light.

    >>> round((dose_ratio(typed_factor_kg_rev=1.05, true_factor_kg_rev=1.0) - 1) * 100, 1)
    -4.8
    """
    for name, value in (
        ("typed_factor_kg_rev", typed_factor_kg_rev), ("true_factor_kg_rev", true_factor_kg_rev), ("typed_width_m", typed_width_m),
        ("true_width_m", true_width_m), ("distance_ratio", distance_ratio),
    ):  # fmt: skip
        require_range(name, value, 0.0, math.inf, low_open=True, high_open=True)
    return true_factor_kg_rev / typed_factor_kg_rev * (typed_width_m / true_width_m) * distance_ratio


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingCost:
    """What wrong typed values do to a job.

    dose_ratio: true dose / asked [-]; sown_kg_ha: true dose [kg/ha]; error_kg_ha: true dose - asked [kg/ha]; error_kg: over the
    area driven, as the product used too much (+) or too little (-) [kg]; area_shown_ha: what the counter shows [ha]; area_error_ha:
    shown - driven [ha]; shown_mass_ratio: mass the display says / true mass, None with ground drive, which counts no mass [-]; money:
    error_kg times the price, None without one. needed_kg: what the job should take [kg]; used_kg: what it takes [kg]; shown_kg: what
    the display says it took, None with ground drive [kg]; left_error_kg: what the display says is left, less what is left [kg];
    counter_ratio: counter over field area, overlap included [-].
    """

    dose_ratio: float
    sown_kg_ha: float
    error_kg_ha: float
    error_kg: float
    area_shown_ha: float
    area_error_ha: float
    shown_mass_ratio: float | None
    money: float | None = None
    needed_kg: float = 0.0
    used_kg: float = 0.0
    shown_kg: float | None = None
    left_error_kg: float | None = None
    counter_ratio: float = 1.0


def wrong_setting_cost(
    rate_kg_ha: float,
    area_ha: float,
    *,
    typed_factor_kg_rev: float = 1.0,
    true_factor_kg_rev: float = 1.0,
    typed_width_m: float = 1.0,
    true_width_m: float = 1.0,
    distance_ratio: float = 1.0,
    price_kg: float | None = None,
    drive: Drive = "motor",
    overlap: float = 0.0,
) -> SettingCost:
    """What a wrong factor, width or distance costs over an area.

    Parameters
    ----------
    rate_kg_ha : float
        Rate asked. [kg/ha]
    area_ha : float
        Ground truly driven with the openers in. [ha]
    typed_factor_kg_rev, true_factor_kg_rev : float
        Product per turn as typed and as it is; with ground drive, the one the gearing was set by. [kg/rev]
    typed_width_m, true_width_m : float
        Width as typed for the rate and as taped. [m]
    distance_ratio : float
        The machine's distance over the true distance: metres per pulse as typed over as they are; with ground drive the rolled
        distance that the gearing was set by over the true one. [-]
    price_kg : float or None
        Price of the product. [money/kg]
    drive : str
        "motor" or "ground": what turns the meter. The dose errs alike; a ground drive counts no mass. [-]
    overlap : float
        Share of the field driven twice; it is in the counter and in the product, not in the field's area. [-]

    Returns
    -------
    SettingCost
        Dose, kilograms and hectares in error. [units in the field names]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    64 rows at 254 mm are 16.256 m; 16.00 m is typed: 1.6 % light.

    >>> cost = wrong_setting_cost(150, 64, typed_width_m=16.00, true_width_m=16.256)
    >>> round(cost.error_kg_ha, 2), round(cost.error_kg), round(cost.area_error_ha, 2)
    (-2.36, -151, -1.01)
    """
    require_range("rate_kg_ha", rate_kg_ha, 0.0, math.inf, high_open=True, unit="kg/ha")
    require_range("area_ha", area_ha, 0.0, math.inf, high_open=True, unit="ha")
    require_range("overlap", overlap, 0.0, math.inf, high_open=True)
    if drive not in ("motor", "ground"):
        raise RangeError(f"'{drive}'", where="drive", limit="motor, ground", cure="Choose one.")
    ratio = dose_ratio(
        typed_factor_kg_rev=typed_factor_kg_rev,
        true_factor_kg_rev=true_factor_kg_rev,
        typed_width_m=typed_width_m,
        true_width_m=true_width_m,
        distance_ratio=distance_ratio,
    )
    error_kg = rate_kg_ha * (ratio - 1) * area_ha
    counter = typed_width_m / true_width_m * distance_ratio
    used = rate_kg_ha * ratio * area_ha
    mass_ratio = None if drive == "ground" else typed_factor_kg_rev / true_factor_kg_rev
    shown = None if mass_ratio is None else used * mass_ratio
    return SettingCost(
        dose_ratio=ratio,
        sown_kg_ha=rate_kg_ha * ratio,
        error_kg_ha=rate_kg_ha * (ratio - 1),
        error_kg=error_kg,
        area_shown_ha=area_ha * counter,
        area_error_ha=area_ha * (counter - 1),
        shown_mass_ratio=mass_ratio,
        money=None if price_kg is None else error_kg * price_kg,
        needed_kg=rate_kg_ha * area_ha,
        used_kg=used,
        shown_kg=shown,
        left_error_kg=None if shown is None else used - shown,
        counter_ratio=counter * (1 + overlap),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class WrongSetting:
    """One value that could be typed wrong. what: "factor", "width", "distance", or "speed" for a stand-in speed left on; typed, true: as
    typed and as it is, in any one unit; label: for the reader."""

    what: Literal["factor", "width", "distance", "speed"]
    typed: float
    true: float
    label: str = ""


def wrong_settings(
    rate_kg_ha: float,
    area_ha: float,
    cases: Sequence[WrongSetting],
    *,
    price_kg: float | None = None,
    drive: Drive = "motor",
    overlap: float = 0.0,
) -> tuple[tuple[WrongSetting, SettingCost], ...]:
    """A table of what single wrong values cost over the same job.

    Parameters
    ----------
    rate_kg_ha : float
        Rate asked. [kg/ha]
    area_ha : float
        Ground driven. [ha]
    cases : sequence of WrongSetting
        Each on its own, the rest being right. For a distance, typed and true are metres per pulse; for a speed, the stand-in and the
        speed driven. [any]
    price_kg : float or None
        Price of the product. [money/kg]
    drive : str
        "motor" or "ground". [-]
    overlap : float
        Share of the field driven twice. [-]

    Returns
    -------
    tuple of (WrongSetting, SettingCost)
        In the order given. [units in the field names]

    Raises
    ------
    RangeError
        If a value is not above 0 or a cause is not known.

    Examples
    --------
    >>> rows = wrong_settings(121, 62, [WrongSetting(what="factor", typed=1.25, true=1.18, label="another lot")])
    >>> round(rows[0][1].error_kg)
    -420
    """
    table = []
    for case in cases:
        require_range(f"{case.what}, typed", case.typed, 0.0, math.inf, low_open=True, high_open=True)
        require_range(f"{case.what}, true", case.true, 0.0, math.inf, low_open=True, high_open=True)
        common = {"price_kg": price_kg, "overlap": overlap}
        given: Mapping[str, float]
        if case.what == "factor":
            given = {"typed_factor_kg_rev": case.typed, "true_factor_kg_rev": case.true}
        elif case.what == "width":
            given = {"typed_width_m": case.typed, "true_width_m": case.true}
        elif case.what == "speed" and drive == "ground":
            raise RangeError("a stand-in speed", where="cases", limit="motor drive", cure="Leave it out: a ground drive follows its wheel.")
        elif case.what in ("distance", "speed"):
            given = {"distance_ratio": case.typed / case.true}
        else:
            raise RangeError(f"'{case.what}'", where="cases", limit="factor, width, distance, speed", cure="Choose one.")
        table.append((case, wrong_setting_cost(rate_kg_ha, area_ha, drive=drive, **common, **given)))  # type: ignore[arg-type]
    return tuple(table)


@worked(formula="rate_kg_ha * typed_m_s / true_m_s", source="definition", where="the meter follows the typed speed, the tool the true one")
def stand_in_dose(rate_kg_ha: float, typed_m_s: float, true_m_s: float) -> float:
    """Dose while a typed speed stands in for the speed sensor.

    Parameters
    ----------
    rate_kg_ha : float
        Rate asked. [kg/ha]
    typed_m_s : float
        Typed speed. [m/s]
    true_m_s : float
        Ground speed. [m/s]

    Returns
    -------
    float
        Dose. [kg/ha]

    Raises
    ------
    RangeError
        If the rate is negative, or a speed is not above 0.

    Examples
    --------
    5 typed, 6 driven: a sixth too little.

    >>> round(stand_in_dose(120, 5, 6))
    100
    """
    require_range("rate_kg_ha", rate_kg_ha, 0.0, math.inf, high_open=True, unit="kg/ha")
    require_range("typed_m_s", typed_m_s, 0.0, math.inf, low_open=True, high_open=True, unit="m/s")
    require_range("true_m_s", true_m_s, 0.0, math.inf, low_open=True, high_open=True, unit="m/s")
    return rate_kg_ha * typed_m_s / true_m_s


@dataclass(frozen=True, slots=True, kw_only=True)
class StandInCost:
    """What a stand-in speed left on does to a job.

    dose_kg_ha: at each speed of the profile [kg/ha]; ground_share: of the ground at each [-]; dose_ratio: mean dose over the ground /
    asked [-]; low_kg_ha, high_kg_ha: least and most [kg/ha]; outside_share: ground further off than the band [-]; counter_ratio: hectares
    shown / driven, which errs alike [-]; shown_mass_ratio: mass shown / true, 1: the display's mass stays right [-]; error_kg: product
    too much (+) or too little (-) in all, None without an area [kg]; misplaced_kg: product that lies where too much lies [kg];
    money: error_kg times the price.
    """

    dose_kg_ha: npt.NDArray[np.float64]
    ground_share: npt.NDArray[np.float64]
    dose_ratio: float
    low_kg_ha: float
    high_kg_ha: float
    outside_share: float
    counter_ratio: float
    shown_mass_ratio: float
    error_kg: float | None = None
    misplaced_kg: float | None = None
    money: float | None = None


def stand_in_speed_cost(
    rate_kg_ha: float,
    typed_m_s: float,
    speeds_m_s: Sequence[float] | npt.NDArray[np.float64],
    *,
    hours: Sequence[float] | npt.NDArray[np.float64] | None = None,
    area_ha: float | None = None,
    price_kg: float | None = None,
    band: float = 0.05,
) -> StandInCost:
    """Dose over a speed profile while a typed speed is left on in place of the sensor.

    The meter turns at one speed whatever the tractor does: the product per hour is steady, the ground per hour is not.

    Parameters
    ----------
    rate_kg_ha : float
        Rate asked. [kg/ha]
    typed_m_s : float
        Speed that was typed. [m/s]
    speeds_m_s : array_like of float, shape (n,)
        True ground speeds of the work. [m/s]
    hours : array_like of float, shape (n,), or None
        Time at each, in any unit; None: all alike. [h]
    area_ha : float or None
        Ground driven, for the masses. [ha]
    price_kg : float or None
        Price of the product. [money/kg]
    band : float
        How far from the rate asked the dose may be, relative. [-]

    Returns
    -------
    StandInCost
        Doses, shares and kilograms. [units in the field names]

    Raises
    ------
    RangeError
        If a speed is not above 0, times and speeds do not pair, or an argument is outside its range.

    References
    ----------
    Definition: dose at each speed is asked x typed / true, weighted by the ground covered at it.

    Examples
    --------
    5 mph typed, 6 driven all day over 60 ha of 120 kg/ha: 17 % light, 1,200 kg short.

    >>> s = stand_in_speed_cost(120, 5, [6.0], area_ha=60)
    >>> round(s.dose_ratio - 1, 3), round(s.error_kg)
    (-0.167, -1200)
    """
    require_range("rate_kg_ha", rate_kg_ha, 0.0, math.inf, low_open=True, high_open=True, unit="kg/ha")
    require_range("typed_m_s", typed_m_s, 0.0, math.inf, low_open=True, high_open=True, unit="m/s")
    require_range("band", band, 0.0, math.inf)
    speeds = np.atleast_1d(np.asarray(speeds_m_s, dtype=float))
    time = np.ones_like(speeds) if hours is None else np.atleast_1d(np.asarray(hours, dtype=float))
    if speeds.shape != time.shape or speeds.ndim != 1 or speeds.size == 0:
        raise RangeError(f"{speeds.size} speeds and {time.size} times do not pair", where="hours", cure="Give one time for each speed.")
    if not (np.isfinite(speeds).all() and (speeds > 0).all() and np.isfinite(time).all() and (time >= 0).all() and time.sum() > 0):
        raise RangeError("a speed or time is no number above 0", where="speeds_m_s", cure="Leave standing out of the profile.")
    ground = speeds * time
    share = ground / ground.sum()
    dose = rate_kg_ha * typed_m_s / speeds
    ratio = float((dose * share).sum()) / rate_kg_ha
    off = np.abs(dose / rate_kg_ha - 1) > band + 1e-12
    over = float((share * np.maximum(dose - rate_kg_ha, 0.0)).sum())
    if area_ha is not None:
        require_range("area_ha", area_ha, 0.0, math.inf, high_open=True, unit="ha")
    error = None if area_ha is None else rate_kg_ha * (ratio - 1) * area_ha
    dose.flags.writeable = share.flags.writeable = False
    return StandInCost(
        dose_kg_ha=dose,
        ground_share=share,
        dose_ratio=ratio,
        low_kg_ha=float(dose.min()),
        high_kg_ha=float(dose.max()),
        outside_share=float(share[off].sum()),
        counter_ratio=ratio,
        shown_mass_ratio=1.0,
        error_kg=error,
        misplaced_kg=None if area_ha is None else over * area_ha,
        money=None if error is None or price_kg is None else error * price_kg,
    )
