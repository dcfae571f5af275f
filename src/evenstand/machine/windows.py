"""Rate, ground speed and meter speed against one another: any two limits give the third."""

from __future__ import annotations

import math
from dataclasses import dataclass

from evenstand.base.errors import MissingError, require_range
from evenstand.base.worked import worked
from evenstand.machine.metering import meter_rate, meter_speed

Span = tuple[float, float]


def rate_window(speed_m_s: float, width_m: float, factor_kg_rev: float, min_rev_s: float, max_rev_s: float) -> Span:
    """Smallest and largest rate a meter doses evenly at a ground speed.

    Parameters
    ----------
    speed_m_s : float
        Ground speed. [m/s]
    width_m : float
        Width fed by this meter. [m]
    factor_kg_rev : float
        Product per turn of all segments that feed this width. [kg/rev]
    min_rev_s, max_rev_s : float
        Meter speeds between which it doses evenly. [rev/s]

    Returns
    -------
    tuple of float
        (smallest, largest) rate. [kg/ha]

    Raises
    ------
    RangeError
        If speed, width or factor is not above 0, or the range of meter speeds is empty.

    Examples
    --------
    A fine roller of 0.132 kg/rev, steady from 4 to 60 rpm, 16.256 m at 7.6 km/h: 2.6 to 38 kg/ha.

    >>> low, high = rate_window(7.6 / 3.6, 16.256, 0.132, 4 / 60, 1.0)
    >>> round(low, 1), round(high)
    (2.6, 38)
    """
    _revs(min_rev_s, max_rev_s)
    return (
        meter_rate(min_rev_s, speed_m_s, width_m, factor_kg_rev),
        meter_rate(max_rev_s, speed_m_s, width_m, factor_kg_rev),
    )


@worked(formula="min_rev_s * factor_kg_rev * 10000 / (speed_m_s * width_m)", source="definition")
def smallest_rate(speed_m_s: float, width_m: float, factor_kg_rev: float, min_rev_s: float) -> float:
    """Smallest rate a meter can dose evenly at a ground speed: below it the shaft turns too slowly.

    Parameters
    ----------
    speed_m_s : float
        Ground speed. [m/s]
    width_m : float
        Width fed by this meter. [m]
    factor_kg_rev : float
        Product per turn of all segments that feed this width; fewer or finer segments lower it. [kg/rev]
    min_rev_s : float
        Slowest meter speed at which it doses evenly. [rev/s]

    Returns
    -------
    float
        Smallest rate. [kg/ha]

    Raises
    ------
    RangeError
        If speed, width or factor is not above 0, or the meter speed is negative.
    """
    return meter_rate(min_rev_s, speed_m_s, width_m, factor_kg_rev)


@worked(formula="min_rev_s * factor_kg_rev * 10000 / (speed_m_s * rate_kg_ha)", source="definition")
def narrowest_width(rate_kg_ha: float, speed_m_s: float, factor_kg_rev: float, min_rev_s: float) -> float:
    """Narrowest width a meter must feed so that a small rate still turns it fast enough.

    Parameters
    ----------
    rate_kg_ha : float
        Rate asked. [kg/ha]
    speed_m_s : float
        Ground speed. [m/s]
    factor_kg_rev : float
        Product per turn. [kg/rev]
    min_rev_s : float
        Slowest meter speed at which it doses evenly. [rev/s]

    Returns
    -------
    float
        Width; a narrower tool turns the meter more slowly than it likes. [m]

    Raises
    ------
    RangeError
        If rate, speed or factor is not above 0, or the meter speed is negative.
    """
    return meter_rate(min_rev_s, speed_m_s, rate_kg_ha, factor_kg_rev)


def rev_window(rate_kg_ha: Span, speed_m_s: Span, width_m: float, factor_kg_rev: float) -> Span:
    """Meter speeds that a range of rates and a range of ground speeds ask for.

    Parameters
    ----------
    rate_kg_ha : tuple of float
        (lowest, highest) rate, such as on a rate map. [kg/ha]
    speed_m_s : tuple of float
        (slowest, fastest) ground speed. [m/s]
    width_m : float
        Width fed by this meter. [m]
    factor_kg_rev : float
        Product per turn. [kg/rev]

    Returns
    -------
    tuple of float
        (slowest, fastest) meter speed. [rev/s]

    Raises
    ------
    RangeError
        If a range runs backwards, or width or factor is not above 0.
    """
    _span("rate_kg_ha", rate_kg_ha, "kg/ha")
    _span("speed_m_s", speed_m_s, "m/s")
    return (
        meter_speed(rate_kg_ha[0], speed_m_s[0], width_m, factor_kg_rev),
        meter_speed(rate_kg_ha[1], speed_m_s[1], width_m, factor_kg_rev),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class OperatingWindow:
    """Rates, ground speeds and meter speeds that go together.

    rate_kg_ha, speed_m_s, rev_s: (low, high) [kg/ha, m/s, rev/s]; found: which of them was worked out; possible: whether the range
    found holds anything at all; why: if not, what is in the way and what to do. Each value of the range found goes with every value of
    the two ranges given.
    """

    rate_kg_ha: Span
    speed_m_s: Span
    rev_s: Span
    found: str
    possible: bool
    why: str = ""


def operating_window(
    width_m: float,
    factor_kg_rev: float,
    *,
    rate_kg_ha: Span | None = None,
    speed_m_s: Span | None = None,
    rev_s: Span | None = None,
) -> OperatingWindow:
    """Any two of rate, ground speed and meter speed as ranges: the third.

    From rates and ground speeds follow the meter speeds needed. From rates and the meter's limits follow the ground speeds that suit
    every one of those rates; from ground speeds and the meter's limits the rates that suit every one of those speeds.

    Parameters
    ----------
    width_m : float
        Width fed by this meter. [m]
    factor_kg_rev : float
        Product per turn. [kg/rev]
    rate_kg_ha : tuple of float or None
        (lowest, highest) rate; the same twice for one rate. [kg/ha]
    speed_m_s : tuple of float or None
        (slowest, fastest) ground speed. [m/s]
    rev_s : tuple of float or None
        (slowest, fastest) meter speed. [rev/s]

    Returns
    -------
    OperatingWindow
        The two ranges given and the one found. [units in the field names]

    Raises
    ------
    MissingError
        If not exactly two of the three are given.
    RangeError
        If a range runs backwards, or a value is not above 0.

    Examples
    --------
    Wheat at 90 to 150 kg/ha, 1.25 kg/rev over 16.256 m, steady from 4 to 60 rpm: 2.1 to 18.5 km/h suit every rate.

    >>> w = operating_window(16.256, 1.25, rate_kg_ha=(90, 150), rev_s=(4 / 60, 1.0))
    >>> [round(v * 3.6, 1) for v in w.speed_m_s]
    [2.1, 18.5]
    """
    given = {"rate_kg_ha": rate_kg_ha, "speed_m_s": speed_m_s, "rev_s": rev_s}
    if sum(span is not None for span in given.values()) != 2:
        raise MissingError("two of three are needed", where="rate_kg_ha, speed_m_s, rev_s", cure="Give two ranges and leave one out.")
    for name, span in given.items():
        if span is not None:
            _span(name, span, low_open=True)
    if rev_s is None:
        assert rate_kg_ha is not None
        assert speed_m_s is not None
        return OperatingWindow(
            rate_kg_ha=rate_kg_ha, speed_m_s=speed_m_s, rev_s=rev_window(rate_kg_ha, speed_m_s, width_m, factor_kg_rev),
            found="rev_s", possible=True,
        )  # fmt: skip
    if rate_kg_ha is not None:
        slow, fast = _fit(width_m, factor_kg_rev, rate_kg_ha, rev_s)
        why = "" if slow <= fast else _too_wide("rates", rate_kg_ha, rev_s)
        return OperatingWindow(
            rate_kg_ha=rate_kg_ha, speed_m_s=(slow, fast), rev_s=rev_s, found="speed_m_s", possible=slow <= fast, why=why
        )
    assert speed_m_s is not None
    low, high = _fit(width_m, factor_kg_rev, speed_m_s, rev_s)
    why = "" if low <= high else _too_wide("speeds", speed_m_s, rev_s)
    return OperatingWindow(rate_kg_ha=(low, high), speed_m_s=speed_m_s, rev_s=rev_s, found="rate_kg_ha", possible=low <= high, why=why)


def _fit(width_m: float, factor_kg_rev: float, other: Span, rev_s: Span) -> Span:
    """What goes with every value of `other` inside the meter's limits; rate and ground speed take one another's place. [other's twin]"""
    return meter_rate(rev_s[0], other[0], width_m, factor_kg_rev), meter_rate(rev_s[1], other[1], width_m, factor_kg_rev)


def _too_wide(what: str, span: Span, rev_s: Span) -> str:
    return (
        f"The {what} differ {span[1] / span[0]:.1f} times, the meter's steady speeds only {rev_s[1] / rev_s[0]:.1f} times: "
        "take another roller or gear for one end, or narrow the range."
    )


def shared_speed_window(windows: dict[str, Span]) -> tuple[Span | None, str, str]:
    """Ground speeds that suit every bin at once, and which bin sets each end.

    Parameters
    ----------
    windows : dict of str to tuple of float
        (slowest, fastest) ground speed of each bin. [m/s]

    Returns
    -------
    tuple
        ((slowest, fastest) or None if no speed suits all; bin that sets the slowest; bin that sets the fastest). [m/s]

    Raises
    ------
    MissingError
        If there is no bin.
    RangeError
        If a range runs backwards.

    References
    ----------
    Definition: the latest beginning and the earliest end.
    """
    if not windows:
        raise MissingError("no bin given", where="windows", cure="Give each bin's slowest and fastest speed.")
    for name, span in windows.items():
        _span(name, span, "m/s")
    slow = max(windows, key=lambda key: windows[key][0])
    fast = min(windows, key=lambda key: windows[key][1])
    low, high = windows[slow][0], windows[fast][1]
    return ((low, high) if low <= high else None), slow, fast


def _revs(min_rev_s: float, max_rev_s: float) -> None:
    require_range("min_rev_s", min_rev_s, 0.0, math.inf, high_open=True, unit="rev/s")
    require_range("max_rev_s", max_rev_s, min_rev_s, math.inf, low_open=True, high_open=True, unit="rev/s")


def _span(name: str, span: Span, unit: str = "", *, low_open: bool = False) -> None:
    require_range(f"{name}, low", span[0], 0.0, math.inf, low_open=low_open, high_open=True, unit=unit)
    require_range(f"{name}, high", span[1], span[0], math.inf, high_open=True, unit=unit)
