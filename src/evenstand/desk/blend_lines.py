"""A job's blend as lines and rows to read: rates, cost, nutrients with their sums, what binds, the next best, the conflict in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

from evenstand.base.units import Profile, profile_unit, rounded, shown
from evenstand.base.worked import Working
from evenstand.expect.lines import line
from evenstand.reference import source, sources

if TYPE_CHECKING:
    from evenstand.agronomy import Binding
    from evenstand.agronomy.blend_rows import Element
    from evenstand.desk.blend_jobs import JobBlend
    from evenstand.model import CardLine
    from evenstand.model.finding import State

PLACES = {"seed-row": "seed row", "side-band": "side band", "mid-row": "mid row"}
SAID_MOST = 3  # limits of a conflict that one sentence still holds
_KIND = {
    "need": "the need of {key}",
    "limit": "the limit {key}",
    "available": "what there is of {key}",
    "dose": "the smallest dose of {key}",
    "bins": "the free bins{key}",
    "max_products": "the number of products",
}


def cited(key: str) -> str:
    """A source in words; a text that is no key of one stays as it is. [text]"""
    return str(source(key)) if key in sources() else key


def placed_words(key: str) -> str:
    """'seed-row N (publisher)' as 'seed row N (publisher)'. [text]"""
    for code, words in PLACES.items():
        key = key.replace(code, words)
    return key


def blend_sentence(found: JobBlend, units: Profile) -> tuple[str, State]:
    """The answer in a sentence, and how it stands.

    Parameters
    ----------
    found : JobBlend
        As answered. [-]
    units : str
        The reader's. [-]

    Returns
    -------
    tuple of (str, state)
        "does-not-hold" where no blend keeps all limits, or where it is judged over a limit. [text]
    """
    report, supply = found.report, found.report.supply
    if report.conflict:
        told = [f"{c[:1].lower()}{c[1:].rstrip('.').replace(': ', ', ')}" for c in conflict_words(found, units)]
        what = "what stands below cannot be kept together" if len(told) > SAID_MOST else "; against ".join(told)
        return f"No blend keeps all of it: {what}.", "does-not-hold"
    if report.blend is None or supply is None or not supply.rates_kg_ha:
        return "Nothing is needed.", "holds"
    parts = [
        f"{key} {shown(rate, 'rate', units)} in the {PLACES.get(place, place)}"
        for key, places in report.blend.placed_kg_ha.items()
        for place, rate in places.items()
        if rate > 0
    ]
    what = "Least mass to buy" if report.blend.objective == "mass" else f"Cheapest at {shown(supply.cost_ha, 'price_area', units)}"
    beside = {x.state for x in found.verdict.lines if x.placement == "seed-row"} if found.verdict is not None else set()
    sure = report.blend.proof.optimal and beside <= {"within"}
    state: State = "does-not-hold" if "over" in beside else "holds" if sure else "doubtful"
    return f"{what}: {', '.join(parts)}.", state


def seed_row_sentence(found: JobBlend) -> str:
    """What the guideline says of what lies beside the seed, in a sentence; "" where nothing does. [text]"""
    if found.verdict is None:
        return ""
    words = {"within": "within the limit", "over": "over the limit", "not-published": "no limit published", "cannot-tell": "cannot be told"}
    by_state = {
        state: [x.nutrient for x in found.verdict.lines if x.placement == "seed-row" and x.state == state and x.asked_kg_ha > 0]
        for state in words
    }
    told = [f"{' and '.join(names)} {words[state]}" for state, names in by_state.items() if names]
    if not told:
        return ""
    return f"Beside the seed: {'; '.join(told)}{f' ({found.verdict.publisher})' if found.verdict.publisher else ''}."


def rate_lines(found: JobBlend, units: Profile) -> tuple[CardLine, ...]:
    """Rate of each product in each place, the cost, and what is bought. [metric]"""
    report, supply = found.report, found.report.supply
    if report.blend is None or supply is None:
        return ()
    origins = {p.key: p.source for p in found.ask.products}
    shares = {p.key: p.analysis for p in found.ask.products}
    out: list[CardLine] = []
    for key, places in report.blend.placed_kg_ha.items():
        for place, rate in places.items():
            brings = ", ".join(f"{n} {shown(rate * v, 'rate', units)}" for n, v in shares[key].items() if v > 0)
            all_of_it = (
                f"{shown(rate * report.area_ha, 'load', units)} for {shown(report.area_ha, 'area', units)}. " if report.area_ha else ""
            )
            label = f"{key}, {PLACES.get(place, place)}"
            more = [f"It brings {brings}.", "The rate is what the cheapest blend comes to: it has no formula of its own."]
            by = "the book, or as typed" if origins[key] == "typed" else cited(origins[key])
            out.append(
                line(
                    f"rate:{key}:{place}",
                    "row",
                    label,
                    "rate",
                    rate,
                    why=all_of_it,
                    basis="computed",
                    source=f"analysis by {by}",
                    more=more,
                )
            )
        if supply.stock_kg_ha.get(key):
            own, bought = (shown(x[key], "rate", units) for x in (supply.stock_kg_ha, supply.bought_kg_ha))
            out.append(
                line(
                    f"stock:{key}",
                    "row",
                    f"{key}, from the yard",
                    "rate",
                    supply.stock_kg_ha[key],
                    why=f"{own} from the yard, {bought} to buy",
                )
            )
    if supply.cost_ha is not None:
        out.append(_cost_line(found, units))
    return tuple(out)


def _cost_line(found: JobBlend, units: Profile) -> CardLine:
    """Cost of a hectare with its sum."""
    supply = found.report.supply
    assert supply is not None
    terms = [(key, rate, found.prices.get(key) or 0.0) for key, rate in supply.bought_kg_ha.items() if rate > 0]
    said = [f"{key}: {shown(r, 'rate', units)} bought at {shown(p, 'price_mass', units)}." for key, r, p in terms]
    shows = _summed("cost", "rate bought × price, added up", terms, supply.cost_ha or 0.0)
    total = ""
    if found.report.area_ha and supply.cost_ha is not None:
        total = f"{rounded(supply.cost_ha * found.report.area_ha)} for {shown(found.report.area_ha, 'area', units)}"
    return line(
        "cost", "time", "Cost", "price_area", supply.cost_ha, why=f"{total}. Prices as typed or as in the book", shows=shows, more=said
    )


def nutrient_lines(found: JobBlend, units: Profile) -> tuple[CardLine, ...]:
    """Each nutrient supplied against what was asked, with its sum. [kg/ha]"""
    supply = found.report.supply
    if supply is None:
        return ()
    shares = {p.key: p.analysis for p in found.ask.products}
    held = {h.key: h for h in supply.held if h.kind == "need"}
    out = []
    for nutrient in [*held, *(n for n, v in supply.supplied.items() if n not in held and v > 1e-9)]:
        value = supply.supplied.get(nutrient, 0.0)
        terms = [(key, rate, shares[key].get(nutrient, 0.0)) for key, rate in supply.rates_kg_ha.items() if shares[key].get(nutrient)]
        h = held.get(nutrient)
        why = "Not asked for"
        if h is not None:
            asked = [f"at least {shown(h.least, 'rate', units)}"] if h.least else []
            asked += [f"at most {shown(h.most, 'rate', units)}"] if h.most is not None else []
            why = f"Asked: {', '.join(asked) or 'nothing'}"
        shows = _summed(f"{nutrient} supplied", f"rate × share of {nutrient}, added up", terms, value)
        more = [f"{key}: {shown(rate, 'rate', units)} at {shown(share, 'share', units)}." for key, rate, share in terms]
        out.append(line(f"supply:{nutrient}", "row", f"{nutrient} supplied", "rate", value, why=why, shows=shows, more=more))
    return tuple(out)


def _summed(name: str, formula: str, terms: Sequence[tuple[str, float, float]], result: float) -> Working | None:
    """A sum of products laid open; None where it does not give the value shown."""
    total = sum(a * b for _, a, b in terms)
    if abs(total - result) > 1e-6 * max(abs(result), 1.0):
        return None
    text = " + ".join(f"{rounded(a)} × {rounded(b)}" for _, a, b in terms) or "0"
    return Working(
        name=name,
        formula=formula,
        inputs=tuple((key, a) for key, a, _ in terms),
        substituted=text,
        result=total,
        source="definition",
        where="",
    )


def row_lines(found: JobBlend) -> tuple[CardLine, ...]:
    """The blend judged by where it ends in the soil: what lies in each place against the limit, with its publisher. [kg/ha]"""
    verdict = found.verdict
    if verdict is None:
        return ()
    words = {"within": "Within", "over": "OVER", "not-published": "Not published for this case", "cannot-tell": "Cannot be told"}
    out = []
    for x in verdict.lines:
        place = PLACES.get(x.placement, x.placement)
        why = words[x.state]
        if x.needs:
            why += f": it needs {', '.join(x.needs)}"
        elif x.limit_kg_ha is not None:
            why += f": at most {x.limit_kg_ha:.1f} kg/ha by {verdict.publisher}"
        if x.limit_kg_ha is None and x.placement != "seed-row":
            why = "Away from the seed: no guideline for bands is held"
        more = [t for t in (x.policy, x.note) if t]
        out.append(
            line(f"placed:{x.nutrient}:{x.placement}", "row", f"{x.nutrient}, {place}", "rate", x.asked_kg_ha, why=why, more=more,
                 source=cited(x.source) or "definition", stale_now="Over the limit" if x.state == "over" else "")
        )  # fmt: skip
    return tuple(out)


def binding_rows(found: JobBlend, units: Profile) -> list[tuple[str, str, str]]:
    """What binds: the limit, its value, and what one unit of it is worth. [text]"""
    best = found.report.blend
    if best is None:
        return []
    return [
        (
            placed_words(b.key),
            f"{'at least' if b.side == 'least' else 'at most'} {shown(b.limit, 'rate', units)}",
            worth(b, best.objective, units),
        )
        for b in best.binding
    ]


def worth(binding: Binding, objective: Literal["cost", "mass"], units: Profile) -> str:
    """What one unit of a limit costs or saves.

    Parameters
    ----------
    binding : Binding
        The limit. [-]
    objective : str
        "cost" or "mass": what the price of it is counted in. [-]
    units : str
        The reader's: a pound where rates are pounds an acre, else a kilogram. [-]

    Returns
    -------
    str
        In words. [text]
    """
    name = "lb" if profile_unit("rate", units) == "lb/ac" else "kg"
    if not binding.price:
        return "free here: another limit does it"
    if objective == "mass":
        amount = f"{rounded(binding.price)} {name} of product"
    else:
        amount = shown(binding.price, "price_mass", units, symbol=f"/{name}").rsplit("/", 1)[0]
    return f"the last {name} costs {amount}" if binding.side == "least" else f"one {name} more would save {amount}"


def conflict_words(found: JobBlend, units: Profile) -> list[str]:
    """What cannot all be kept, a line a limit. [text]"""
    return [_element(e, units) for e in found.report.conflict]


def _element(e: Element, units: Profile) -> str:
    side = "at least" if e.side == "least" else "at most"
    value = f"{e.value:g}" if e.kind in ("bins", "max_products") else shown(e.value, "rate", units)
    key = placed_words(e.key)
    what = _KIND[e.kind].format(key=f" for {key}" if e.kind == "bins" and key else key)
    return f"{what[:1].upper()}{what[1:]}: {side} {value}."


def next_rows(found: JobBlend, units: Profile) -> list[tuple[str, str, str]]:
    """The next best sets of products: rank, rates and places, and how much more. [text]"""
    best = found.report.blend
    if best is None:
        return []
    quantity = "price_area" if best.objective == "cost" else "rate"
    out = []
    for k, r in enumerate(best.runners_up, 1):
        parts = [
            f"{key} {shown(rate, 'rate', units)} {PLACES.get(place, place)}"
            for key, places in r.placed_kg_ha.items()
            for place, rate in places.items()
            if rate > 0
        ]
        out.append((str(k), ", ".join(parts), f"+{shown(r.more_ha, quantity, units)}"))
    return out


def proof_sentence(found: JobBlend, units: Profile) -> str:
    """How it is known that nothing is cheaper, and what one product more would save. [text]"""
    best = found.report.blend
    if best is None:
        return ""
    p = best.proof
    text = "Not proven: the search was stopped. Shorten the list or allow fewer products."
    if p.optimal:
        text = f"Proven: of {rounded(float(p.sets), 0)} sets of products {p.worked_out} were worked out, the others ruled out by a bound."
        if p.worked_out == p.sets:
            text = f"Proven: all {p.sets} sets of products were worked out."
    if found.report.one_more is not None:
        saves = shown(found.report.one_more, "price_area" if best.objective == "cost" else "rate", units)
        text += f" One product more would save {saves}."
    return text
