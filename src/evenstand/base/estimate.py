"""A number with its uncertainty, and how uncertainty runs through a formula."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from evenstand.base.errors import RangeError


@dataclass(frozen=True, slots=True, kw_only=True)
class Est:
    """A value, its standard deviation, how it is known and from where.

    value [unit of the field that holds it]; sd [same unit]; basis: "typed", "measured", "catch", "published",
    "common-practice", "computed", "stated"; source: a source key, a file name or who said so.
    """

    value: float
    sd: float = 0.0
    basis: str = "stated"
    source: str = ""

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise RangeError(f"{self.value} is no number", where="value", cure="Leave unknown values out.")
        if not (self.sd >= 0 and math.isfinite(self.sd)):
            raise RangeError(f"{self.sd} is no standard deviation", where="sd", limit="0 <= sd")

    def interval(self, z: float = 1.96) -> tuple[float, float]:
        """Bounds value -+ z sd; z 1.96 is 95 % of a normal distribution. [unit of value]"""
        return self.value - z * self.sd, self.value + z * self.sd

    @property
    def relative_sd(self) -> float:
        """sd over the size of the value; infinite at zero. [-]"""
        return math.inf if self.value == 0 else self.sd / abs(self.value)


def propagate(
    function: Callable[..., float],
    *,
    correlation: Mapping[tuple[str, str], float] | None = None,
    **values: Est | float | str | bool | None,
) -> Est:
    """Carry standard deviations through any scalar function of keyword arguments, to first order.

    Parameters
    ----------
    function : callable
        Called with keywords only; returns one number. [any]
    correlation : mapping of (name, name) to float
        Correlations between inputs, -1 to 1; pairs not named are independent. [-]
    **values : Est, or anything the function takes
        `Est` values vary; the rest is passed on as it is. [each in its own unit]

    Returns
    -------
    Est
        Value at the central inputs; sd from central differences, steps of one sd on either side, so that a
        mildly curved function is averaged over the range that matters. [unit of the function]

    Raises
    ------
    RangeError
        If the function cannot be evaluated at the central inputs.

    References
    ----------
    The law of propagation of uncertainty, JCGM 100:2008 (GUM), equation 13 (from memory, not read here).
    """
    centre = {k: (v.value if isinstance(v, Est) else v) for k, v in values.items()}
    result = float(function(**centre))
    slopes: dict[str, float] = {}
    for name, est in values.items():
        if not isinstance(est, Est) or est.sd == 0:
            continue
        slopes[name] = _half_spread(function, centre, name, est)
    variance = sum(s * s for s in slopes.values())
    for (a, b), rho in (correlation or {}).items():
        if a in slopes and b in slopes and a != b:
            variance += 2 * rho * slopes[a] * slopes[b]
    return Est(value=result, sd=math.sqrt(max(variance, 0.0)), basis="computed", source=getattr(function, "__name__", ""))


def _half_spread(function: Callable[..., float], centre: Mapping[str, object], name: str, est: Est) -> float:
    """Signed effect of one standard deviation of one input; steps shrink where the range ends. [unit of the function]"""
    for shrink in (1.0, 0.1, 0.001):
        step = est.sd * shrink
        try:
            up = float(function(**{**centre, name: est.value + step}))
            down = float(function(**{**centre, name: est.value - step}))
        except RangeError:
            continue
        return (up - down) / 2 / shrink
    raise RangeError(f"{est.value:g} lies on the edge of its range", where=name, cure="Give the value without a spread.")
