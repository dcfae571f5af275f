"""The blend question of a job: its outfit's bins, its book's fertilizers and its seed-row guideline, asked as `evenstand blend` asks it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from evenstand.agronomy import openers
from evenstand.agronomy.placement import PlacementVerdict, judge_placement
from evenstand.agronomy.salts import Placed
from evenstand.desk.blends import BlendAsk, BlendReport, SaidBlend, answer_blend, read_blend
from evenstand.desk.planning import job_inputs
from evenstand.model import Product

if TYPE_CHECKING:
    from evenstand.agronomy.salts import Where
    from evenstand.base.units import Profile
    from evenstand.book import Book
    from evenstand.expect import PlanInputs

TAKEN = "taken"
_FORMS = {"granular", "liquid", "ammonia"}
_ENDS: tuple[Where, ...] = ("seed-row", "side-band", "mid-row")


@dataclass(frozen=True, slots=True, kw_only=True)
class JobBlendSaid:
    """What was typed besides the job, as text; what was not typed is left out.

    needs: nutrient -> "80" or "10-20"; prices, stocks: product key -> text; left_out: keys of products not to be used; more: further
    products as the command takes them; bins: letter -> `TAKEN` or a placement, for one that is otherwise than the job has it; most:
    products at most; limits: of your own, as the command takes them.
    """

    needs: Mapping[str, str] = field(default_factory=dict)
    prices: Mapping[str, str] = field(default_factory=dict)
    stocks: Mapping[str, str] = field(default_factory=dict)
    left_out: frozenset[str] = frozenset()
    more: tuple[str, ...] = ()
    bins: Mapping[str, str] = field(default_factory=dict)
    most: int | None = None
    limits: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BinUse:
    """A bin of the outfit as the job leaves it. use: `TAKEN` or where its stream ends; why: in words."""

    letter: str
    label: str
    use: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class JobBlend:
    """The answer for a job. ask: the question in numbers; report: as the command gives it; verdict: the blend judged once more by where
    it ends in the soil, None where there is no blend; prices: money a kilogram by product name, None where not known [money/kg]; notes:
    what the job could not tell."""

    ask: BlendAsk
    report: BlendReport
    verdict: PlacementVerdict | None
    prices: Mapping[str, float | None]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """A product of the book as a row of a list. cells: texts by heading; where: what a fault is named after."""

    cells: Mapping[str, str]
    where: str


def fertilizers(book: Book) -> tuple[Product, ...]:
    """Fertilizers of the book whose analysis is known; others cannot meet a need.

    Returns
    -------
    tuple of Product
        In the order of the book. [-]
    """
    return tuple(p for p in book.all(Product) if p.kind == "fertilizer" and any(share > 0 for share in p.analysis.values()))


def bins_of_job(inputs: PlanInputs) -> tuple[BinUse, ...]:
    """Bins of a job's outfit: taken by its seed, or free and where they end.

    Parameters
    ----------
    inputs : PlanInputs
        Of the job. [-]

    Returns
    -------
    tuple of BinUse
        A stream whose end is not known counts as the seed row, so that nothing unsafe is waved through. [-]
    """
    if inputs.outfit is None:
        return ()
    ends = {s.key: s.placement for s in inputs.outfit.streams}
    taken = {b: a.product for a in inputs.job.asks if _is_seed(inputs, a.product) for b in a.bins}
    out = []
    for b in inputs.outfit.bins:
        if b.letter in taken:
            name = inputs.products[taken[b.letter]].name if taken[b.letter] in inputs.products else taken[b.letter]
            out.append(BinUse(letter=b.letter, label=b.label, use=TAKEN, why=f"{name} goes in it"))
            continue
        end = ends.get(b.stream or "")
        why = "as its stream ends" if end else "where its stream ends is not known: it counts as the seed row"
        out.append(BinUse(letter=b.letter, label=b.label, use=end or "seed-row", why=why))
    return tuple(out)


def _is_seed(inputs: PlanInputs, product: str) -> bool:
    return product not in inputs.products or inputs.products[product].kind != "fertilizer"


def needs_of_job(inputs: PlanInputs) -> dict[str, float]:
    """What the job's own fertilizers bring, to begin with. [kg/ha]

    Parameters
    ----------
    inputs : PlanInputs
        Of the job. [-]
    """
    out: dict[str, float] = {}
    for ask in inputs.job.asks:
        for nutrient, share in (inputs.products[ask.product].analysis if ask.product in inputs.products else {}).items():
            out[nutrient] = out.get(nutrient, 0.0) + share * ask.rate_kg_ha
    return {n: v for n, v in out.items() if v > 0}


def blend_for_job(book: Book, job: str, said: JobBlendSaid, units: Profile = "si", *, next_best: int = 5) -> JobBlend:
    """The cheapest products for the needs of a job, within its free bins and its guideline.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    job : str
        Its key. [-]
    said : JobBlendSaid
        What was typed besides. [text]
    units : str
        Profile in which bare numbers are read. [-]
    next_best : int
        Further sets to give. [-]

    Returns
    -------
    JobBlend
        With the command's own report. [see the class]

    Raises
    ------
    InputError, MissingError
        Naming every text that is not understood; of a product's row as "product:KEY, price".
    """
    inputs = job_inputs(book, job)
    products = [p for p in fertilizers(book) if p.key not in said.left_out]
    notes = _not_used(book)
    question, more = _question(inputs, products, said)
    ask = read_blend(question, units)
    report = answer_blend(ask, next_best=next_best)
    return JobBlend(
        ask=ask,
        report=report,
        verdict=_judged(inputs, ask, report),
        prices={p.key: p.price_kg for p in ask.products},
        notes=(*notes, *more),
    )


def _not_used(book: Book) -> list[str]:
    bare = [p.name for p in book.all(Product) if p.kind == "fertilizer" and not any(share > 0 for share in p.analysis.values())]
    return [f"Left out, as no analysis of it is in the book: {', '.join(bare)}."] if bare else []


def _question(inputs: PlanInputs, products: list[Product], said: JobBlendSaid) -> tuple[SaidBlend, list[str]]:
    """The job's facts and what was typed as one question for the command's use case, and what the job could not tell."""
    job, outfit = inputs.job, inputs.outfit
    spread, spacing = (outfit.spread_m, outfit.row_spacing_m) if outfit else (None, None)
    bins = tuple(f"{b.letter}: {use}" for b in bins_of_job(inputs) for use in [said.bins.get(b.letter) or b.use] if use != TAKEN)
    gaps = [
        w
        for w, v in (
            ("a guideline", job.guideline),
            ("a crop", job.crop),
            ("the spread of the opener", spread),
            ("the row spacing", spacing),
        )
        if not v
    ]
    notes = []
    if gaps and (not bins or any("seed-row" in b for b in bins)):
        notes.append(f"The seed row is not limited by any guideline: the job lacks {', '.join(gaps)}. Only limits of your own are kept.")
    area = job.area_ha if job.area_ha is not None else (inputs.boundary.area_ha if inputs.boundary else None)
    question = SaidBlend(
        products=said.more,
        listed=tuple(_row(p, said) for p in products),
        needs=tuple(f"{n}={text}" for n, text in said.needs.items() if text),
        limits=said.limits,
        bins=bins,
        max_products=said.most,
        area="" if area is None else f"{area!r} ha",
        guideline="" if gaps else job.guideline,
        crop=job.crop,
        texture=job.texture,
        spread="" if gaps else f"{spread!r} m",
        spacing="" if gaps else f"{spacing!r} m",
        moisture=job.moisture or "good",
        opener="" if gaps else _opener(inputs),
    )
    return question, notes


def _opener(inputs: PlanInputs) -> str:
    return next((o for o in openers() if inputs.outfit and o in inputs.outfit.opener.lower()), "")


def _row(product: Product, said: JobBlendSaid) -> _Row:
    cells = {"product": product.name, "form": product.form if product.form in _FORMS else "granular"}
    cells |= {n.lower(): f"{100 * share!r} %" for n, share in product.analysis.items() if share > 0}
    price = said.prices.get(product.key) or ("" if product.price_kg is None else f"{product.price_kg!r} /kg")
    stock = said.stocks.get(product.key, "")
    cells |= {k: v for k, v in (("price", price), ("stock", stock)) if v}
    return _Row(cells=cells, where=f"product:{product.key}")


def _judged(inputs: PlanInputs, ask: BlendAsk, report: BlendReport) -> PlacementVerdict | None:
    """The blend as the plan would judge it."""
    if report.blend is None:
        return None
    by_key = {p.key: p for p in ask.products}
    placed = [
        Placed(
            product=key, rate_kg_ha=rate, analysis=by_key[key].analysis, placement=next(e for e in _ENDS if e == place),
            form="ammonia" if by_key[key].form == "ammonia" else "",
        )
        for key, places in report.blend.placed_kg_ha.items()
        for place, rate in places.items()
        if rate > 0
    ]  # fmt: skip
    job, outfit = inputs.job, inputs.outfit
    return judge_placement(
        placed,
        guideline=job.guideline,
        crop=job.crop,
        texture=job.texture,
        spread_m=outfit.spread_m if outfit else None,
        row_spacing_m=outfit.row_spacing_m if outfit else None,
        opener=_opener(inputs),
        moisture=job.moisture or "good",
    )
