"""The shed: what came and where it went, what should still lie there, what is owed, whether it is enough, what is wrong on paper."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from evenstand.base.estimate import Est
from evenstand.base.units import Profile, shown
from evenstand.check.load_words import LoadNames, load_findings
from evenstand.check.loading import judge_loads
from evenstand.desk.nexts import done_of
from evenstand.model import Boundary, Fill, Finding, Job, Load, Lot, MeterFactor, Order, Outfit, Product
from evenstand.reference import default
from evenstand.supply import InBin, LoadBalance, Owed, Shortfall, Sown, load_balance, owed, shortfall
from evenstand.supply.splitting import FieldShare, Span, TicketSplit

if TYPE_CHECKING:
    from evenstand.book import Book, View

_GROUND = 0.03  # how far an area counter is from the ground sown, ground sown twice included: common practice
_COUNTED = 0.01  # what differs from field to field: starts and stops, ground sown twice: common practice
_CAUGHT = 0.02  # product per turn by a catch, in the field: common practice


@dataclass(frozen=True, slots=True, kw_only=True)
class ShedLine:
    """Something with a mass: what it is, its mass with its interval as text, and what else there is to say."""

    what: str
    mass: str
    note: str
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class ShedTicket:
    """A delivery or a truck box, and where it went."""

    load: str
    title: str
    held: str
    parts: tuple[ShedLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShedProduct:
    """One product. lead: the sentence that matters; stock: by lot; tickets; fields: what each job took; outfits: put into each;
    to_sow: what the fields still take at their rates, ground sown twice included, None where a rate or an area is missing; short: that
    against what lies here and is owed, None where it cannot be told; findings: what is wrong on paper, or that nothing is. [kg]"""

    key: str
    name: str
    lead: str
    stock: tuple[ShedLine, ...]
    tickets: tuple[ShedTicket, ...]
    fields: tuple[ShedLine, ...]
    outfits: tuple[ShedLine, ...]
    in_bins: ShedLine | None
    to_sow: Est | None
    owed_kg: float | None
    short: Shortfall | None
    findings: tuple[Finding, ...]
    balance: LoadBalance | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ShedOrder:
    """An order with what came of it, as lines. [text]"""

    key: str
    product: str
    ordered: str
    came: str
    owed: str
    wanted_by: str
    supplier: str
    note: str
    owed_kg: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Shed:
    """All of it. orders: those not closed first."""

    products: tuple[ShedProduct, ...]
    orders: tuple[ShedOrder, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Facts:
    loads: tuple[Load, ...]
    fills: tuple[Fill, ...]
    orders: tuple[Owed, ...]
    products: dict[str, Product]
    lots: dict[str, Lot]
    jobs: dict[str, Job]
    fields: dict[str, Boundary]
    done: dict[str, float | None]
    factors: tuple[MeterFactor, ...]
    levels: dict[tuple[str, str], tuple[str, Est]]
    overlap: dict[str, tuple[float, float]]
    outfits: dict[str, str]


def shed(book: Book | View, *, profile: Profile | None = None, product: str = "") -> Shed:
    """The shed of a book, product by product.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    profile : str or None
        Units of the sentences; those of the book where not given. [-]
    product : str
        Only this one; "" for all that came, went, or are ordered. [-]
    """
    units = profile or book.profile
    facts = _facts(book)
    made = [_product(facts, key, units) for key in _used(facts) if not product or key == product]
    orders = {o.key: o for o in book.all(Order)}
    lines = [_order(o, orders[o.order], facts, units) for o in facts.orders if not product or o.product == product]
    return Shed(products=tuple(made), orders=tuple(sorted(lines, key=lambda o: (o.owed_kg == 0, o.wanted_by or "9999"))))


def shed_findings(book: Book | View, *, profile: Profile | None = None) -> tuple[Finding, ...]:
    """What is wrong with tickets and fills, over all products; nothing that holds or cannot be told. [-]

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    profile : str or None
        Units of the sentences. [-]
    """
    found = [f for p in shed(book, profile=profile).products for f in p.findings]
    return tuple(f for f in found if f.state in ("does-not-hold", "doubtful"))


def _facts(book: Book | View) -> _Facts:
    from evenstand.book import JobReading

    jobs = {j.key: j for j in book.all(Job)}
    levels: dict[tuple[str, str], tuple[str, Est]] = {}
    for r in book.all(JobReading):
        kind, _, letter = r.reading.quantity.partition(":")
        if kind == "level" and r.job in jobs:
            key = (jobs[r.job].outfit, letter)
            if r.reading.at >= levels.get(key, ("", None))[0]:
                levels[key] = (r.reading.at, Est(value=max(0.0, r.reading.value), sd=r.reading.sd))
    loads = tuple(sorted(book.all(Load), key=lambda x: (x.at, x.key)))
    return _Facts(
        loads=loads,
        fills=tuple(book.all(Fill)),
        orders=owed(book.all(Order), loads),
        products={p.key: p for p in book.all(Product)},
        lots={x.key: x for x in book.all(Lot)},
        jobs=jobs,
        fields={b.key: b for b in book.all(Boundary)},
        done=done_of(book),
        factors=tuple(book.all(MeterFactor)),
        levels=levels,
        overlap={o.key: (o.overlap_low, o.overlap_high) for o in book.all(Outfit)},
        outfits={o.key: o.name for o in book.all(Outfit)},
    )


def _used(facts: _Facts) -> list[str]:
    keys = [*(x.product for x in facts.loads), *(f.product for f in facts.fills), *(o.product for o in facts.orders)]
    return [k for k in dict.fromkeys(keys) if k]


def sown_by_ground(facts: _Facts, product: str) -> tuple[Sown, ...]:
    """Rate times ground of every job and bin that was filled with a product; a caught product per turn makes the rate surer. [kg]"""
    out = []
    for outfit, letter, job in dict.fromkeys((f.outfit, f.bin, f.job) for f in facts.fills if f.product == product):
        known = facts.jobs.get(job)
        area = facts.done.get(job)
        bins = {f.bin for f in facts.fills if f.product == product and f.job == job}
        rate = next((a.rate_kg_ha for a in known.asks if a.product == product), None) if known else None
        if rate is None or not area or len(bins) > 1:  # in two bins its share of each is not known
            continue
        caught = any(f.outfit == outfit and f.bin == letter and f.product == product and f.how == "catch" for f in facts.factors)
        dose = _CAUGHT if caught else default("factor-between-lots").value
        mass = rate * area
        out.append(
            Sown(outfit=outfit, bin=letter, job=job, mass_kg=Est(value=mass, sd=_COUNTED * mass), shared_sd=math.hypot(dose, _GROUND))
        )
    return tuple(out)


def bins_now(facts: _Facts, product: str) -> tuple[InBin, ...]:
    """Looks into bins that are newer than the last fill. [kg]"""
    out = []
    for (outfit, letter), (at, level) in facts.levels.items():
        mine = [f for f in facts.fills if (f.outfit, f.bin) == (outfit, letter)]
        last = max(mine, key=lambda f: f.at, default=None)
        if last is not None and last.product == product and at > last.at:
            out.append(InBin(outfit=outfit, bin=letter, mass_kg=level))
    return tuple(out)


def _product(facts: _Facts, key: str, units: Profile) -> ShedProduct:
    name = facts.products[key].name if key in facts.products else key
    sown, looks = sown_by_ground(facts, key), bins_now(facts, key)
    balance = load_balance(key, facts.loads, facts.fills, sown=sown, in_bins=looks)
    verdict = judge_loads(key, facts.loads, facts.fills, sown=sown, in_bins=looks)
    names = _names(facts, units)
    findings = () if verdict is None or balance is None else load_findings(verdict, balance, names, product=name, profile=units)
    mine = [o for o in facts.orders if o.product == key]
    owing = None if any(o.owed_kg is None for o in mine) else sum(o.owed_kg or 0.0 for o in mine)
    to_sow = _to_sow(facts, key)
    here = _here(balance, counted=bool(looks or sown))
    there = None if here is None or owing is None else Est(value=here.value + owing, sd=here.sd)
    short = None if to_sow is None or there is None or to_sow.value <= 0 else shortfall(there, to_sow)
    return ShedProduct(
        key=key,
        name=name,
        lead=_lead(here, to_sow, owing, short, units, doubted=any(f.state in ("does-not-hold", "doubtful") for f in findings)),
        stock=() if balance is None else tuple(_line(names.lot(lot) or "no lot", s, "", units) for lot, s in balance.stock),
        tickets=() if balance is None else tuple(_ticket(t, names, units) for t in balance.tickets),
        fields=() if balance is None else tuple(_field(f, names, facts, units) for f in balance.fields),
        outfits=() if balance is None else _outfits(balance, facts, units),
        in_bins=None if balance is None or not (looks or sown) else _line("in the bins", balance.in_bins, "", units),
        to_sow=to_sow,
        owed_kg=owing,
        short=short,
        findings=findings,
        balance=balance,
    )


def _here(balance: LoadBalance | None, *, counted: bool) -> Est | None:
    """In the yard, on trucks, and in the bins where that can be told. [kg]"""
    if balance is None:
        return None
    spans = [s for _, s in balance.stock] + ([balance.in_bins] if counted else [])
    value = sum(s.value_kg for s in spans)
    if not all(math.isfinite(s.high_kg) for s in spans):
        return None
    return Est(value=value, sd=math.sqrt(sum(((s.high_kg - s.low_kg) / 3.92) ** 2 for s in spans)), basis="computed", source="loads")


def _to_sow(facts: _Facts, product: str) -> Est | None:
    """What the jobs of the newest season still take at their rates; None where a rate or an area is missing. [kg]"""
    jobs = [j for j in facts.jobs.values() if any(a.product == product for a in j.asks)]
    season = max((j.season for j in jobs), default=0)
    total = spread = 0.0
    for j in (j for j in jobs if j.season == season):
        rate = next((a.rate_kg_ha for a in j.asks if a.product == product), None)
        if rate is None or j.area_ha is None:
            return None
        low, high = facts.overlap.get(j.outfit, (0.0, 0.0))
        mass = rate * max(0.0, j.area_ha - (facts.done.get(j.key) or 0.0))
        total += mass * (1 + (low + high) / 2)
        spread += mass * (high - low) / math.sqrt(12)
    meter = default("factor-in-a-day").high * total  # the meter is off alike on all fields of a product
    return Est(value=total, sd=math.hypot(spread, meter), basis="computed", source="jobs")


def _lead(here: Est | None, to_sow: Est | None, owing: float | None, short: Shortfall | None, units: Profile, *, doubted: bool) -> str:
    parts = []
    if here is not None:
        written = "By what is written, which does not agree, about" if doubted else "About"
        parts.append(f"{written} {rough(here.value, units)} should still be in yard, trucks and bins")
    if owing:
        parts.append(f"{rough(owing, units)} is owed")
    elif owing is None:
        parts.append("what is owed cannot be told: a delivery has no mass")
    if to_sow is not None and to_sow.value > 0:
        parts.append(f"the fields still take about {rough(to_sow.value, units)}, ground sown twice included")
    text = "; ".join(parts)
    text = f"{text[:1].upper()}{text[1:]}." if text else "Nothing of it is on record yet."
    if short is None:
        return text
    chance = "under 1 %" if short.chance < 0.01 else "over 99 %" if short.chance > 0.99 else f"{100 * short.chance:.0f} %"
    if short.short_kg > 0:
        return f"{text} Short by about {rough(short.short_kg, units)}; order {rough(short.order_kg, units)} to run short once in twenty."
    tail = f" Order {rough(short.order_kg, units)} more to make that once in twenty." if short.chance > 0.05 else ""
    return f"{text} About {rough(-short.short_kg, units)} over; chance of running short {chance}.{tail}"


def rough(mass_kg: float, units: Profile) -> str:
    """A mass with no more figures than such an account is good for. [text]"""
    step = 10.0 if abs(mass_kg) >= 1000 else 1.0
    return shown(step * round(mass_kg / step), "mass", units) if math.isfinite(mass_kg) else "not known"


def span_text(span: Span, units: Profile) -> str:
    """'1,850 kg (1,690 to 1,980)'; at least, where nothing holds it above. [text]"""
    if not math.isfinite(span.high_kg):
        return f"{rough(span.low_kg, units)} or more"
    if span.high_kg - span.low_kg < 0.002 * max(span.value_kg, 1.0):
        return rough(span.value_kg, units)
    unit = rough(0.0, units).lstrip("0").strip()
    low = rough(span.low_kg, units).removesuffix(unit).strip()
    return f"{rough(span.value_kg, units)} ({low} to {rough(span.high_kg, units).removesuffix(unit).strip()})"


def _line(what: str, span: Span, note: str, units: Profile) -> ShedLine:
    return ShedLine(what=what, mass=span_text(span, units), note=note, span=span)


_WHERE = {"rest": "not taken from it: back in the yard", "stock": "left over", "gone": "taken back"}


def _ticket(split: TicketSplit, names: LoadNames, units: Profile) -> ShedTicket:
    parts = []
    for p in split.parts:
        if p.what == "rest" and p.span.value_kg < 1.0 and p.span.high_kg < 0.02 * split.held.value_kg:
            continue
        what = names.record(p.record) if p.record and p.what not in _WHERE else _WHERE.get(p.what, p.what)
        parts.append(_line(what, p.span, names.job(p.job) if p.job else "", units))
    return ShedTicket(load=split.load, title=names.record(split.load), held=span_text(split.held, units), parts=tuple(parts))


def _field(share: FieldShare, names: LoadNames, facts: _Facts, units: Profile) -> ShedLine:
    notes = [f"filled {span_text(share.filled, units)}"]
    if share.brought.high_kg > 0:
        notes.append(f"brought along {span_text(share.brought, units)}")
    if share.carried_on.high_kg > 0:
        notes.append(f"taken on {span_text(share.carried_on, units)}")
    outfit = f" ({facts.outfits[share.outfit]})" if len({f.outfit for f in facts.fills}) > 1 and share.outfit in facts.outfits else ""
    return _line(f"{names.job(share.job)}{outfit}", share.sown, "; ".join(notes), units)


def _outfits(balance: LoadBalance, facts: _Facts, units: Profile) -> tuple[ShedLine, ...]:
    out = []
    for outfit in dict.fromkeys(f.outfit for f in balance.fields):
        mine = [f.filled for f in balance.fields if f.outfit == outfit]
        total = mine[0] if len(mine) == 1 else Span(
            value_kg=sum(s.value_kg for s in mine), low_kg=sum(s.low_kg for s in mine), high_kg=sum(s.high_kg for s in mine)
        )  # fmt: skip
        note = "" if len(mine) == 1 else "band at its widest"
        out.append(_line(facts.outfits.get(outfit, outfit), total, note, units))
    return tuple(out)


def _order(made: Owed, order: Order, facts: _Facts, units: Profile) -> ShedOrder:
    left = "nothing" if made.owed_kg == 0 else shown(made.owed_kg, "load", units)
    note = f"{shown(made.over_kg, 'load', units)} more came than ordered" if made.over_kg > 0.005 * made.ordered_kg else ""
    if made.unweighed:
        note = "; ".join(filter(None, [note, f"{len(made.unweighed)} without a mass"]))
    if made.closed:
        note = "; ".join(filter(None, [note, "closed: no more to come"]))
    return ShedOrder(
        key=made.order,
        product=facts.products[made.product].name if made.product in facts.products else made.product,
        ordered=shown(made.ordered_kg, "load", units),
        came=shown(made.delivered_kg, "load", units),
        owed=left,
        wanted_by=made.wanted_by,
        supplier=order.supplier,
        note=note,
        owed_kg=made.owed_kg,
    )


def _names(facts: _Facts, units: Profile) -> LoadNames:
    loads, fills = {x.key: x for x in facts.loads}, {f.key: f for f in facts.fills}

    def job(key: str) -> str:
        known = facts.jobs.get(key)
        if known is None:
            return key or "no field"
        where = facts.fields[known.field_key].name if known.field_key in facts.fields else known.field_key
        return f"{known.crop}{f', {where}' if where else ''}"

    def lot(key: str) -> str:
        known = facts.lots.get(key)
        return f"lot {(known.label or known.key) if known else key}" if key else ""

    def record(key: str) -> str:
        if key in fills:
            f = fills[key]
            return f"the fill of {rough(f.put_kg, units)} into bin {f.bin}{_on(f.at)}"
        if key in loads:
            x = loads[key]
            kind = {"delivery": "the delivery", "truck": "the truck box", "yard": "what went into the yard", "left-over": "the left-over",
                    "return": "what was taken back", "fill": "the fill"}[x.kind]  # fmt: skip
            return f"{kind}{f' on ticket {x.ticket}' if x.ticket else ''}{_on(x.at)}"
        return ""

    def bin_of(place: str) -> str:
        outfit, _, letter = place.partition(":")
        return f"bin {letter} of {facts.outfits.get(outfit, outfit)}" if len(facts.outfits) > 1 else f"bin {letter}"

    def mass_of(key: str) -> float | None:
        return fills[key].put_kg if key in fills else loads[key].mass_kg if key in loads else None

    return LoadNames(record=record, job=job, lot=lot, bin=bin_of, mass_of=mass_of)


def _on(at: str) -> str:
    return f" ({at[:10]} {at[11:16]} UTC)" if len(at) >= 16 else f" ({at})" if at else ""
