"""`evenstand blend`: the cheapest products for a need, or what a given blend does."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from evenstand.base.units import Profile, shown
from evenstand.cli.common import columns, print_json, shared_options, units_of, wrapped

if TYPE_CHECKING:
    from evenstand.agronomy import BlendSupply
    from evenstand.desk.blends import BlendAsk, BlendReport

_KIND = {
    "need": "need",
    "limit": "limit",
    "available": "what there is",
    "dose": "smallest dose",
    "bins": "bins",
    "max_products": "products",
}


@click.command(name="blend")
@click.option("--need", "needs", multiple=True, help="Nutrient wanted, N=80, or from least to most, S=10-20. Several times.")
@click.option("--product", "products", multiple=True, help='"urea=610/t", "my mix 17-7-0=450/t; stock 40 kg/ha; into side-band". Several.')
@click.option("--products", "file", type=click.Path(), default=None, help="The same as a table (product, price, grade, ...) or TOML.")
@click.option("--max-products", type=int, default=None, help="Products at most; left out: as many as there are bins.")
@click.option("--bin", "bins", multiple=True, help='Free bin: "A: seed-row", "B: seed-row or side-band", "T: mid-row, liquid".')
@click.option("--limit", "limits", multiple=True, help='"seed-row N+K2O <= 30", "side-band mass at most 250", "seed-row P2O5 >= 10".')
@click.option("--given", multiple=True, help='A blend you have: "urea=150", "MAP=50@seed-row". Says what it does.')
@click.option("--area", default="", help="Area, for stock given as a mass and for totals, 62 ha.")
@click.option("--guideline", default="", help="Seed-row guideline, by publisher, as manitoba.")
@click.option("--crop", default="", help="Crop, for the guideline.")
@click.option("--texture", default="", help="Soil texture, for the guideline.")
@click.option("--sbu", default="", help="Seedbed utilisation, 17 %, or give --spread and --spacing.")
@click.option("--spread", default="", help="Width of the seed band of one opener, 50 mm.")
@click.option("--spacing", default="", help="Row spacing, 254 mm.")
@click.option("--moisture", default="good", show_default=True, help="Seedbed: excellent, good or dry.")
@click.option("--opener", default="", help="Kind of opener, for guidelines that go by it.")
@click.option("--next", "next_best", type=click.IntRange(0, 50), default=5, show_default=True, help="Further sets of products to show.")
@shared_options
def command(file: str | None, next_best: int, as_json: bool, profile: str | None, **said: Any) -> int:
    """The cheapest products for a need, with few products and within bins, streams and limits. Prices are typed, never built in.

    \b
    evenstand blend --need N=80 --need P2O5=30 --product urea=610/t --product map=820/t --max-products 2
    evenstand blend --need N=80,P2O5=30,S=10-20 --products list.csv --bin "A: side-band" --bin "B: seed-row" --limit "seed-row N <= 15"
    evenstand blend --given urea=150 --given map=50@seed-row --product urea --product map --limit "seed-row N <= 15"
    """
    from evenstand.desk.blends import SaidBlend, answer_blend, read_blend
    from evenstand.formats.product_lists import read_product_list

    units = units_of(profile)
    listed = read_product_list(file) if file else ()
    ask = read_blend(SaidBlend(listed=listed, **said), units)
    report = answer_blend(ask, next_best=next_best)
    if as_json:
        print_json(report)
    else:
        for line in blend_text(report, ask, units):
            click.echo(line)
    return 0 if report.feasible else 1


def blend_text(report: BlendReport, ask: BlendAsk, units: Profile) -> list[str]:
    """The answer as lines for a terminal."""
    out = [_headline(report, units), ""]
    if report.conflict:
        out.append("These cannot all be kept; without any one of them there is a blend")
        out += columns([_conflict_row(e, units) for e in report.conflict])
    if report.supply is not None:
        out += _rates(report, ask, units)
        out += _supplied(report.supply, ask, units)
    if report.blend is not None:
        out += _binding(report, units) + _next(report, units) + _proof(report)
    if report.notes:
        out += ["", "Notes", *(wrapped(n, bullet="- ") for n in report.notes)]
    return out


def _headline(report: BlendReport, units: Profile) -> str:
    if report.conflict:
        return "No blend keeps all limits."
    supply = report.supply
    if supply is None:
        return "No blend."
    mass = shown(supply.mass_kg_ha, "rate", units)
    cost = shown(supply.cost_ha, "price_area", units) if supply.cost_ha is not None else "cost not known"
    if report.blend is None:
        kept = "keeps every need and limit" if report.feasible else "does not keep every need and limit"
        return f"This blend: {mass}, {cost}; it {kept}."
    if not supply.rates_kg_ha:
        return "Nothing is needed."
    if report.blend.objective == "mass":
        return f"The blend of least mass to buy: {mass} in all."
    return f"The cheapest blend: {cost}, {mass} in all."


def _conflict_row(e: Any, units: Profile) -> tuple[str, ...]:
    side = "at least" if e.side == "least" else "at most"
    value = f"{e.value:g}" if e.kind in ("bins", "max_products") else shown(e.value, "rate", units)
    return _KIND[e.kind], e.key or "in the blend", f"{side} {value}"


def _rates(report: BlendReport, ask: BlendAsk, units: Profile) -> list[str]:
    """Rates by product and placement, with what is taken from the yard and what is to buy."""
    supply = report.supply
    assert supply is not None
    by_key = {p.key: p for p in ask.products}
    placed = {key: {q: part.products[key] for q, part in supply.placed.items() if key in part.products} for key in supply.rates_kg_ha}
    rows: list[tuple[str, ...]] = []
    for key, places in placed.items():
        for place, rate in places.items():
            litres = ""
            density = by_key[key].density_kg_l
            if by_key[key].form == "liquid" and density:
                litres = shown(rate / density, "liquid_area", units)
            rows.append((key, place if ask.placed else "", shown(rate, "rate", units), litres))
    out = columns([r[:1] + r[2:] if not ask.placed else r for r in rows])
    if any(supply.stock_kg_ha.values()):
        for key, rate in supply.stock_kg_ha.items():
            out.append(f"  {key}: {shown(rate, 'rate', units)} from the yard, {shown(supply.bought_kg_ha[key], 'rate', units)} to buy")
    if report.area_ha:
        out.append(f"  For {shown(report.area_ha, 'area', units)}:")
        out += columns([(k, shown(r * report.area_ha, "load", units)) for k, r in supply.rates_kg_ha.items()], indent="    ")
    return out


def _supplied(supply: BlendSupply, ask: BlendAsk, units: Profile) -> list[str]:
    held = {h.key: h for h in supply.held if h.kind == "need"}
    rows: list[tuple[str, ...]] = []
    for nutrient in sorted({*supply.supplied, *held}):
        text = shown(supply.supplied.get(nutrient, 0.0), "rate", units)
        rows.append((nutrient, text, _against(held[nutrient], units) if nutrient in held else "not asked for"))
    out = ["", "Supplies", *columns(rows)]
    if ask.placed:
        for place, part in supply.placed.items():
            inside = ", ".join(f"{n} {shown(v, 'rate', units)}" for n, v in part.supplied.items() if v > 0)
            out.append(f"  {place}: {shown(part.mass_kg_ha, 'rate', units)} of product; {inside}")
    limits = [h for h in supply.held if h.kind == "limit"]
    if limits:
        out += ["", "Limits", *columns([(h.key, shown(h.value, "rate", units), _against(h, units)) for h in limits])]
    if supply.bins_short:
        out.append(f"  {supply.bins_short} bin{'s' if supply.bins_short > 1 else ''} too few for it.")
    return out


def _against(h: Any, units: Profile) -> str:
    asked = []
    if h.least:
        asked.append(f"at least {shown(h.least, 'rate', units)}")
    if h.most is not None:
        asked.append(f"at most {shown(h.most, 'rate', units)}")
    text = ", ".join(asked) or "no limit"
    return text if h.standing == "kept" else f"{text}: {shown(h.off, 'rate', units)} {h.standing}"


def _binding(report: BlendReport, units: Profile) -> list[str]:
    """What binds, and what the last unit of it costs."""
    from evenstand.desk.blend_lines import worth

    best = report.blend
    assert best is not None
    rows: list[tuple[str, ...]] = []
    for b in best.binding:
        side = "at least" if b.side == "least" else "at most"
        rows.append((b.key, f"{side} {shown(b.limit, 'rate', units)}", worth(b, best.objective, units)))
    out = ["", "What binds (as long as the products stay the same)", *columns(rows)] if rows else []
    if report.one_more is not None:
        saves = shown(report.one_more, "price_area", units) if best.objective == "cost" else shown(report.one_more, "rate", units)
        out.append(f"  At most {report.max_products} products: one product more would save {saves}.")
    return out


def _next(report: BlendReport, units: Profile) -> list[str]:
    best = report.blend
    assert best is not None
    if not best.runners_up:
        return ["", "No other set of products does it with each one earning its place."]
    quantity = "price_area" if best.objective == "cost" else "rate"
    rows: list[tuple[str, ...]] = []
    for k, r in enumerate(best.runners_up, 1):
        parts = ", ".join(f"{key} {shown(rate, 'rate', units)}" for key, rate in r.rates_kg_ha.items())
        rows.append((f"{k}.", f"+{shown(r.more_ha, quantity, units)}", parts))
    return ["", "Next best sets of products", *columns(rows)]


def _proof(report: BlendReport) -> list[str]:
    assert report.blend is not None
    p = report.blend.proof
    sets = f"{p.sets:,}".replace(",", "\u202f")
    if not p.optimal:
        return ["", "Not proven: the search was stopped. Shorten the list or allow fewer products."]
    text = f"Proven: of {sets} sets of products {p.worked_out} were worked out, the others ruled out by a bound."
    if p.worked_out == p.sets:
        text = f"Proven: all {sets} sets of products were worked out."
    if not p.worked_out and not report.blend.rates_kg_ha:
        text = "Proven: nothing is the cheapest that does it."
    checked = " Limits and prices were worked out again and agree." if p.verified else " Working it out again did not agree to nine digits."
    return ["", text + checked]
