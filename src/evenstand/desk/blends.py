"""The blend question as it is typed: texts to products, needs, limits and bins; the answer with what it leans on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from evenstand.agronomy import (
    PLACEMENTS,
    Blend,
    BlendLimit,
    BlendProduct,
    BlendSupply,
    FreeBin,
    Limit,
    blend,
    blend_supplies,
    conflict,
    guideline_name,
    nitrogen_form,
    published_nutrients,
    seed_row_limit,
    seedbed_utilisation,
)
from evenstand.base.errors import Fault, InfeasibleError, InputError, MissingError
from evenstand.base.units import Profile, read_quantity, shown
from evenstand.desk.blend_words import (
    analyses_note,
    attempt,
    bin_of,
    limit_of,
    needs_of,
    placements_of,
    product_of,
    rate_of,
    spoken_product,
)
from evenstand.expect.cautions import AMMONIA

if TYPE_CHECKING:
    from evenstand.agronomy.blend_rows import Element

MONEY_NOTE = "Prices are as typed. Not counted: hauling, handling, the time to fill."


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidBlend:
    """What was typed, as text; empty where nothing was.

    products: "urea=610/t; stock 40 kg/ha; into side-band"; listed: rows of a file; needs: "N=80", "S=10-20"; limits:
    "seed-row N+K2O <= 30"; bins: "A: seed-row", "B: seed-row or side-band", "T: mid-row, liquid"; given: "urea=150", "MAP=50@seed-row"
    asks what that blend does.
    """

    products: tuple[str, ...] = ()
    listed: tuple[Any, ...] = ()
    needs: tuple[str, ...] = ()
    limits: tuple[str, ...] = ()
    bins: tuple[str, ...] = ()
    given: tuple[str, ...] = ()
    max_products: int | None = None
    area: str = ""
    guideline: str = ""
    crop: str = ""
    texture: str = ""
    sbu: str = ""
    spread: str = ""
    spacing: str = ""
    moisture: str = "good"
    opener: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BlendAsk:
    """The question in numbers. given: product -> placement -> rate of a blend to judge, None to look for the cheapest [kg/ha]."""

    products: tuple[BlendProduct, ...]
    needs: Mapping[str, tuple[float | None, float | None]]
    limits: tuple[BlendLimit, ...]
    bins: tuple[FreeBin, ...] | None
    max_products: int
    given: Mapping[str, Mapping[str, float]] | None
    area_ha: float | None
    placed: bool
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BlendReport:
    """The answer.

    feasible: whether every need and limit is kept; blend: the cheapest, None where there is none or a given one was judged; supply: what
    it does; conflict: a smallest set of limits that cannot all be kept; one_more: what one product more would save, None where it was
    not asked or saves nothing [money/ha, or kg/ha to buy]; notes: what the answer leans on.
    """

    question: Literal["cheapest", "given"]
    feasible: bool
    blend: Blend | None
    supply: BlendSupply | None
    conflict: tuple[Element, ...]
    one_more: float | None
    max_products: int
    area_ha: float | None
    notes: tuple[str, ...]


def answer_blend(ask: BlendAsk, *, next_best: int = 5) -> BlendReport:
    """The cheapest blend, the conflict that rules every blend out, or what a given blend does.

    Parameters
    ----------
    ask : BlendAsk
        The question. [see the class]
    next_best : int
        Further sets to give. [-]

    Returns
    -------
    BlendReport
        With its notes. [see the class]
    """
    best: Blend | None = None
    against: tuple[Element, ...] = ()
    saved, notes = None, list(ask.notes)
    if ask.given is None:
        try:
            best = _cheapest(ask, ask.max_products, next_best)
        except InfeasibleError:
            against = conflict(ask.needs, ask.products, max_products=ask.max_products, limits=ask.limits, bins=ask.bins)
        if best is not None:
            saved = _one_more(ask, best)
            by_mass = "No price is typed: the blend of least mass to buy, not the cheapest."
            notes.append(by_mass if best.objective == "mass" else MONEY_NOTE)
    rates = ask.given if best is None else best.placed_kg_ha
    supply = None
    if any(p.form == "ammonia" for p in ask.products):
        notes.append(AMMONIA)
    if rates is not None:
        supply = blend_supplies(rates, ask.products, needs=ask.needs, limits=ask.limits, bins=ask.bins)
        notes += [f"{key}: its density is not known, so no litres." for key, v in supply.liquid_l_ha.items() if v is None]
    return BlendReport(
        question="cheapest" if ask.given is None else "given",
        feasible=supply is not None and supply.keeps_all,
        blend=best,
        supply=supply,
        conflict=against,
        one_more=saved,
        max_products=ask.max_products,
        area_ha=ask.area_ha,
        notes=tuple(dict.fromkeys(notes)),
    )


def _cheapest(ask: BlendAsk, most: int, next_best: int) -> Blend:
    return blend(ask.needs, ask.products, max_products=most, limits=ask.limits, bins=ask.bins, next_best=next_best)


def _one_more(ask: BlendAsk, best: Blend) -> float | None:
    """What one product more would save; bins may already say no."""
    if len(best.rates_kg_ha) < ask.max_products or ask.max_products >= len(ask.products):
        return None
    more = _cheapest(ask, ask.max_products + 1, 0)
    saved = best.proof.bound - more.proof.bound
    return saved if saved > 1e-6 * max(abs(best.proof.bound), 1.0) else None


def read_blend(said: SaidBlend, units: Profile = "si") -> BlendAsk:
    """Typed texts as a question; all faults at once.

    Parameters
    ----------
    said : SaidBlend
        What was typed. [text]
    units : str
        Profile in which bare numbers are read. [-]

    Returns
    -------
    BlendAsk
        In metric numbers. [see the class]

    Raises
    ------
    InputError
        Naming every text that is not understood.
    MissingError
        If something is needed that was not typed.
    """
    faults: list[Fault] = []
    notes: list[str] = []
    area = attempt(faults, lambda: read_quantity(said.area, "area", units, where="--area")) if said.area else None
    if area is not None and area <= 0:
        faults.append(Fault(where="--area", what=f"{said.area} is no area", limit="above 0", cure="Correct it."))
    bins = tuple(b for t in said.bins for b in [attempt(faults, lambda t=t: bin_of(t))] if b)  # type: ignore[misc]
    origins: dict[str, list[str]] = {}
    rows = [({"product": ""} | spoken_product(t), f"--product {t[:40]}") for t in said.products]
    rows += [(dict(r.cells), r.where) for r in said.listed]
    in_row = bool(said.guideline) or any("seed-row" in t.lower().replace(" ", "-") for t in said.limits)
    products = []
    for cells, where in rows:
        one = attempt(faults, lambda c=cells, w=where: product_of(c, w, units, area, bins, in_row, notes, origins))  # type: ignore[misc]
        products += [one] if one else []
    needs: dict[str, tuple[float | None, float | None]] = {}
    for text in said.needs:
        for nutrient, span in (attempt(faults, lambda t=text: needs_of(t, units)) or {}).items():  # type: ignore[misc]
            if nutrient in needs:
                faults.append(Fault(where="--need", what=f"{nutrient} stands there twice", cure="Give it once."))
            needs[nutrient] = span
    limits = [one for t in said.limits for one in [attempt(faults, lambda t=t: limit_of(t, units))] if one]  # type: ignore[misc]
    if said.guideline:
        limits += attempt(faults, lambda: _guideline(said, units, products, notes)) or []
    given = _given(said.given, products, units, faults) if said.given else None
    if not rows:
        faults.append(Fault(where="--product", what="no product is named", cure='Name them: --product "urea=610/t", or --products FILE.'))
    if not needs and given is None:
        faults.append(Fault(where="--need", what="no need is named", cure="Name one: --need N=80, or --given for a blend you have."))
    most = said.max_products if said.max_products is not None else len(bins) or None
    if most is None and given is None:
        faults.append(Fault(where="--max-products", what="is not said", cure="Say how many products at most, or name the free bins."))
    elif most is not None and most < 1:
        faults.append(Fault(where="--max-products", what=f"{most} products", limit="1 or more", cure="Allow one."))
    if faults:
        raise (MissingError if all("is not said" in f.what or f.what.startswith("no ") for f in faults) else InputError)(faults)
    notes = [*analyses_note(origins), *notes]
    placed = bool(bins) or in_row or any(x.placements for x in limits) or any("into" in c for c, _ in rows)
    return BlendAsk(
        products=tuple(products),
        needs=needs,
        limits=tuple(limits),
        bins=bins or None,
        max_products=most or len(products),
        given=given,
        area_ha=area,
        placed=placed,
        notes=tuple(dict.fromkeys(notes)),
    )


def _guideline(said: SaidBlend, units: Profile, products: Sequence[BlendProduct], notes: list[str]) -> list[BlendLimit]:
    """Seed-row limits of a guideline, one for each nutrient it publishes for the crop; what it does not say is noted."""
    if not said.crop or not (said.sbu or (said.spread and said.spacing)):
        cure = "Give --crop, and --sbu or --spread with --spacing."
        raise MissingError("a seed-row guideline goes by crop and seedbed utilisation", where="--guideline", cure=cure)
    spacing = read_quantity(said.spacing, "spacing", units, where="--spacing") if said.spacing else None
    if said.sbu:
        sbu = read_quantity(said.sbu, "share", units, where="--sbu")
    else:
        sbu = seedbed_utilisation(read_quantity(said.spread, "width", units, where="--spread"), spacing or 0.0)
    out = []
    publisher = guideline_name(said.guideline)
    for nutrient in published_nutrients(said.guideline, said.crop):
        found = _row_limit(said, nutrient, sbu, spacing)
        if found.kg_ha is None:
            notes.append(f"Seed-row {nutrient}: {publisher} gives no figure for this case. {found.note}")
            continue
        urea = tuple(p.key for p in products if nitrogen_form(p.analysis) == "urea") if nutrient == "urea-N" else ()
        if nutrient == "urea-N" and not urea:
            continue
        kinds = tuple("N" if n == "urea-N" else n for n in nutrient.split("+"))
        why = "; ".join(t for t in (found.policy, found.note) if t)
        out.append(
            BlendLimit(
                key=f"seed-row {nutrient} ({publisher})", most_kg_ha=found.kg_ha, nutrients=kinds, placements=("seed-row",), products=urea,
                note=found.source,
            )
        )  # fmt: skip
        notes.append(f"Seed-row {nutrient}, at most {shown(found.kg_ha, 'rate', units)} by {publisher}. {why}".strip())
    if out:
        notes.append(f"Seedbed moisture taken as {said.moisture}.")
    else:
        notes.append(f"{publisher} gives no figure for {said.crop} here: nothing limits the seed row.")
    return out


def _row_limit(said: SaidBlend, nutrient: str, sbu: float, spacing_m: float | None) -> Limit:
    """The guideline's figure; a texture that it goes by and that was not said is asked for."""
    try:
        return seed_row_limit(
            said.guideline, said.crop, said.texture, sbu, nutrient=nutrient, moisture=said.moisture, row_spacing_m=spacing_m,
            opener=said.opener,
        )  # fmt: skip
    except InputError as error:
        if not said.texture and error.faults[0].where == "texture":
            raise MissingError("this guideline goes by soil texture", where="--texture", cure=error.faults[0].cure) from None
        raise


def _given(texts: Sequence[str], products: list[BlendProduct], units: Profile, faults: list[Fault]) -> dict[str, dict[str, float]]:
    """'urea=150', 'MAP=50@seed-row'; a placement that is said is allowed for that product."""
    out: dict[str, dict[str, float]] = {}
    by_key = {p.key.lower(): i for i, p in enumerate(products)}
    for text in texts:
        name, sign, amount = text.partition("=")
        rate, _, place = amount.partition("@")
        at = by_key.get(name.strip().lower())
        if not sign or at is None:
            what = "has no =" if not sign else f"'{name.strip()}' is no product named here"
            faults.append(Fault(where=f"--given {text}", what=what, cure="Write urea=150, with --product urea."))
            continue
        places = placements_of(place, f"--given {text}", faults) if place else products[at].placements
        if len(places) > 1:
            what = f"may go to {' or '.join(places)}"
            faults.append(Fault(where=f"--given {text}", what=what, cure=f"Say which: {name.strip()}={rate.strip()}@{places[-1]}."))
            continue
        value = attempt(faults, lambda r=rate, t=text: rate_of(r, units, f"--given {t}"))  # type: ignore[misc]
        if value is None or not places:
            continue
        product = products[at]
        if places[0] not in product.placements:
            if product.form == "ammonia" and places[0] == "seed-row":
                faults.append(Fault(where=f"--given {text}", what="is ammonia", limit="never in the seed row", cure="Give it a band."))
                continue
            products[at] = product = replace(product, placements=tuple(q for q in PLACEMENTS if q in (*product.placements, places[0])))
        mine = out.setdefault(product.key, {})
        mine[places[0]] = mine.get(places[0], 0.0) + value
    return out
