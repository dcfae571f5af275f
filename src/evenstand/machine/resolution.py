"""How fine a setting is: what one count of it does to the dose."""

from __future__ import annotations

import math
from dataclasses import dataclass

from evenstand.base.errors import RangeError, require_range


def one_count(text: str) -> float:
    """One count of the last digit of a typed value.

    Working: 10 to the power of minus the number of decimals.

    Parameters
    ----------
    text : str
        The value as typed or shown, such as "1.25" or "16". [-]

    Returns
    -------
    float
        0.01 for "1.25", 1 for "16". [unit of the value]

    Raises
    ------
    RangeError
        If the text is no plain number.

    References
    ----------
    Definition: one unit in the last decimal.

    Examples
    --------
    >>> one_count("1.25"), one_count("16")
    (0.01, 1.0)
    """
    whole, _, part = text.strip().partition(".")
    if not (whole + part).isdigit():
        raise RangeError(f"'{text}' is no plain number", where="text", cure="Write digits and at most one point.")
    return 10.0 ** -len(part)


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingStep:
    """What one count more of a setting does to the dose.

    setting: "factor", "width", "speed", "rev", "gear", "rate"; step: one count [unit of the setting]; change_kg_ha: dose after less
    dose before [kg/ha]; share: the same over the rate [-].
    """

    setting: str
    step: float
    change_kg_ha: float
    share: float


def setting_steps(
    rate_kg_ha: float,
    *,
    factor: tuple[float, float] | None = None,
    width: tuple[float, float] | None = None,
    stand_in_speed: tuple[float, float] | None = None,
    rev: tuple[float, float] | None = None,
    gear: tuple[float, float] | None = None,
    rate_step_kg_ha: float | None = None,
) -> tuple[SettingStep, ...]:
    """What one count of each setting means in kilograms per hectare.

    A factor typed one count higher makes the meter turn less, so the dose falls; a width, a stand-in speed, a shaft speed or a gear one
    count higher makes it turn more.

    Parameters
    ----------
    rate_kg_ha : float
        Rate now. [kg/ha]
    factor : tuple of float or None
        (typed product per turn, one count). [kg/rev]
    width : tuple of float or None
        (typed width, one count). [m]
    stand_in_speed : tuple of float or None
        (typed speed that stands in for the sensor, one count). [m/s]
    rev : tuple of float or None
        (meter speed set by hand, one count). [rev/s]
    gear : tuple of float or None
        (gear ratio or notch now, the step to the next). [-]
    rate_step_kg_ha : float or None
        One press of the rate key. [kg/ha]

    Returns
    -------
    tuple of SettingStep
        In the order above, for those given. [units in the field names]

    Raises
    ------
    RangeError
        If the rate, a setting or its step is not above 0.

    References
    ----------
    Definition: dose is inverse to a typed factor and proportional to a typed width or speed, a shaft speed and a gear.

    Examples
    --------
    0.01 kg on 1.25 kg/rev is 0.8 %, 0.96 kg/ha of 121:

    >>> s = setting_steps(121, factor=(1.25, 0.01))[0]
    >>> round(s.change_kg_ha, 2), round(s.share * 100, 1)
    (-0.96, -0.8)
    """
    require_range("rate_kg_ha", rate_kg_ha, 0.0, math.inf, low_open=True, high_open=True, unit="kg/ha")
    found = []
    for name, pair in (("factor", factor), ("width", width), ("speed", stand_in_speed), ("rev", rev), ("gear", gear)):
        if pair is None:
            continue
        now, step = pair
        require_range(name, now, 0.0, math.inf, low_open=True, high_open=True)
        require_range(f"step of {name}", step, 0.0, math.inf, low_open=True, high_open=True)
        share = now / (now + step) - 1 if name == "factor" else step / now
        found.append(SettingStep(setting=name, step=step, change_kg_ha=rate_kg_ha * share, share=share))
    if rate_step_kg_ha is not None:
        require_range("rate_step_kg_ha", rate_step_kg_ha, 0.0, math.inf, low_open=True, high_open=True, unit="kg/ha")
        found.append(SettingStep(setting="rate", step=rate_step_kg_ha, change_kg_ha=rate_step_kg_ha, share=rate_step_kg_ha / rate_kg_ha))
    return tuple(found)
