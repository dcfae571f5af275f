"""`evenstand plan`: what the numbers should be."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import click

from evenstand.base.units import Profile, restated, shown
from evenstand.cli.common import book_option, columns, job_of, print_json, shared_options, units_of, wrapped
from evenstand.model import CardLine, Plan

_FIRST = ("job", "time")  # groups that a plan tells before those of the card


@click.command(name="plan")
@click.argument("words", nargs=-1)
@click.option("--crop", default="", help="Crop.")
@click.option("--area", default="", help="Area, 62 ha.")
@click.option("--rate", default="", help="Rate, 120 kg/ha.")
@click.option("--width", default="", help="Working width, 16.3 m.")
@click.option("--speed", default="", help="Working speed, 7.5 km/h.")
@click.option("--factor", default="", help="Product per turn of the meter, 1.25 kg/turn, or A=1.25,B=1.18.")
@click.option("--bins", default="", help="Bin sizes, 6.6 m³, or A=6.2,B=4.6.")
@click.option("--density", default="", help="Bulk density, 780 kg/m³ or 0.78 kg/L.")
@click.option("--tkw", default="", help="Mass of a thousand kernels, grams.")
@click.option("--survival", default="", help="Share of seeds that become plants, 85 %.")
@click.option("--target", default="", help="Plants wanted, 270 plants/m².")
@click.option("--rows", default="", help="Number of openers.")
@click.option("--spacing", default="", help="Row spacing, 254 mm.")
@click.option("--spread", default="", help="Width of the seed band of one opener, 50 mm.")
@click.option("--meter-range", default="", help="Shaft speeds the meter doses evenly at, 4-60 rpm.")
@click.option("--fan", default="", help="Fan speed proven on this outfit, 4300 rpm.")
@click.option("--turns", default="", help="Turns of the catch test.")
@click.option("--texture", default="", help="Soil texture: light, medium or heavy.")
@click.option("--guideline", default="", help="Seed-row guideline, by publisher, as manitoba.")
@click.option("--boundary", default="", type=click.Path(), help="The field's outline (GeoJSON, Shapefile, GeoPackage).")
@click.option("--field", default="", help="Which field of that file.")
@click.option("--crs", default="", help="Coordinate system of that file where it names none, EPSG:4326.")
@click.option("--also", multiple=True, help="Another product, urea=150.")
@click.option("--job", default="", help="A job of the book instead of typed values.")
@book_option
@shared_options
def command(words: tuple[str, ...], job: str, folder: str | None, as_json: bool, profile: str | None, **said: Any) -> int:
    """What the numbers should be, from as little as is known.

    \b
    evenstand plan "62 ha, wheat, 120 kg/ha, 16.3 m, 7.5 km/h"
    evenstand plan 62ha wheat 120kg/ha 16.3m 7.5km/h --factor 1.25 --bins 6.6 --density 780 --tkw 38
    evenstand plan --book FOLDER --job JOB
    """
    from evenstand.desk.planning import Said, plan_job, quick_plan

    units = units_of(profile, folder)
    if job or (folder and not words and not any(said.values())):
        from evenstand.base.clock import SystemClock, iso
        from evenstand.base.errors import MissingError
        from evenstand.book import Book

        if not folder:
            raise MissingError("a book and a job go together", where="--book, --job", cure="Give both.")
        with Book.open(folder) as book:
            plan = plan_job(book, job_of(book, job), now=iso(SystemClock().now()))
    else:
        plan = quick_plan(Said(words=words, **said), units)
    if as_json:
        print_json(plan_json(plan))
    else:
        for line in plan_text(plan, units):
            click.echo(line)
    return 0


def plan_json(plan: Plan) -> dict[str, Any]:
    """The plan as plain data; the drive is given by its figures and its line. [metric]"""
    from evenstand.cli.common import card_json, plain

    data: dict[str, Any] = plain(plan)
    return {**data, "card": card_json(plan.card)}


def plan_text(plan: Plan, units: Profile) -> list[str]:
    """The plan as lines for a terminal: what is known by group, bins side by side, then what is still needed."""
    from evenstand.cli.card import bin_table
    from evenstand.desk.cards import laid_out, warned
    from evenstand.expect.lines import GROUPS

    title = " · ".join(t for t in (plan.field_name, plan.crop, shown(plan.area_ha, "area", units) if plan.area_ha else "") if t)
    out = [title or "Plan", ""]
    warnings = warned(plan.card)
    if warnings:
        out += ["Mind first", *(wrapped(restated(text, units), bullet="- ") for text in warnings), ""]
    for key, name in sorted(GROUPS, key=lambda g: g[0] not in _FIRST):
        known = [c for c in plan.card if c.group == key and c.state != "needs"]
        if not known:
            continue
        out.append(name)
        if len({c.bin for c in known if c.bin}) > 1:
            for part in laid_out([c for c in known if c.bin]):
                out += [f"  {part.title.lower()}", *bin_table(part, plan.card, units)]
        else:
            out += columns([_row(c, units) for c in known if c.bin])
        out += [*columns([_row(c, units) for c in known if not c.bin]), ""]
    if plan.drive is not None:
        d = plan.drive
        out += [
            "Drive",
            f"  {d.passes} passes ({d.headland_rounds} headland rounds first), {shown(d.width_m, 'width', units)} apart, "
            f"direction {d.direction_deg:.0f}°",
            *(wrapped(restated(n, units)) for n in d.notes),
            "",
        ]
    if plan.stops:
        out.append("Fills along the path")
        for s in plan.stops:
            left = ", ".join(f"{b} {shown(v, 'mass', units)}" for b, v in s.left_kg.items())
            out.append(f"  after pass {s.after_pass}, no later than {s.latest_pass} ({shown(s.at_ha, 'area', units)}); left then: {left}")
        out.append("")
    for key, text in plan.proof.items():
        out.append(f"  {key}: {text}")
    out += _needed(plan.card, units, spaced=out[-1] != "")
    if plan.cautions and plan.bins:
        out += ["", "Mind (labels, manuals and local codes come first)", *(wrapped(c, bullet="- ") for c in plan.cautions)]
    return out


def _row(c: CardLine, units: Profile) -> tuple[str, ...]:
    from evenstand.paper.wording import card_value

    label = restated(f"{c.bin}  {c.label}" if c.bin else c.label, units)
    value, band = card_value(c, units)
    text = f"{value['n']} {value['u']}".strip() + (f"  ({band})" if band else "") + (" !" if c.stale_now else "")
    return label, text


def _needed(lines: Sequence[CardLine], units: Profile, *, spaced: bool) -> list[str]:
    """Missing lines grouped by what they wait for, so that one reading is asked for once."""
    from evenstand.desk.cards import wanted

    out = []
    for want in wanted(lines):
        out += [
            f"  {want.what}",
            wrapped(f"for: {', '.join(want.lines)}", indent="      "),
            wrapped(restated(want.how, units), indent="      "),
        ]
    return [*([""] if spaced else []), "Still needed", *out] if out else []
