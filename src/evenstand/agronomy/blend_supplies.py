"""What a given blend does: per hectare, per placement, in the row, against needs and limits."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from evenstand.agronomy.blend_parts import BlendLimit, BlendProduct, FreeBin, Need, Rates, check_parts, need_range
from evenstand.base.errors import Fault, InputError, RangeError

Standing = Literal["kept", "under", "over"]
_DUST = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A need or limit against what the blend gives.

    key: nutrient or limit; kind: "need" or "limit"; value: what the blend gives [kg/ha]; least, most: None: open [kg/ha]; standing: "kept",
    "under" or "over"; off: how far under or over, 0 where it is kept [kg/ha].
    """

    key: str
    kind: Literal["need", "limit"]
    value: float
    least: float | None
    most: float | None
    standing: Standing
    off: float


@dataclass(frozen=True, slots=True, kw_only=True)
class InPlace:
    """What goes into one placement: mass [kg/ha]; supplied: nutrients [kg/ha]; analysis: of the mixture [-]; products [kg/ha]."""

    mass_kg_ha: float
    supplied: Mapping[str, float]
    analysis: Mapping[str, float]
    products: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class BlendSupply:
    """What a blend supplies.

    rates_kg_ha: of each product; mass_kg_ha: of all; supplied: each nutrient [kg/ha]; placed: by placement; liquid_l_ha: of each liquid,
    None where its density is not known [L/ha]; stock_kg_ha, bought_kg_ha: from the yard and to buy [kg/ha]; cost_ha: None where a price
    that is needed is not known [money/ha]; held: needs and limits; bins_short: bins or tanks that are missing, None where none were
    given [-].
    """

    rates_kg_ha: Mapping[str, float]
    mass_kg_ha: float
    supplied: Mapping[str, float]
    placed: Mapping[str, InPlace]
    liquid_l_ha: Mapping[str, float | None]
    stock_kg_ha: Mapping[str, float]
    bought_kg_ha: Mapping[str, float]
    cost_ha: float | None
    held: tuple[Held, ...]
    bins_short: int | None

    @property
    def keeps_all(self) -> bool:
        """Whether every need and limit is kept, and there are bins for all of it."""
        return all(h.standing == "kept" for h in self.held) and not self.bins_short


def blend_supplies(
    rates_kg_ha: Rates,
    products: Sequence[BlendProduct],
    *,
    needs: Mapping[str, Need] | None = None,
    limits: Sequence[BlendLimit] = (),
    bins: Sequence[FreeBin] | None = None,
) -> BlendSupply:
    """What a given blend does per hectare, per placement and in the row, and how it stands against needs and limits.

    Parameters
    ----------
    rates_kg_ha : mapping of str to float, or to a mapping of placement to float
        Rate of each product; a single number goes to the product's only placement. [kg/ha]
    products : sequence of BlendProduct
        With their analyses, prices and what is on the yard. [see the class]
    needs : mapping or None
        As for `blend`. [kg/ha]
    limits : sequence of BlendLimit
        As for `blend`. [kg/ha]
    bins : sequence of FreeBin or None
        As for `blend`. [-]

    Returns
    -------
    BlendSupply
        Nothing is raised for a need or limit that is not kept: it is said. [see the class]

    Raises
    ------
    InputError, RangeError
        If a product is not known, a placement is not one of its own, or a number is out of range.

    References
    ----------
    definition: nutrient = product x share, summed over products and placements.

    Examples
    --------
    >>> map_ = BlendProduct(key="MAP", analysis={"N": 0.11, "P2O5": 0.52}, price_kg=0.80, placements=("seed-row",))
    >>> given = blend_supplies({"MAP": 50}, [map_], needs={"P2O5": 30})
    >>> round(given.supplied["P2O5"], 1), given.held[0].standing, round(given.held[0].off, 1)
    (26.0, 'under', 4.0)
    """
    check_parts(needs or {}, products, limits, bins)
    by_key = {p.key: p for p in products}
    placed = _placed(rates_kg_ha, by_key)
    rates = {key: math.fsum(places.values()) for key, places in placed.items()}
    stock = {key: min(rate, by_key[key].stock_kg_ha) for key, rate in rates.items() if by_key[key].stock_kg_ha > 0}
    bought = {key: rate - stock.get(key, 0.0) for key, rate in rates.items()}
    held = [_need_held(key, need, placed, by_key) for key, need in sorted((needs or {}).items())]
    held += [_limit_held(limit, placed, by_key) for limit in limits]
    held += [
        _held(f"{key}, what there is", "limit", rate, None, by_key[key].available_kg_ha)
        for key, rate in rates.items()
        if by_key[key].available_kg_ha is not None
    ]
    held += [
        _held(f"{key}, smallest dose, {place}", "limit", rate, by_key[key].least_kg_ha, None)
        for key, places in placed.items()
        for place, rate in places.items()
        if by_key[key].least_kg_ha > 0
    ]
    return BlendSupply(
        rates_kg_ha=rates,
        mass_kg_ha=math.fsum(rates.values()),
        supplied=_nutrients(rates, by_key),
        placed={q: _in_place({k: places[q] for k, places in placed.items() if q in places}, by_key) for q in _places(placed)},
        liquid_l_ha={
            key: rate / density if (density := by_key[key].density_kg_l) is not None else None
            for key, rate in rates.items()
            if by_key[key].form == "liquid"
        },
        stock_kg_ha=stock,
        bought_kg_ha=bought,
        cost_ha=_cost(stock, bought, by_key),
        held=tuple(held),
        bins_short=None if bins is None else _bins_short(placed, by_key, bins),
    )


def _placed(rates: Rates, by_key: Mapping[str, BlendProduct]) -> dict[str, dict[str, float]]:
    """Product -> placement -> rate; zeros are left out, all faults are named. [kg/ha]"""
    faults, out = [], {}
    for key, given in rates.items():
        if key not in by_key:
            faults.append(Fault(where=key, what="is not in the list of products", cure=f"Listed: {', '.join(by_key)}."))
            continue
        own = by_key[key].placements
        if not isinstance(given, Mapping) and len(own) != 1:
            faults.append(Fault(where=key, what=f"may go to {' or '.join(own)}", cure="Say which: give a rate for each placement."))
            continue
        places = dict(given) if isinstance(given, Mapping) else {own[0]: given}
        for place, rate in places.items():
            if place not in own:
                faults.append(Fault(where=f"{key}, {place}", what="is no placement of it", limit=", ".join(own), cure="Correct one."))
            elif not 0 <= rate <= 1e6:
                faults.append(Fault(where=f"{key}, {place}", what=f"{rate:g} kg/ha", limit="0 <= rate <= 1000000", cure="Correct it."))
        out[key] = {place: float(rate) for place, rate in places.items() if rate != 0}
    if faults:
        raise (RangeError if all(f.limit for f in faults) else InputError)(faults)
    return {key: places for key, places in out.items() if places}


def _places(placed: Mapping[str, Mapping[str, float]]) -> list[str]:
    return sorted({q for places in placed.values() for q in places})


def _nutrients(rates: Mapping[str, float], by_key: Mapping[str, BlendProduct]) -> dict[str, float]:
    names = sorted({n for key in rates for n in by_key[key].analysis})
    return {n: math.fsum(rate * by_key[key].analysis.get(n, 0.0) for key, rate in rates.items()) for n in names}


def _in_place(rates: Mapping[str, float], by_key: Mapping[str, BlendProduct]) -> InPlace:
    mass, supplied = math.fsum(rates.values()), _nutrients(rates, by_key)
    return InPlace(mass_kg_ha=mass, supplied=supplied, analysis={n: v / mass for n, v in supplied.items()}, products=dict(rates))


def _cost(stock: Mapping[str, float], bought: Mapping[str, float], by_key: Mapping[str, BlendProduct]) -> float | None:
    parts = [rate * by_key[key].stock_price_kg for key, rate in stock.items()]
    for key, rate in bought.items():
        price = by_key[key].price_kg
        if price is None and rate > 0:
            return None
        parts.append(rate * (price or 0.0))
    return math.fsum(parts)


def _need_held(key: str, need: Need, placed: Mapping[str, Mapping[str, float]], by_key: Mapping[str, BlendProduct]) -> Held:
    value = math.fsum(rate * by_key[p].analysis.get(key, 0.0) for p, places in placed.items() for rate in places.values())
    return _held(key, "need", value, *need_range(need))


def _limit_held(limit: BlendLimit, placed: Mapping[str, Mapping[str, float]], by_key: Mapping[str, BlendProduct]) -> Held:
    value = math.fsum(rate * limit.weight(by_key[p], place) for p, places in placed.items() for place, rate in places.items())
    return _held(limit.key, "limit", value, limit.least_kg_ha, limit.most_kg_ha)


def _held(key: str, kind: Literal["need", "limit"], value: float, least: float | None, most: float | None) -> Held:
    """Rounding dust beside a limit does not count against it."""
    under = (least or 0.0) - value
    over = value - most if most is not None else -math.inf
    standing: Standing = "kept"
    if under > _DUST * max(value, 1.0):
        standing = "under"
    elif over > _DUST * max(value, 1.0):
        standing = "over"
    off = {"kept": 0.0, "under": under, "over": over}[standing]
    return Held(key=key, kind=kind, value=value, least=least, most=most, standing=standing, off=off)


def _bins_short(placed: Mapping[str, Mapping[str, float]], by_key: Mapping[str, BlendProduct], bins: Sequence[FreeBin]) -> int:
    """Products times placements that find no bin of their own, at best: a matching by augmenting paths. [-]"""
    wanted = [(key, place) for key, places in placed.items() for place in places]
    fits = [[k for k, b in enumerate(bins) if place in b.feeds and b.form == by_key[key].form] for key, place in wanted]
    holder: dict[int, int] = {}

    def seat(i: int, tried: set[int]) -> bool:
        for k in fits[i]:
            if k not in tried:
                tried.add(k)
                if k not in holder or seat(holder[k], tried):
                    holder[k] = i
                    return True
        return False

    return sum(not seat(i, set()) for i in range(len(wanted)))
