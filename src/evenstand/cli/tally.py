"""`evenstand tally`: what went where."""

from __future__ import annotations

import click

from evenstand.base.units import shown
from evenstand.cli.common import book_option, print_json, shared_options, units_of, wrapped

NOTHING_YET = "Nothing of it has gone into the outfit yet: all that came should be in the shed or on the truck."


@click.command(name="tally")
@book_option
@shared_options
def command(folder: str | None, as_json: bool, profile: str | None) -> int:
    """The account of every product: delivered, put in, left over, and what nobody can account for."""
    from evenstand.base.errors import MissingError
    from evenstand.book import Book
    from evenstand.desk.checking import tally_rows

    if not folder:
        raise MissingError("no book", where="--book", cure="Give the book's folder.")
    units = units_of(profile, folder)
    with Book.open(folder) as book:
        rows = tally_rows(book)
    if as_json:
        print_json({"products": [r.account for r in rows]})
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
    return 1 if any(r.put_kg and r.account.z is not None and abs(r.account.z) > 3 for r in rows) else 0
