"""`evenstand book fill`: enter a fill, with the load it came out of and the hectares at the low-level light."""

from __future__ import annotations

from pathlib import Path
from typing import Any, cast

import click

from evenstand.base.units import read_quantity
from evenstand.cli.book_shared import folder_argument, who_option
from evenstand.cli.common import job_of, plain, print_json, shared_options, units_of, wrapped

_HOW = ("ticket", "truck-scale", "pads", "cart-scale", "tote", "brim", "conveyor", "glance", "share")


@click.command(name="fill")
@folder_argument
@click.option("--job", default="", help="Job of the book.")
@click.option("--bin", "letter", default="", help="Letter of the bin.")
@click.option("--put", default="", help="What went in, 4000 kg.")
@click.option("--how", default="ticket", show_default=True, type=click.Choice(_HOW), help="How that is known.")
@click.option("--minutes", default="", help="Minutes the conveyor ran, instead of --put; beside a weighed --put its delivery is learned.")
@click.option("--delivery", default="", help="What the conveyor delivers, 300 kg/min; as learned unless given.")
@click.option("--counter", default="", help="What the area counter shows now.")
@click.option("--before", default="", help="What was still in the bin.")
@click.option("--load", default="", help="The truck load or delivery it came out of, by its key.")
@click.option("--light-at", default="", help="The area counter when the low-level light came on before this fill.")
@click.option("--loads", "listed", is_flag=True, help="List the loads with something left, and keep nothing.")
@who_option
@shared_options
def fill(
    folder: Path, job: str, letter: str, put: str, how: str, minutes: str, delivery: str, counter: str, before: str, load: str,
    light_at: str, listed: bool, who: str, as_json: bool, profile: str | None,
) -> int:  # fmt: skip
    """Enter a fill. Only the job, the bin, and what went in are needed; the rest makes the tally sharper.

    \b
    evenstand book fill our-farm --loads
    evenstand book fill our-farm --job home-wheat --bin D --put 4000 --counter 29.6 --light-at 28.9 --load truck-wheat-4711
    evenstand book fill our-farm --job home-wheat --bin D --minutes 12.5
    """
    from evenstand.base.clock import SystemClock
    from evenstand.desk.books import open_book
    from evenstand.desk.fill_entry import enter_fill, kept_words
    from evenstand.desk.fill_sources import load_choices, read_minutes

    units = units_of(profile, str(folder))
    if listed:
        with open_book(folder) as book:
            choices = load_choices(book, profile=units)
        if as_json:
            print_json({"loads": [plain(c) for c in choices]})
            return 0
        for c in choices:
            click.echo(f"{c.key}: {c.text}")
        if not choices:
            click.echo("No load with anything left is on record.")
        return 0

    def number(text: str, quantity: str, where: str) -> Any:
        return read_quantity(text, quantity, units, where=where) if text else None

    numbers = {
        "put_kg": number(put, "mass", "--put"), "delivery_kg_s": number(delivery, "mass_flow", "--delivery"),
        "area_ha": number(counter, "area", "--counter"), "level_before_kg": number(before, "mass", "--before"),
        "low_light_at_ha": number(light_at, "area", "--light-at"),
    }  # fmt: skip
    ran_s = read_minutes(minutes, where="--minutes")
    with open_book(folder, write=True, who=who) as book:
        kept = enter_fill(
            book, job=job_of(book, job), bin=letter, how=cast(Any, how), load=load, ran_s=ran_s, clock=SystemClock(), **numbers
        )
    if as_json:
        print_json({"fill": plain(kept)})
    else:
        click.echo(wrapped(f"Kept: {kept_words(kept, profile=units)}.", indent=""))
    return 0
