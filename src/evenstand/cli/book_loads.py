"""`evenstand book loads`: what came, where it went, what should still lie there, what is owed, and what is wrong on paper."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenstand.cli.book_shared import folder_argument
from evenstand.cli.common import columns, plain, print_json, shared_options, units_of, wrapped

if TYPE_CHECKING:
    from evenstand.desk.loads import Shed, ShedLine, ShedProduct


@click.command(name="loads")
@folder_argument
@click.option("--product", default="", help="Only this product, by its key.")
@click.option("--job", default="", help="A job whose stops the truck sheet lists.")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), default=None, help="Write the shed and truck sheet as a PDF.")
@shared_options
def loads(folder: Path, product: str, job: str, out: Path | None, as_json: bool, profile: str | None) -> int:
    """Loads: tickets split among fills, fields and outfits; what should be left; orders and what is owed; what is wrong on paper.

    \b
    evenstand book loads our-farm
    evenstand book loads our-farm --product wheat --json
    evenstand book loads our-farm --job home-wheat --out shed.pdf

    Exit code 1: tickets and fills do not agree.
    """
    from evenstand.desk.books import open_book
    from evenstand.desk.loads import shed
    from evenstand.desk.truck import truck_run

    units = units_of(profile, str(folder))
    with open_book(folder) as book:
        made = shed(book, profile=units, product=product)
        if product and not made.products and not made.orders:
            _unknown(made, product, book)
        if out is not None:
            from evenstand.base.clock import SystemClock, iso
            from evenstand.paper.shed import shed_pdf
            from evenstand.paper.writing import write_pdf

            run = truck_run(book, job, profile=units) if job else None
            write_pdf(out, shed_pdf(made, run, farm=book.farm, made_at=iso(SystemClock().now()), profile=units))
    if as_json:
        print_json({**loads_json(made), "file": str(out) if out else None})
    else:
        for line in loads_text(made):
            click.echo(line)
        if out is not None:
            click.echo(f"Written: {out}")
    return 1 if any(f.state == "does-not-hold" for p in made.products for f in p.findings) else 0


def _unknown(made: Shed, product: str, book: Any) -> None:
    from evenstand.base.errors import MissingError
    from evenstand.desk.loads import shed

    known = ", ".join(p.key for p in shed(book).products)
    raise MissingError(f"nothing of '{product}' came, went or is ordered", where="--product", cure=f"There is: {known or 'nothing yet'}.")


def loads_json(made: Shed) -> dict[str, Any]:
    """The shed as plain data; masses in kg."""
    from evenstand.desk.days import finding_dict

    def product(p: ShedProduct) -> dict[str, Any]:
        return {
            "key": p.key, "name": p.name, "lead": p.lead,
            "stock": [_line(x) for x in p.stock], "fields": [_line(x) for x in p.fields], "outfits": [_line(x) for x in p.outfits],
            "in_bins": _line(p.in_bins) if p.in_bins else None,
            "tickets": [{"load": t.load, "title": t.title, "held": t.held, "parts": [_line(x) for x in t.parts]} for t in p.tickets],
            "to_sow": plain(p.to_sow), "owed_kg": p.owed_kg, "short": plain(p.short),
            "chi2": p.balance.chi2 if p.balance else None, "dof": p.balance.dof if p.balance else 0,
            "p": p.balance.p if p.balance else None,
            "findings": [finding_dict(f) for f in p.findings],
        }  # fmt: skip

    return {"products": [product(p) for p in made.products], "orders": plain(made.orders)}


def _line(x: ShedLine) -> dict[str, Any]:
    span = {"value_kg": x.span.value_kg, "low_kg": x.span.low_kg, "high_kg": x.span.high_kg}
    return {"what": x.what, "mass": x.mass, "note": x.note, **plain(span)}


def loads_text(made: Shed) -> list[str]:
    """The shed for a terminal."""
    out: list[str] = []
    for p in made.products:
        out += [p.name, wrapped(p.lead)]
        for f in p.findings:
            out.append(wrapped(f.claim, bullet="- "))
            if f.state != "holds":
                out += [wrapped(f"{e[:1].upper()}{e[1:]}.", indent="      ") for e in f.evidence]
                out.append(wrapped(f"To settle it: {f.settle_by}", indent="      "))
        for title, lines in (("Should lie in the yard", p.stock), ("Sown, by field", p.fields), ("Filled, by outfit", p.outfits)):
            if lines:
                out += [f"  {title}", *columns([_cells(x) for x in lines], indent="    ")]
        for t in p.tickets:
            out += [f"  {t.title[:1].upper()}{t.title[1:]}: {t.held}", *columns([_cells(x) for x in t.parts], indent="    ")]
        out.append("")
    if made.orders:
        out.append("Orders")
        rows: list[tuple[str, ...]] = [
            (
                o.product,
                f"ordered {o.ordered}",
                f"came {o.came}",
                f"owed {o.owed}",
                "; ".join(filter(None, [o.wanted_by, o.supplier, o.note])),
            )
            for o in made.orders
        ]
        out += columns(rows)
    return out or ["Nothing came, went, or is ordered yet."]


def _cells(x: ShedLine) -> tuple[str, str, str]:
    return x.what, x.mass, x.note
