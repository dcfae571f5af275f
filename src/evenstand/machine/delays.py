"""From switch to seed: transport lag, and the ground it skips or sows twice."""

from __future__ import annotations

import math

from evenstand.base.errors import require_range
from evenstand.base.worked import worked


@worked(formula="length_m / (air_speed_m_s * slip)", source="definition", where="time = way / speed of the product")
def transport_lag(length_m: float, air_speed_m_s: float, *, slip: float = 0.8) -> float:
    """Time product takes through its hoses; the meter's own start comes on top, so measure it with a flag.

    Parameters
    ----------
    length_m : float
        Way from meter to opener. [m]
    air_speed_m_s : float
        Speed of the air. [m/s]
    slip : float
        Speed of the product over that of the air, 0.70 to 0.95 for dilute conveying. [-]

    Returns
    -------
    float
        Lag. [s]

    Raises
    ------
    RangeError
        If a length or speed is not above 0 or slip is outside 0 to 1.

    References
    ----------
    Ratio of the speeds 0.8 (0.70 to 0.95): a process-engineering article on pneumatic conveying, second-hand.
    """
    require_range("length_m", length_m, 0, math.inf, low_open=True, high_open=True, unit="m")
    require_range("air_speed_m_s", air_speed_m_s, 0, math.inf, low_open=True, high_open=True, unit="m/s")
    require_range("slip", slip, 0, 1, low_open=True)
    return length_m / (air_speed_m_s * slip)


@worked(formula="lag_s * speed_m_s", source="definition", where="way = time x speed")
def lag_distance(lag_s: float, speed_m_s: float) -> float:
    """Ground that passes before product arrives (a skip), or after it is shut off (sown twice).

    Parameters
    ----------
    lag_s : float
        Measured lag: from the switch to the first or last seed found by digging. [s]
    speed_m_s : float
        Ground speed. [m/s]

    Returns
    -------
    float
        Distance. [m]

    Raises
    ------
    RangeError
        If an argument is below 0.
    """
    require_range("lag_s", lag_s, 0, math.inf, high_open=True, unit="s")
    require_range("speed_m_s", speed_m_s, 0, math.inf, high_open=True, unit="m/s")
    return lag_s * speed_m_s
