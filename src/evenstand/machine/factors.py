"""Product per turn from a catch, a shown mass, a crank test or the meter's displacement; which to believe, and which are stale."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from evenstand.base.errors import RangeError, require_range
from evenstand.base.estimate import Est, propagate
from evenstand.base.worked import worked
from evenstand.machine.metering import displacement_factor
from evenstand.model import MeterFactor
from evenstand.reference import default
from evenstand.solve.repeats import mean_of_repeats

FactorHow = Literal["catch", "crank", "shown-mass", "displacement", "typed"]
FactorState = Literal["used", "stale", "stands by"]
STANDING_HOW = frozenset({"catch", "crank"})
FACTOR_RANK: dict[str, int] = {"catch": 0, "crank": 0, "shown-mass": 0, "displacement": 1, "typed": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterCase:
    """Which meter, product, lot and setting a product per turn belongs to; "" is not known."""

    meter: str = ""
    product: str = ""
    lot: str = ""
    setting: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FactorSource:
    """Product per turn from one source, whatever the source.

    case: meter, product, lot and setting; kg_turn: value with its whole standard deviation [kg/turn]; how: "catch", "crank", "shown-mass",
    "displacement", "typed"; at: ISO time, "" if not known; shared_sd: part of the standard deviation that all standing catches share,
    since a standing catch differs from the field [kg/turn].
    """

    case: MeterCase
    kg_turn: Est
    how: FactorHow
    at: str = ""
    shared_sd: float = 0.0


def usual_sd(name: str) -> float:
    """Standard deviation of an error that is usually between a low and a high size, with either sign.

    Working: sqrt((low² + low x high + high²) / 3).

    Parameters
    ----------
    name : str
        Name of a range in the practice table, such as "factor-field-against-standing". [-]

    Returns
    -------
    float
        Root mean square of a size spread evenly over the range; 1 to 3 % give 2.1 %. [unit of the range]

    References
    ----------
    Definition: root mean square of a number spread evenly from low to high. The ranges are common-practice, table practice.

    Examples
    --------
    >>> round(usual_sd("factor-field-against-standing"), 4)
    0.0208
    """
    usual = default(name)
    return math.sqrt((usual.low**2 + usual.low * usual.high + usual.high**2) / 3)


def factor_from_catch(
    case: MeterCase, factor: Est, *, at: str = "", field_ratio: Est | None = None, how: FactorHow = "catch"
) -> FactorSource:
    """Product per turn in the field from a catch made standing, fan off.

    Parameters
    ----------
    case : MeterCase
        Meter, product, lot and setting. [-]
    factor : Est
        Product per turn as caught, with the standard deviation of the catch test. [kg/turn]
    at : str
        ISO time of the catch. [-]
    field_ratio : Est or None
        Field over standing for this product, if it has been learned; None: the usual unknown bias of 1 to 3 % either way. [-]
    how : str
        "catch" or "crank". [-]

    Returns
    -------
    FactorSource
        Standard deviation with the bias in it, which more catches do not take away. [kg/turn]

    Raises
    ------
    RangeError
        If the factor or the ratio is not above 0, or it was not made standing.

    References
    ----------
    Definition: field over standing times the catch, their relative standard deviations in quadrature. A standing catch differs from the
    field by 1 to 3 %: common-practice, table practice, factor-field-against-standing.

    Examples
    --------
    >>> s = factor_from_catch(MeterCase(meter="A"), Est(value=1.25, sd=0.01))
    >>> round(s.kg_turn.sd, 3), round(s.shared_sd, 3)
    (0.028, 0.026)
    """
    require_range("factor", factor.value, 0.0, math.inf, low_open=True, high_open=True, unit="kg/turn")
    if how not in STANDING_HOW:
        raise RangeError(f"'{how}'", where="how", limit=", ".join(sorted(STANDING_HOW)), cure="Only these are made standing.")
    ratio = field_ratio or Est(value=1.0, sd=usual_sd("factor-field-against-standing"), basis="common-practice", source="common-practice")
    require_range("field_ratio", ratio.value, 0.0, math.inf, low_open=True, high_open=True)
    value = factor.value * ratio.value
    shared = factor.value * ratio.sd
    sd = math.hypot(factor.sd * ratio.value, shared)
    return FactorSource(case=case, kg_turn=Est(value=value, sd=sd, basis="catch", source=factor.source), how=how, at=at, shared_sd=shared)


def factor_from_shown_mass(case: MeterCase, typed_kg_turn: float, shown_kg: Est, weighed_kg: Est, *, at: str = "") -> FactorSource:
    """Product per turn from what the display said it had sown and what the scale says of the same product.

    Parameters
    ----------
    case : MeterCase
        Meter, product, lot and setting. [-]
    typed_kg_turn : float
        Value typed in while the mass was shown. [kg/turn]
    shown_kg : Est
        Mass the display counted; its sd is the display's rounding. [kg]
    weighed_kg : Est
        Mass weighed, with its sd. [kg]
    at : str
        ISO time. [-]

    Returns
    -------
    FactorSource
        From the field, so without the bias of a standing catch. [kg/turn]

    Raises
    ------
    RangeError
        If a value is not above 0.

    Examples
    --------
    >>> s = factor_from_shown_mass(MeterCase(meter="A"), 1.25, Est(value=4000.0, sd=5.0), Est(value=4120.0, sd=20.0))
    >>> round(s.kg_turn.value, 4), round(s.kg_turn.sd, 4)
    (1.2875, 0.0065)
    """
    for name, value in (("typed_kg_turn", typed_kg_turn), ("shown_kg", shown_kg.value), ("weighed_kg", weighed_kg.value)):
        require_range(name, value, 0.0, math.inf, low_open=True, high_open=True)
    found = propagate(_by_scale, typed_kg_turn=typed_kg_turn, shown_kg=shown_kg, weighed_kg=weighed_kg)
    return FactorSource(case=case, kg_turn=replace(found, basis="measured", source=weighed_kg.source), how="shown-mass", at=at)


def _by_scale(typed_kg_turn: float, shown_kg: float, weighed_kg: float) -> float:
    """Mass shown over true mass is typed over true product per turn. [kg/turn]"""
    return typed_kg_turn * weighed_kg / shown_kg


def factor_from_displacement(
    case: MeterCase, litres_turn: Est, density_kg_m3: Est, *, fill: Est | None = None, at: str = ""
) -> FactorSource:
    """Product per turn from what the meter displaces: good enough to plan with, to be replaced by a catch.

    Parameters
    ----------
    case : MeterCase
        Meter, product, lot and setting. [-]
    litres_turn : Est
        Displacement of all segments that turn. [L/turn]
    density_kg_m3 : Est
        Loose bulk density of the lot. [kg/m³]
    fill : Est or None
        Share of the pockets that fills; None: the usual range, all of it equally likely. [-]
    at : str
        ISO time. [-]

    Returns
    -------
    FactorSource
        Wide. [kg/turn]

    Raises
    ------
    RangeError
        If a value is outside its range.
    """
    usual = default("meter-fill")
    share = fill or Est(value=usual.value, sd=(usual.high - usual.low) / math.sqrt(12), basis="common-practice", source=usual.source)
    found = propagate(displacement_factor, litres_turn=litres_turn, density_kg_m3=density_kg_m3, fill=share)
    return FactorSource(case=case, kg_turn=found, how="displacement", at=at)


def factor_from_record(record: MeterFactor) -> FactorSource:
    """A product per turn as the book keeps it, ready to be ranked.

    Parameters
    ----------
    record : MeterFactor
        As stored. A stored catch is the catch alone, without the bias of standing. [kg/turn]

    Returns
    -------
    FactorSource
        With the bias of standing in it, if it was caught standing. [kg/turn]

    Raises
    ------
    RangeError
        If its way of knowing is none of ours.

    References
    ----------
    Definition: as `factor_from_catch` for a catch or crank test; any other value as it stands.
    """
    if record.how not in FACTOR_RANK:
        raise RangeError(f"'{record.how}'", where="how", limit=", ".join(FACTOR_RANK), cure="Say how it is known.")
    case = MeterCase(meter=record.bin, product=record.product, lot=record.lot, setting=record.setting)
    if record.how == "catch":
        return factor_from_catch(case, record.kg_turn, at=record.at)
    if record.how == "crank":
        return factor_from_catch(case, record.kg_turn, at=record.at, how="crank")
    how: FactorHow = "shown-mass" if record.how == "shown-mass" else "displacement" if record.how == "displacement" else "typed"
    return FactorSource(case=case, kg_turn=record.kg_turn, how=how, at=record.at)


@worked(formula="mass_kg / (crank_turns * gear)", source="definition", where="mass over turns of the meter")
def crank_factor(mass_kg: float, crank_turns: float, gear: float = 1.0) -> float:
    """Product per turn of the meter from a crank test.

    Parameters
    ----------
    mass_kg : float
        Product caught. [kg]
    crank_turns : float
        Turns of the crank. [turns]
    gear : float
        Turns of the meter to one turn of the crank. [-]

    Returns
    -------
    float
        Product per turn of the meter. [kg/turn]

    Raises
    ------
    RangeError
        If an argument is not above 0.
    """
    for name, value in (("mass_kg", mass_kg), ("crank_turns", crank_turns), ("gear", gear)):
        require_range(name, value, 0.0, math.inf, low_open=True, high_open=True)
    return mass_kg / (crank_turns * gear)


@dataclass(frozen=True, slots=True, kw_only=True)
class CrankTest:
    """What a crank test of a ground-driven meter says.

    crank_turns: turns of the crank that stand for the area [turns]; rate_kg_ha, low_kg_ha, high_kg_ha: rate with its interval [kg/ha];
    factor_kg_rev: product per turn of the meter [kg/rev]; factor_sd: of the catch alone [kg/rev]; gear: meter turns to one wheel turn [-];
    change: rate over the one asked, None without one [-]; gear_needed: gearing that gives the rate asked [-]; catches: how many; odd:
    probability of catches as far apart as these if all were well, None for one [-].
    """

    crank_turns: float
    rate_kg_ha: float
    low_kg_ha: float
    high_kg_ha: float
    factor_kg_rev: float
    factor_sd: float
    gear: float
    catches: int
    odd: float | None = None
    change: float | None = None
    gear_needed: float | None = None


def crank_test(
    masses_kg: Sequence[float] | float,
    *,
    width_m: float,
    rolled_m: float,
    gear: float,
    area_ha: float | None = None,
    crank_turns: float | None = None,
    crank_to_wheel: float = 1.0,
    slip: float = 0.0,
    asked_kg_ha: float | None = None,
    scale_division_kg: float = 0.0,
    prior_cv: float | None = None,
    confidence: float = 0.95,
) -> CrankTest:
    """Rate, product per turn and gearing from turning a ground-driven meter by hand.

    Parameters
    ----------
    masses_kg : sequence of float or float
        Each catch without its bag. [kg]
    width_m : float
        Width fed. [m]
    rolled_m : float
        Distance the drive wheel rolls in one turn. [m]
    gear : float
        Turns of the meter to one turn of the drive wheel, as set. [-]
    area_ha : float or None
        Area that the turns stand for, such as 0.1; the turns follow. [ha]
    crank_turns : float or None
        Turns that were made, if not those for an area. [turns]
    crank_to_wheel : float
        Turns of the drive wheel to one turn of the crank. [-]
    slip : float
        Share by which the drive wheel turns less in the field than it rolls on the stand. [-]
    asked_kg_ha : float or None
        Rate asked, for the gearing that gives it. [kg/ha]
    scale_division_kg : float
        Smallest step of the scale. [kg]
    prior_cv : float or None
        Usual repeatability of a catch; None: the upper end for free-flowing product. [-]
    confidence : float
        Of the interval. [-]

    Returns
    -------
    CrankTest
        As measured standing; `factor_from_catch` adds the bias of standing. [units in the field names]

    Raises
    ------
    RangeError
        If not exactly one of area and turns is given, a mass is not above 0, or another value is outside its range.

    Examples
    --------
    A wheel of 4.92 m and 11.895 m: 17.1 turns stand for 0.1 ha. 11.4 kg caught are 114 kg/ha; for 121 gear up by 6 %.

    >>> c = crank_test([11.4], width_m=11.895, rolled_m=4.92, gear=0.8, area_ha=0.1, asked_kg_ha=121)
    >>> round(c.crank_turns, 1), round(c.rate_kg_ha), round(c.gear_needed / c.gear, 3)
    (17.1, 114, 1.061)
    """
    for name, value in (("width_m", width_m), ("rolled_m", rolled_m), ("gear", gear), ("crank_to_wheel", crank_to_wheel)):
        require_range(name, value, 0.0, math.inf, low_open=True, high_open=True)
    require_range("slip", slip, 0.0, 1.0, high_open=True)
    if (area_ha is None) == (crank_turns is None):
        raise RangeError("area_ha and crank_turns", where="area_ha", limit="one of the two", cure="Give the area imitated or the turns.")
    masses = [masses_kg] if isinstance(masses_kg, int | float) else list(masses_kg)
    for i, mass in enumerate(masses):
        require_range(f"catch {i + 1}", mass, 0.0, math.inf, low_open=True, high_open=True, unit="kg")
    per_turn_m2 = rolled_m * crank_to_wheel * width_m / (1 - slip)
    if crank_turns is not None:
        require_range("crank_turns", crank_turns, 0.0, math.inf, low_open=True, high_open=True, unit="turns")
        turns = crank_turns
    else:
        assert area_ha is not None
        require_range("area_ha", area_ha, 0.0, math.inf, low_open=True, high_open=True, unit="ha")
        turns = area_ha * 1e4 / per_turn_m2
    prior = default("catch-free-flowing").high if prior_cv is None else prior_cv
    found = mean_of_repeats(masses, prior_cv=prior, own_sd=scale_division_kg / math.sqrt(12), confidence=confidence)
    to_rate = 1e4 / (turns * per_turn_m2)
    rate = found.mean * to_rate
    if asked_kg_ha is not None:
        require_range("asked_kg_ha", asked_kg_ha, 0.0, math.inf, low_open=True, high_open=True, unit="kg/ha")
    return CrankTest(
        crank_turns=turns,
        rate_kg_ha=rate,
        low_kg_ha=found.low * to_rate,
        high_kg_ha=found.high * to_rate,
        factor_kg_rev=crank_factor(found.mean, turns, crank_to_wheel * gear),
        factor_sd=found.sd / (turns * crank_to_wheel * gear),
        gear=gear,
        catches=len(masses),
        odd=found.odd,
        change=None if asked_kg_ha is None else rate / asked_kg_ha,
        gear_needed=None if asked_kg_ha is None else gear * asked_kg_ha / rate,
    )
