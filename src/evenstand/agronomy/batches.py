"""How much seed to treat tonight: running short costs a stop, what is left over cannot be fed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import MissingError, require_range
from evenstand.base.estimate import Est

Array = npt.NDArray[np.float64]
_REACH = 4  # standard deviations on either side within which the cheapest amount is sought
_STEPS = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class TreatChoice:
    """What comes of treating an amount. batches: None without a batch size; treat_kg [kg]; chance_short [-]; short_kg, left_kg: to be
    expected, over all outcomes [kg]; left_high_kg: not exceeded at the confidence asked [kg]; cost: to be expected, None without costs."""

    batches: int | None
    treat_kg: float
    chance_short: float
    short_kg: float
    left_kg: float
    left_high_kg: float
    cost: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TreatTonight:
    """How much to treat.

    need: what the hectares left will take beyond what is treated already, below 0 if more is treated than they take [kg]; ideal_kg:
    before rounding to batches [kg]; quantile: share of outcomes in which that is enough [-]; choice: what to do; beside: one batch less
    and one more, where there are such; enough: whether what is treated already is as much as it should be; note: how it was chosen.
    """

    need: Est
    ideal_kg: float
    quantile: float
    choice: TreatChoice
    beside: tuple[TreatChoice, ...]
    enough: bool
    note: str


def treat_tonight(
    area_ha: Est | float,
    rate_kg_ha: Est | float,
    *,
    overlap: tuple[float, float] = (0.0, 0.0),
    treated_kg: Est | float = 0.0,
    batch_kg: float | None = None,
    cost_stop: float | None = None,
    cost_short_kg: float | None = None,
    cost_left_kg: float | None = None,
    chance_short: float | None = None,
    most_left_kg: float | None = None,
    confidence: float = 0.95,
) -> TreatTonight:
    """How much seed to treat so that little is left and a stop is unlikely.

    What the hectares take is the product of area, one plus overlap, and rate: its mean and variance are exact for independent factors,
    its shape is taken as normal. Either say how unlikely running short shall be, or what it costs against what a kilogram left over
    costs; then the amount with the least cost to be expected is taken (with costs by the kilogram only, the quantile
    cost_short / (cost_short + cost_left)).

    Parameters
    ----------
    area_ha : Est or float
        Hectares left to sow, with their standard deviation. [ha]
    rate_kg_ha : Est or float
        Rate of treated seed as it truly is, with its standard deviation. [kg/ha]
    overlap : tuple of float
        Low and high share of ground sown twice; anything between is equally likely. [-]
    treated_kg : Est or float
        Treated already and not yet sown. [kg]
    batch_kg : float or None
        Seed in one batch; None lets the amount be anything. [kg]
    cost_stop : float or None
        Of running short once, however little: the stop, treating again. [money]
    cost_short_kg : float or None
        Of each kilogram short. [money/kg]
    cost_left_kg : float or None
        Of each kilogram left over: it cannot be fed or sold as grain. [money/kg]
    chance_short : float or None
        Largest chance of running short, in place of costs. [-]
    most_left_kg : float or None
        No choice may leave more than this, at `confidence`; it goes before the rest. [kg]
    confidence : float
        For `left_high_kg`. [-]

    Returns
    -------
    TreatTonight
        Mass, whole batches, the chance of running short and what is left. [kg]

    Raises
    ------
    MissingError
        If neither a chance nor both kinds of cost are given.
    RangeError
        If a number is outside its range.

    References
    ----------
    definition: least expected cost over a normal need, chance of a stop x its cost + mean kilograms short and left x their costs.

    Examples
    --------
    40 +- 2 ha at 120 +- 3 kg/ha, overlap of 1 to 4 %, 1500 kg treated already, batches of 500 kg, at most one chance in ten:

    >>> t = treat_tonight(Est(value=40, sd=2), Est(value=120, sd=3), overlap=(0.01, 0.04), treated_kg=1500, batch_kg=500, chance_short=0.1)
    >>> t.choice.batches, round(t.need.value), round(t.choice.chance_short, 3), round(t.choice.left_kg)
    (8, 3420, 0.019, 582)
    """
    require_range("confidence", confidence, 0, 1, low_open=True, high_open=True)
    need = _need(_est(area_ha), _est(rate_kg_ha), overlap, _est(treated_kg))
    costs = _costs(cost_stop, cost_short_kg, cost_left_kg, chance_short)
    if batch_kg is not None:
        require_range("batch_kg", batch_kg, 0, low_open=True, unit="kg")
    ideal, quantile = _ideal(need, costs, chance_short)
    if batch_kg is None:
        amounts = np.array([max(ideal, 0.0)])
    else:
        most = max(need.value + _REACH * need.sd, ideal, 0.0)
        amounts = batch_kg * np.arange(math.ceil(most / batch_kg - 1e-9) + 2)
    amounts = _near(amounts, ideal, batch_kg, most_left_kg, need, confidence)
    choices = [_choice(float(q), need, costs, batch_kg, confidence) for q in amounts]
    free = best = _best(choices, chance_short, costs)
    if most_left_kg is not None:
        require_range("most_left_kg", most_left_kg, 0, unit="kg")
        best = _little_left(choices, best, most_left_kg, batch_kg, need, costs, confidence)
    others = [best.treat_kg - batch_kg, best.treat_kg + batch_kg] if batch_kg else []
    beside = tuple(_choice(q, need, costs, batch_kg, confidence) for q in others if q >= -1e-9)
    return TreatTonight(
        need=need,
        ideal_kg=ideal,
        quantile=quantile,
        choice=best,
        beside=beside,
        enough=best.treat_kg <= 0,
        note=_sentence(best, need, costs, chance_short, most_left_kg, confidence, capped=best.treat_kg < free.treat_kg),
    )


def _est(value: Est | float) -> Est:
    return value if isinstance(value, Est) else Est(value=value)


def _need(area: Est, rate: Est, overlap: tuple[float, float], treated: Est) -> Est:
    """What is still to be treated if nothing shall be short: mean and variance of a product of independent factors. [kg]"""
    require_range("area_ha", area.value, 0, unit="ha")
    require_range("rate_kg_ha", rate.value, 0, low_open=True, unit="kg/ha")
    require_range("treated_kg", treated.value, 0, unit="kg")
    low, high = overlap
    require_range("overlap", low, 0, 1)
    require_range("overlap", high, low, 1)
    twice = Est(value=1 + (low + high) / 2, sd=(high - low) / math.sqrt(3 * 4))
    factors = (area, twice, rate)
    mean = math.prod(f.value for f in factors)
    if mean > 0:
        variance = mean**2 * math.expm1(sum(math.log1p(f.relative_sd**2) for f in factors))
    else:
        variance = math.prod(f.value**2 + f.sd**2 for f in factors)
    sd = math.sqrt(variance + treated.sd**2)
    return Est(value=mean - treated.value, sd=sd, basis="computed", source="area x overlap x rate")


def _costs(stop: float | None, short: float | None, left: float | None, chance: float | None) -> tuple[float, float, float] | None:
    """Costs of a stop, a kilogram short and a kilogram left; None if the chance decides. [money, money/kg, money/kg]"""
    for name, value in (("cost_stop", stop), ("cost_short_kg", short), ("cost_left_kg", left)):
        if value is not None:
            require_range(name, value, 0)
    if chance is not None:
        require_range("chance_short", chance, 0, 1, low_open=True, high_open=True)
    if left is not None and (stop is not None or short is not None):
        require_range("cost_left_kg", left, 0, low_open=True)
        return stop or 0.0, short or 0.0, left
    if chance is None:
        raise MissingError(
            "nothing says how bad running short is",
            where="cost_stop, cost_short_kg, cost_left_kg, chance_short",
            cure="Give the largest chance of running short, or the cost of a stop and of a kilogram left over.",
        )
    return None


def _ideal(need: Est, costs: tuple[float, float, float] | None, chance: float | None) -> tuple[float, float]:
    """Amount before rounding, and the share of outcomes it suffices for. [kg, -]"""
    from scipy.special import ndtr, ndtri

    if chance is not None:
        return need.value + need.sd * float(ndtri(1 - chance)), 1 - chance
    assert costs is not None
    stop, short, left = costs
    if stop == 0:
        quantile = short / (short + left)
        z = float(np.clip(ndtri(quantile), -_REACH, _REACH)) if need.sd else 0.0
        return need.value + need.sd * z, quantile
    if need.sd == 0:
        return need.value, 1.0
    z = _cheapest(need.sd, costs)
    return need.value + need.sd * z, float(ndtr(z))


def _cheapest(sd: float, costs: tuple[float, float, float]) -> float:
    """Standard deviations above the mean at which the cost to be expected is least. [-]"""
    from scipy.optimize import minimize_scalar

    grid = np.linspace(-_REACH, _REACH, 2 * _STEPS + 1)
    at = int(np.argmin(_expected(grid, sd, costs)))
    low, high = grid[max(at - 1, 0)], grid[min(at + 1, len(grid) - 1)]
    found = minimize_scalar(lambda z: float(_expected(np.array([z]), sd, costs)[0]), bounds=(low, high), method="bounded")
    return float(found.x)


def _outcome(z: Array, sd: float) -> tuple[Array, Array, Array]:
    """Chance of running short, kilograms short and kilograms left, to be expected, at z standard deviations above the mean."""
    from scipy.special import ndtr

    if sd == 0:
        return (z < 0).astype(float), np.zeros_like(z), np.zeros_like(z)
    density = np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)
    return ndtr(-z), sd * (density - z * ndtr(-z)), sd * (density + z * ndtr(z))


def _expected(z: Array, sd: float, costs: tuple[float, float, float]) -> Array:
    """Cost to be expected. [money]"""
    chance, short, left = _outcome(z, sd)
    return costs[0] * chance + costs[1] * short + costs[2] * left


def _choice(treat_kg: float, need: Est, costs: tuple[float, float, float] | None, batch_kg: float | None, confidence: float) -> TreatChoice:
    """What comes of one amount."""
    from scipy.special import ndtri

    over = treat_kg - need.value
    if need.sd > 0:
        chance, short, left = (float(part[0]) for part in _outcome(np.array([over / need.sd]), need.sd))
    else:
        chance, short, left = float(over < -1e-9), max(-over, 0.0), max(over, 0.0)
    return TreatChoice(
        batches=None if batch_kg is None else round(treat_kg / batch_kg),
        treat_kg=max(treat_kg, 0.0),
        chance_short=chance,
        short_kg=short,
        left_kg=left,
        left_high_kg=max(over + float(ndtri(confidence)) * need.sd, 0.0),
        cost=None if costs is None else costs[0] * chance + costs[1] * short + costs[2] * left,
    )


def _near(amounts: Array, ideal: float, batch_kg: float | None, most_left_kg: float | None, need: Est, confidence: float) -> Array:
    """Amounts worth looking at: all of few, else those about the ideal one and about the most that may be left. [kg]"""
    if batch_kg is None or len(amounts) <= _STEPS:
        return amounts
    wanted = [ideal]
    if most_left_kg is not None:
        from scipy.special import ndtri

        wanted.append(need.value + most_left_kg - float(ndtri(confidence)) * need.sd)
    keep: set[int] = {0}
    for kg in wanted:
        at = round(max(kg, 0.0) / batch_kg)
        keep |= {i for i in range(at - _REACH, at + _REACH + 1) if 0 <= i < len(amounts)}
    return amounts[sorted(keep)]


def _best(choices: list[TreatChoice], chance: float | None, costs: tuple[float, float, float] | None) -> TreatChoice:
    """The least amount that keeps to the chance; else the cheapest."""
    if chance is not None:
        return next((c for c in choices if c.chance_short <= chance + 1e-9), choices[-1])
    return min(choices, key=lambda c: (c.cost if c.cost is not None else math.inf, c.treat_kg))


def _little_left(
    choices: list[TreatChoice],
    best: TreatChoice,
    most_kg: float,
    batch_kg: float | None,
    need: Est,
    costs: tuple[float, float, float] | None,
    confidence: float,
) -> TreatChoice:
    """The choice itself if it leaves little enough, else the largest that does; nothing at all if none does."""
    if best.left_high_kg <= most_kg or best.treat_kg <= 0:
        return best
    if batch_kg is None:
        return _choice(max(best.treat_kg - (best.left_high_kg - most_kg), 0.0), need, costs, None, confidence)
    fit = [c for c in choices if c.left_high_kg <= most_kg]
    return fit[-1] if fit else choices[0]


def _sentence(
    best: TreatChoice,
    need: Est,
    costs: tuple[float, float, float] | None,
    chance: float | None,
    most_left: float | None,
    confidence: float,
    *,
    capped: bool,
) -> str:
    """How it was chosen, in words; capped: less than would have been chosen without the limit on what may be left."""
    if chance is not None:
        why = f"The least that runs short in at most {100 * chance:g} % of outcomes"
    else:
        assert costs is not None
        why = "The least cost to be expected, a shortage weighed against what is left over"
        if capped:
            why = "Held down by what may be left; the least cost to be expected would be more"
    text = f"{why}: {best.treat_kg:.0f} kg to treat, about {best.left_kg:.0f} kg left, at most {best.left_high_kg:.0f} kg in "
    text += f"{100 * confidence:g} % of outcomes."
    if most_left is not None and best.left_high_kg > most_left:
        text += f" Even so more than {most_left:g} kg may be left."
    elif most_left is not None and chance is not None and best.chance_short > chance + 1e-9:
        text += f" Held down so that no more than {most_left:g} kg is left: running short is likelier than was asked."
    if best.treat_kg <= 0 and need.value < 0:
        text += " More is treated than the hectares will take: plan what becomes of the rest; it must not be fed."
    return text
