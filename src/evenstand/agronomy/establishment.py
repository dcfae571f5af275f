"""Survival achieved: plants standing over seeds sown, and what past fields say about the next one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenstand.agronomy.crops import crop_ranges
from evenstand.base.errors import MissingError, require_range
from evenstand.base.estimate import Est, propagate
from evenstand.reference import figure


def _ratio(plants_m2: float, seeds_m2: float) -> float:
    require_range("plants_m2", plants_m2, 0, unit="plants/m²")
    require_range("seeds_m2", seeds_m2, 0, low_open=True, unit="seeds/m²")
    return plants_m2 / seeds_m2


@dataclass(frozen=True, slots=True, kw_only=True)
class Achieved:
    """Survival as it came out. survival [-]; above_seeds: more plants than seeds, by more than the counts allow for; note: what to mind."""

    survival: Est
    above_seeds: bool
    note: str = ""


def survival_achieved(stand: Est, seeds_m2: Est) -> Achieved:
    """Share of the seeds sown that stand as plants, with its sd.

    Parameters
    ----------
    stand : Est
        Counted, `Stand.est`. [plants/m²]
    seeds_m2 : Est
        Sown, from the proven rate and the kernel weight. [seeds/m²]

    Returns
    -------
    Achieved
        It is not cut at one: more plants than seeds is a finding, not a survival. [-]

    Raises
    ------
    RangeError
        If the stand is negative or no seeds were sown.

    Examples
    --------
    >>> round(survival_achieved(Est(value=210, sd=12), Est(value=280, sd=8)).survival.sd, 3)
    0.048
    """
    found = propagate(_ratio, plants_m2=stand, seeds_m2=seeds_m2)
    est = Est(value=found.value, sd=found.sd, basis="measured", source="plants over seeds")
    above = est.value - 2 * est.sd > 1
    note = "More plants than seeds: volunteers, a miscount, or more seed sown than typed." if above else ""
    return Achieved(survival=est, above_seeds=above, note=note)


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldSurvival:
    """Survival of one crop on one field in one season [-]."""

    field: str
    season: int
    survival: Est


@dataclass(frozen=True, slots=True, kw_only=True)
class NextSurvival:
    """Survival to plan with. survival for the next season on that field [-]; crop_mean: of the crop over fields [-]; spread_sd: from
    field to field and season to season together [-], and spread_basis: "past results and prior", or the prior's where there are too few;
    own, others: how many past results of this field and of others; own_weight: pull of this field's own results against the crop [-]."""

    survival: Est
    crop_mean: Est
    spread_sd: float
    spread_basis: str
    own: int
    others: int
    own_weight: float


def survival_prior(crop: str) -> Est:
    """What publishers say of a crop's survival, as one prior: the middle of all their ranges, the whole taken as two sd either side.

    Parameters
    ----------
    crop : str
        As `find_crop` takes it. [-]

    Returns
    -------
    Est
        Survival; the sd is our reading of the ranges, for a default only. [-]

    Raises
    ------
    MissingError
        If nothing published has been read for the crop.

    Examples
    --------
    >>> round(survival_prior("canola").value, 3)
    0.575
    """
    ranges = crop_ranges(crop, "survival")
    if not ranges:
        raise MissingError(f"no published survival for {crop}", where="crop", cure="Type your own, or count a stand.")
    low, high = min(r.low for r in ranges), max(r.high for r in ranges)
    least = figure("stands", "survival_spread", "least").value
    return Est(value=(low + high) / 2, sd=max((high - low) / 4, least), basis="published", source=ranges[0].source)


def survival_spread(results: Sequence[FieldSurvival]) -> float | None:
    """How far survival truly spreads from field to field and season to season, counting errors taken out.

    Working: sqrt((Q - (n - 1)) / (sum w - sum w² / sum w)), Q = sum w (s - mean)², w = 1 / sd²; 0 if negative.

    Parameters
    ----------
    results : sequence of FieldSurvival
        Past results of one crop. [-]

    Returns
    -------
    float or None
        One standard deviation, by moments; 0 where counting alone explains the spread, None with fewer than three results. [-]

    References
    ----------
    definition: variance seen less variance of counting, by moments.
    R. DerSimonian and N. Laird, moments of a random-effects mean, from memory.
    """
    if len(results) < 3:
        return None
    least = figure("stands", "survival_spread", "counting").value
    weights = [1 / max(r.survival.sd, least) ** 2 for r in results]
    mean = sum(w * r.survival.value for w, r in zip(weights, results, strict=True)) / sum(weights)
    q = sum(w * (r.survival.value - mean) ** 2 for w, r in zip(weights, results, strict=True))
    scale = sum(weights) - sum(w * w for w in weights) / sum(weights)
    return math.sqrt(max(0.0, (q - (len(results) - 1)) / scale))


def next_survival(results: Sequence[FieldSurvival], field: str, prior: Est, *, field_share: float | None = None) -> NextSurvival:
    """Survival to plan with on a field, from its own past, other fields' past, and a prior.

    The model: a season's true survival on a field is the crop's mean, plus the field's own part, plus the season's part; each normal and
    independent, a count of it normal with its own sd. The crop's mean is as the prior says, updated by the other fields; the field's part
    is updated by its own seasons. Seasons of other fields count as independent of one another, a simplification where one field gave
    several. With fewer than three results the spread is that of the prior; with more, the prior's variance counts as so many results
    (stands.toml), so that three seasons alike do not make the fourth certain.

    Parameters
    ----------
    results : sequence of FieldSurvival
        Past results of this crop, this field's among them. [-]
    field : str
        The field to plan for. [-]
    prior : Est
        What is thought of the crop without any result, its sd also the spread from field to field. [-]
    field_share : float or None
        Part of the spread's variance that belongs to the field and stays from season to season; the table's default without it. [-]

    Returns
    -------
    NextSurvival
        Its sd holds what is not known of field and season together. [-]

    Raises
    ------
    RangeError
        If field_share is outside 0 to 1, or the prior's value outside 0 to 1.

    Examples
    --------
    >>> past = [FieldSurvival(field="home", season=2024 + i, survival=Est(value=v, sd=0.04)) for i, v in enumerate((0.72, 0.70, 0.75))]
    >>> planned = next_survival(past, "home", Est(value=0.85, sd=0.05))
    >>> round(planned.survival.value, 2), planned.own
    (0.75, 3)
    """
    require_range("prior", prior.value, 0, 1, low_open=True)
    part = figure("stands", "survival_spread", "field_share").value if field_share is None else field_share
    require_range("field_share", part, 0, 1)
    found = survival_spread(results)
    spread = prior.sd if found is None else _pooled(prior.sd, found, len(results))
    own, others = [r for r in results if r.field == field], [r for r in results if r.field != field]
    between, within = part * spread**2, (1 - part) * spread**2
    mean, mean_variance = _updated(prior.value, prior.sd**2, [(r.survival.value, spread**2 + r.survival.sd**2) for r in others])
    level, level_variance = _updated(mean, mean_variance + between, [(r.survival.value, within + r.survival.sd**2) for r in own])
    start = mean_variance + between
    return NextSurvival(
        survival=Est(value=level, sd=math.sqrt(level_variance + within), basis="computed", source="past stands and a prior"),
        crop_mean=Est(value=mean, sd=math.sqrt(mean_variance), basis="computed", source="other fields and a prior"),
        spread_sd=spread,
        spread_basis="past results and prior" if found is not None else prior.basis,
        own=len(own),
        others=len(others),
        own_weight=1 - level_variance / start if start > 0 else 0.0,
    )


def _pooled(prior_sd: float, found: float, results: int) -> float:
    """Spread from prior and past together, variances weighed by degrees of freedom. [-]"""
    worth = figure("stands", "survival_spread", "prior_results").value
    return math.sqrt((worth * prior_sd**2 + (results - 1) * found**2) / (worth + results - 1))


def _updated(mean: float, variance: float, seen: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """A normal mean after independent normal sightings of it, each with its variance."""
    exact = [value for value, spread in seen if spread == 0]
    if variance == 0 or not seen:
        return mean, variance
    if exact:
        return sum(exact) / len(exact), 0.0
    precision = 1 / variance + sum(1 / spread for _, spread in seen)
    return (mean / variance + sum(value / spread for value, spread in seen)) / precision, 1 / precision
