"""Starts and stops: what a flag test, the hoses or common practice say of the time from switch to seed."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from evenstand.base.errors import Fault, RangeError, require_range
from evenstand.base.estimate import Est
from evenstand.machine.delays import transport_lag
from evenstand.reference import default, figure
from evenstand.solve.repeats import student_t

Switch = Literal["on", "off"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lag:
    """Time from the switch to the first or last product at the opener.

    switch: "on" or "off"; lag_s [s]; sd_s: of lag_s, None for one flag without a reading error [s]; low_s, high_s: interval, None as sd_s
    [s]; spread_s: standard deviation of one start or stop, None for one flag [s]; flags: how many; basis: "measured", "computed" from
    hose and air, or "common-practice"; source: a key or ""; product: "" for all; note: what it must not be taken for.
    """

    switch: Switch
    lag_s: float
    sd_s: float | None
    low_s: float | None
    high_s: float | None
    spread_s: float | None
    flags: int
    basis: str
    source: str = ""
    product: str = ""
    note: str = ""

    @property
    def est(self) -> Est | None:
        """The same as an `Est`; None while its spread is not known. [s]"""
        return None if self.sd_s is None else Est(value=self.lag_s, sd=self.sd_s, basis=self.basis, source=self.source)


def flag_test(
    distances_m: Sequence[float],
    speed_m_s: float | Sequence[float],
    *,
    switch: Switch = "on",
    flag_ahead_m: float = 0.0,
    reading_sd_m: float = 0.0,
    speed_cv: float = 0.0,
    confidence: float = 0.95,
    product: str = "",
) -> Lag:
    """Lag from flags: one set where the switch went, then dig for the first seed (on) or the last (off).

    Parameters
    ----------
    distances_m : sequence of float, shape (n,)
        From the flag to the first or last seed, onward as driven; below 0 if the seed lies behind the flag. [m]
    speed_m_s : float or sequence of float, shape (n,)
        Steady speed of the runs, or of each run. [m/s]
    switch : str
        "on": first seed; "off": last seed. [-]
    flag_ahead_m : float
        How far ahead of the openers the flag was dropped; 0 if it marks where the openers were. [m]
    reading_sd_m : float
        How well a seed is found and taped, one standard deviation. [m]
    speed_cv : float
        How well the speed is known, relative, the same for all flags. [-]
    confidence : float
        Of the interval. [-]
    product : str
        Which product was dug for. [-]

    Returns
    -------
    Lag
        With the plain interval of n flags; one flag alone has none of its own. [s]

    Raises
    ------
    RangeError
        If a lag is not above 0, a speed is not, or the numbers of both differ.

    Examples
    --------
    Three flags at 7.6 km/h:

    >>> lag = flag_test([8.4, 9.1, 8.8], 7.6 / 3.6)
    >>> round(lag.lag_s, 2), lag.flags
    (4.15, 3)
    """
    each = _lags(distances_m, speed_m_s, flag_ahead_m)
    require_range("reading_sd_m", reading_sd_m, 0, math.inf, high_open=True, unit="m")
    require_range("speed_cv", speed_cv, 0, 1, high_open=True)
    require_range("confidence", confidence, 0, 1, low_open=True, high_open=True)
    if switch not in ("on", "off"):
        raise RangeError(f"'{switch}' is no switch", where="switch", limit="on, off", cure="Use one of them.")
    n, mean = len(each), sum(each) / len(each)
    reading = reading_sd_m * sum(lag / (d + flag_ahead_m) for lag, d in zip(each, distances_m, strict=True)) / n
    shared = speed_cv * mean
    spread = statistics.stdev(each) if n > 1 else None
    each_sd = max(spread or 0.0, reading)
    known = n > 1 or reading > 0
    sd = math.hypot(each_sd / math.sqrt(n), shared) if known else None
    reach = _reach(sd, each_sd / math.sqrt(n), n, confidence) if sd is not None else None
    return Lag(
        switch=switch,
        lag_s=mean,
        sd_s=sd,
        low_s=None if reach is None else mean - reach,
        high_s=None if reach is None else mean + reach,
        spread_s=spread,
        flags=n,
        basis="measured",
        source="flag test",
        product=product,
        note="" if n > 1 else "One flag: how much starts differ is not known. Set two more.",
    )


def _lags(distances_m: Sequence[float], speed_m_s: float | Sequence[float], flag_ahead_m: float) -> list[float]:
    """Time of each flag, faults gathered."""
    require_range("flag_ahead_m", flag_ahead_m, -math.inf, math.inf, low_open=True, high_open=True, unit="m")
    one = isinstance(speed_m_s, int | float)
    speeds = [float(speed_m_s)] * len(distances_m) if one else [float(v) for v in speed_m_s]  # type: ignore[arg-type, union-attr]
    if len(speeds) != len(distances_m) or not speeds:
        raise RangeError(f"{len(distances_m)} distances and {len(speeds)} speeds do not pair", where="speed_m_s", cure="Give one for each.")
    faults = [
        Fault(
            where=f"flag {i + 1}",
            what=f"{d:g} m from a flag {flag_ahead_m:g} m ahead, at {v:g} m/s",
            limit="seed ahead of where the openers were, speed above 0",
            cure="Dig again, or leave the flag out.",
        )
        for i, (d, v) in enumerate(zip(distances_m, speeds, strict=True))
        if not (v > 0 and d + flag_ahead_m > 0 and math.isfinite(v) and math.isfinite(d))
    ]
    if faults:
        raise RangeError(faults)
    return [(d + flag_ahead_m) / v for d, v in zip(distances_m, speeds, strict=True)]


def _reach(sd: float, of_mean: float, n: int, confidence: float) -> float:
    """Half width of the interval: Student's t for what repeats showed, widened degrees for what all flags share. [s]"""
    dof = math.inf if n == 1 or of_mean == 0 else (n - 1) * (sd / of_mean) ** 4
    return student_t(0.5 + confidence / 2, dof) * sd


def lag_from_strip(strip_m: Est, speed_m_s: Est | float, *, switch: Switch = "on", product: str = "") -> Lag:
    """Lag from a distance between flag and seed that is already a mean with its spread.

    Parameters
    ----------
    strip_m : Est
        From the flag to the first or last seed. [m]
    speed_m_s : Est or float
        Speed as driven. [m/s]
    switch : str
        "on" or "off". [-]
    product : str
        Which product was dug for. [-]

    Returns
    -------
    Lag
        Measured; its interval is two sd, None where the strip has no spread. [s]

    Raises
    ------
    RangeError
        If the strip or the speed is not above 0.
    """
    require_range("strip_m", strip_m.value, 0, math.inf, low_open=True, high_open=True, unit="m")
    speed = speed_m_s if isinstance(speed_m_s, Est) else Est(value=float(speed_m_s))
    require_range("speed_m_s", speed.value, 0, math.inf, low_open=True, high_open=True, unit="m/s")
    lag = strip_m.value / speed.value
    sd = lag * math.hypot(strip_m.relative_sd, speed.relative_sd) if strip_m.sd > 0 else None
    return Lag(
        switch=switch,
        lag_s=lag,
        sd_s=sd,
        low_s=None if sd is None else max(lag - 2 * sd, 0.0),
        high_s=None if sd is None else lag + 2 * sd,
        spread_s=None,
        flags=1,
        basis="measured",
        source="flag test",
        product=product,
        note="" if sd is not None else "One flag: how much starts differ is not known. Set two more.",
    )


def lag_from_hoses(
    length_m: float, air_speed_m_s: Est | float, *, switch: Switch = "on", slip_low: float | None = None, slip_high: float | None = None
) -> Lag:
    """Lag to expect from hose length and air speed: a weak prior, without the meter's own start and the fall to the soil.

    Parameters
    ----------
    length_m : float
        Way from meter to opener. [m]
    air_speed_m_s : Est or float
        Speed of the air. [m/s]
    switch : str
        "on" or "off". [-]
    slip_low, slip_high : float or None
        Speed of the product over that of the air; None: the limits as published for dilute conveying. [-]

    Returns
    -------
    Lag
        Middle of both slips; its interval is the range they give, at the air's own spread of two sd. [s]

    Raises
    ------
    RangeError
        If a length, speed or slip is out of range.

    References
    ----------
    Ratio of the speeds 0.70 to 0.95: a process-engineering article on pneumatic conveying, second-hand.
    """
    air = air_speed_m_s if isinstance(air_speed_m_s, Est) else Est(value=float(air_speed_m_s))
    span = figure("air", "drop", "slip")
    least, most = (span.low if slip_low is None else slip_low), (span.high if slip_high is None else slip_high)
    require_range("slip_high", most, least, 1)
    fast, slow = air.value + 2 * air.sd, air.value - 2 * air.sd
    low, high = transport_lag(length_m, fast, slip=most), transport_lag(length_m, slow, slip=least)
    return Lag(
        switch=switch,
        lag_s=(low + high) / 2,
        sd_s=(high - low) / 4,
        low_s=low,
        high_s=high,
        spread_s=None,
        flags=0,
        basis="computed",
        source=span.source,
        note="Hose and air only: the meter's start and the way to the soil come on top. Set flags.",
    )


def believed_lag(measured: Lag | None = None, computed: Lag | None = None, *, practice: Lag | None = None) -> Lag | None:
    """The lag to work with: measured wins, then common practice, never the hose alone where either is known.

    Parameters
    ----------
    measured : Lag or None
        From flags. [s]
    computed : Lag or None
        From hose and air; a floor that a measured lag should not lie below. [s]
    practice : Lag or None
        A usual range, see `usual_lag`. [s]

    Returns
    -------
    Lag or None
        The measured one, its note saying so if it is shorter than the air could carry; None if nothing is known. [s]
    """
    if measured is None:
        return practice if practice is not None else computed
    if computed is None or computed.low_s is None or measured.lag_s + 2 * (measured.sd_s or 0.0) >= computed.low_s:
        return measured
    doubt = f"Shorter than the air could carry it ({computed.low_s:.1f} s at least): check the speed, the flags and the air speed."
    return replace(measured, note=f"{measured.note} {doubt}".strip())


def usual_lag(switch: Switch) -> Lag:
    """A usual lag where none is measured: common practice, for a first plan and never for a check.

    Parameters
    ----------
    switch : str
        "on" or "off". [-]

    Returns
    -------
    Lag
        Middle of the usual range, which is its interval. [s]
    """
    found = default("start-lag" if switch == "on" else "stop-tail")
    return Lag(
        switch=switch,
        lag_s=found.value,
        sd_s=(found.high - found.low) / 4,
        low_s=found.low,
        high_s=found.high,
        spread_s=None,
        flags=0,
        basis="common-practice",
        source=found.source,
        note="A usual range of other outfits, not yours. Set flags.",
    )
