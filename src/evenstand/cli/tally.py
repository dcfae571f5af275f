"""`evenstand tally`: what went where."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from evenstand.base.units import shown
from evenstand.cli.common import book_option, print_json, shared_options, units_of, wrapped

if TYPE_CHECKING:
    from evenstand.desk.tallies import BinRow

NOTHING_YET = "Nothing of it has gone into the outfit yet: all that came should be in the shed or on the truck."


@click.command(name="tally")
@book_option
@shared_options
def command(folder: str | None, as_json: bool, profile: str | None) -> int:
    """The account of every product: delivered, put in, left over, and what nobody can account for; the tally of every bin: what is left,
    what a turn truly gives, where and when it runs empty."""
    from evenstand.base.errors import MissingError
    from evenstand.book import Book
    from evenstand.desk.checking import tally_rows
    from evenstand.desk.tallies import bin_lines, bin_rows, product_lines, product_rows

    if not folder:
        raise MissingError("no book", where="--book", cure="Give the book's folder.")
    units = units_of(profile, folder)
    with Book.open(folder) as book:
        rows, bins = tally_rows(book), bin_rows(book)
    groups = product_rows(bins)
    if as_json:
        print_json({"products": [r.account for r in rows], "bins": [_plain(b) for b in bins], "together": list(groups)})
        return 0
    if not rows:
        click.echo("No loads or fills yet.")
    for r in rows:
        click.echo(r.product)
        parts = [
            f"delivered {shown(r.delivered_kg, 'mass', units)}",
            f"put in {shown(r.put_kg, 'mass', units)}",
            f"left over {shown(r.left_kg, 'mass', units)}",
        ]
        click.echo("    " + ", ".join(parts))
        if r.open_kg is not None:
            click.echo(f"    open {shown(r.open_kg, 'mass', units)} ± {shown(r.open_sd_kg, 'mass', units)}")
        click.echo(wrapped(r.meaning if r.put_kg else NOTHING_YET, indent="    "))
    for b in bins:
        click.echo(f"{b.outfit}, bin {b.bin}, {b.product}")
        for line in bin_lines(b, units):
            click.echo(wrapped(line, indent="    "))
    for line in product_lines(groups, units):
        click.echo(wrapped(line, indent=""))
    return 1 if any(r.put_kg and r.account.z is not None and abs(r.account.z) > 3 for r in rows) else 0


def _plain(row: BinRow) -> dict[str, Any]:
    """A bin's row without its workings."""
    from dataclasses import fields

    return {f.name: getattr(row, f.name) for f in fields(row) if f.name != "tally"}
