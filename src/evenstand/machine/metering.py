"""What a meter must turn, and what it then puts down."""

from __future__ import annotations

import math

from evenstand.base.errors import require_range
from evenstand.base.worked import worked


def _positive(**values: float) -> None:
    for name, value in values.items():
        require_range(name, value, 0.0, math.inf, low_open=True, high_open=True)


@worked(formula="rate_kg_ha * speed_m_s * width_m / 10000 / factor_kg_rev", source="definition")
def meter_speed(rate_kg_ha: float, speed_m_s: float, width_m: float, factor_kg_rev: float) -> float:
    """Speed a meter must turn at to put down a rate.

    Parameters
    ----------
    rate_kg_ha : float
        Rate asked of this meter. [kg/ha]
    speed_m_s : float
        Ground speed. [m/s]
    width_m : float
        Width fed by this meter, not the whole tool's where the meter is split. [m]
    factor_kg_rev : float
        Product per turn of all segments that feed this width. [kg/rev]

    Returns
    -------
    float
        Meter speed; times 60 it is rpm. [rev/s]

    Raises
    ------
    RangeError
        If rate or speed is negative, or width or factor is not above 0.

    Examples
    --------
    121 kg/ha at 7.6 km/h over 16.256 m with 1.25 kg/rev: 19.9 rpm.

    >>> round(meter_speed(121, 7.6 / 3.6, 16.256, 1.25) * 60, 1)
    19.9
    """
    require_range("rate_kg_ha", rate_kg_ha, 0.0, math.inf, high_open=True, unit="kg/ha")
    require_range("speed_m_s", speed_m_s, 0.0, math.inf, high_open=True, unit="m/s")
    _positive(width_m=width_m, factor_kg_rev=factor_kg_rev)
    return rate_kg_ha * speed_m_s * width_m / 1e4 / factor_kg_rev


@worked(formula="rev_s * factor_kg_rev * 10000 / (speed_m_s * width_m)", source="definition")
def meter_rate(rev_s: float, speed_m_s: float, width_m: float, factor_kg_rev: float) -> float:
    """Rate a turning meter puts down.

    Parameters
    ----------
    rev_s : float
        Meter speed. [rev/s]
    speed_m_s : float
        Ground speed. [m/s]
    width_m : float
        Width fed by this meter. [m]
    factor_kg_rev : float
        Product per turn of all segments that feed this width. [kg/rev]

    Returns
    -------
    float
        Rate. [kg/ha]

    Raises
    ------
    RangeError
        If the meter speed is negative, or speed, width or factor is not above 0.
    """
    require_range("rev_s", rev_s, 0.0, math.inf, high_open=True, unit="rev/s")
    _positive(speed_m_s=speed_m_s, width_m=width_m, factor_kg_rev=factor_kg_rev)
    return rev_s * factor_kg_rev * 1e4 / (speed_m_s * width_m)


@worked(formula="rate_kg_ha * speed_m_s * width_m / 10000", source="definition")
def mass_flow(rate_kg_ha: float, speed_m_s: float, width_m: float) -> float:
    """Product that leaves a bin per second.

    Parameters
    ----------
    rate_kg_ha : float
        Rate. [kg/ha]
    speed_m_s : float
        Ground speed. [m/s]
    width_m : float
        Width fed. [m]

    Returns
    -------
    float
        Mass flow. [kg/s]

    Raises
    ------
    RangeError
        If an argument is negative.
    """
    require_range("rate_kg_ha", rate_kg_ha, 0.0, math.inf, high_open=True, unit="kg/ha")
    require_range("speed_m_s", speed_m_s, 0.0, math.inf, high_open=True, unit="m/s")
    require_range("width_m", width_m, 0.0, math.inf, high_open=True, unit="m")
    return rate_kg_ha * speed_m_s * width_m / 1e4


def speed_window(rate_kg_ha: float, width_m: float, factor_kg_rev: float, min_rev_s: float, max_rev_s: float) -> tuple[float, float]:
    """Slowest and fastest ground speed at which a meter stays inside its steady range.

    Parameters
    ----------
    rate_kg_ha : float
        Rate asked of this meter. [kg/ha]
    width_m : float
        Width fed by this meter. [m]
    factor_kg_rev : float
        Product per turn. [kg/rev]
    min_rev_s, max_rev_s : float
        Meter speeds between which it doses evenly. [rev/s]

    Returns
    -------
    tuple of float
        (low, high) ground speed. [m/s]

    Raises
    ------
    RangeError
        If rate, width or factor is not above 0, or the range is empty.

    Examples
    --------
    5 kg/ha of canola, 0.132 kg/rev, steady from 4 to 60 rpm: 3.9 to 58 km/h.

    >>> low, high = speed_window(5, 16.256, 0.132, 4 / 60, 60 / 60)
    >>> round(low * 3.6, 1), round(high * 3.6)
    (3.9, 58)
    """
    require_range("min_rev_s", min_rev_s, 0.0, math.inf, high_open=True, unit="rev/s")
    require_range("max_rev_s", max_rev_s, min_rev_s, math.inf, low_open=True, high_open=True, unit="rev/s")
    return (
        window_speed(rate_kg_ha, width_m, factor_kg_rev, min_rev_s),
        window_speed(rate_kg_ha, width_m, factor_kg_rev, max_rev_s),
    )


@worked(formula="rev_s * factor_kg_rev * 10000 / (rate_kg_ha * width_m)", source="definition")
def window_speed(rate_kg_ha: float, width_m: float, factor_kg_rev: float, rev_s: float) -> float:
    """Ground speed at which a meter turns at a given speed: one edge of the speed window.

    Parameters
    ----------
    rate_kg_ha : float
        Rate asked of this meter. [kg/ha]
    width_m : float
        Width fed by this meter. [m]
    factor_kg_rev : float
        Product per turn. [kg/rev]
    rev_s : float
        Meter speed. [rev/s]

    Returns
    -------
    float
        Ground speed. [m/s]

    Raises
    ------
    RangeError
        If rate, width or factor is not above 0, or the meter speed is negative.
    """
    _positive(rate_kg_ha=rate_kg_ha, width_m=width_m, factor_kg_rev=factor_kg_rev)
    require_range("rev_s", rev_s, 0.0, math.inf, high_open=True, unit="rev/s")
    return rev_s * factor_kg_rev * 1e4 / (rate_kg_ha * width_m)


@worked(formula="speed_m_s / (rev_s * flutes)", source="definition")
def pulse_spacing(speed_m_s: float, rev_s: float, flutes: int) -> float:
    """Distance driven between two flutes of a roller emptying: how lumpy the flow is before the hose smears it.

    Parameters
    ----------
    speed_m_s : float
        Ground speed. [m/s]
    rev_s : float
        Meter speed. [rev/s]
    flutes : int
        Flutes around the roller; pockets staggered side by side count once for each row. [-]

    Returns
    -------
    float
        Distance over the ground between two pulses. [m]

    Raises
    ------
    RangeError
        If speed is negative, or the meter stands still, or there is no flute.

    Examples
    --------
    A fine roller with 24 flutes at 7.8 rpm and 7.6 km/h: 0.68 m.

    >>> round(pulse_spacing(7.6 / 3.6, 7.8 / 60, 24), 2)
    0.68
    """
    require_range("speed_m_s", speed_m_s, 0.0, math.inf, high_open=True, unit="m/s")
    _positive(rev_s=rev_s)
    require_range("flutes", flutes, 1)
    return speed_m_s / (rev_s * flutes)


@worked(formula="litres_turn * density_kg_m3 / 1000 * fill", source="definition")
def displacement_factor(litres_turn: float, density_kg_m3: float, fill: float) -> float:
    """Product per turn from what a meter displaces: an estimate to be replaced by a catch.

    Parameters
    ----------
    litres_turn : float
        Displacement of all segments that turn, per turn of the shaft. [L/rev]
    density_kg_m3 : float
        Loose bulk density of the product. [kg/m³]
    fill : float
        Share of the pockets that fills. [-]

    Returns
    -------
    float
        Product per turn. [kg/rev]

    Raises
    ------
    RangeError
        If displacement or density is not above 0, or the share is outside 0 to 1.2 (settled product can fill
        a little more than its loose density says).

    Examples
    --------
    1.6 L/rev of wheat at 780 kg/m³, full pockets: 1.248 kg/rev.

    >>> round(displacement_factor(1.6, 780, 1.0), 3)
    1.248
    """
    _positive(litres_turn=litres_turn, density_kg_m3=density_kg_m3)
    require_range("fill", fill, 0.0, 1.2, low_open=True)
    return litres_turn * density_kg_m3 / 1000 * fill


@worked(formula="factor_kg_rev * gear_ratio * 10000 / (rolled_m * width_m)", source="definition")
def ground_drive_rate(factor_kg_rev: float, gear_ratio: float, rolled_m: float, width_m: float) -> float:
    """Rate of a meter driven from a wheel: it follows the ground, whatever the speed.

    Parameters
    ----------
    factor_kg_rev : float
        Product per turn of the meter. [kg/rev]
    gear_ratio : float
        Turns of the meter for one turn of the wheel. [-]
    rolled_m : float
        Distance the wheel rolls in one turn, loaded, on the ground it works on. [m]
    width_m : float
        Width fed by this meter. [m]

    Returns
    -------
    float
        Rate. [kg/ha]

    Raises
    ------
    RangeError
        If an argument is not above 0.
    """
    _positive(factor_kg_rev=factor_kg_rev, gear_ratio=gear_ratio, rolled_m=rolled_m, width_m=width_m)
    return factor_kg_rev * gear_ratio * 1e4 / (rolled_m * width_m)


@worked(formula="rate_kg_ha * rolled_m * width_m / (10000 * factor_kg_rev)", source="definition")
def ground_drive_gearing(rate_kg_ha: float, factor_kg_rev: float, rolled_m: float, width_m: float) -> float:
    """Turns of the meter per turn of the drive wheel that give a rate.

    Parameters
    ----------
    rate_kg_ha : float
        Rate asked. [kg/ha]
    factor_kg_rev : float
        Product per turn of the meter. [kg/rev]
    rolled_m : float
        Distance the wheel rolls in one turn. [m]
    width_m : float
        Width fed by this meter. [m]

    Returns
    -------
    float
        Gear ratio, meter turns per wheel turn. [-]

    Raises
    ------
    RangeError
        If an argument is not above 0.
    """
    _positive(rate_kg_ha=rate_kg_ha, factor_kg_rev=factor_kg_rev, rolled_m=rolled_m, width_m=width_m)
    return rate_kg_ha * rolled_m * width_m / (1e4 * factor_kg_rev)
