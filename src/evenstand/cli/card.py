"""`evenstand card`: the value card on a terminal or as a PDF."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenstand.base.units import Profile
from evenstand.cli.common import book_option, print_json, shared_options, units_of, wrapped
from evenstand.cli.plan import command as plan_command
from evenstand.cli.sheet import SAID, sheet_context

if TYPE_CHECKING:
    from evenstand.model import CardLine


@click.command(name="card")
@click.option("--out", "out", default="", type=click.Path(dir_okay=False), help="Write it as a PDF to this file.")
@click.option("--farm", default="", help="Name of the farm, for a card without a book.")
@click.option("--who", default="", help="Who has it made.")
@click.option("--job", default="", help="A job of the book instead of typed values.")
@book_option
@shared_options
def command(out: str, farm: str, who: str, job: str, folder: str | None, as_json: bool, profile: str | None, **said: Any) -> int:
    """The value card: every value and alarm of one outfit and crop, or what it still needs and how to get it.

    \b
    evenstand card "62 ha, wheat, 120 kg/ha, 16.3 m, 7.5 km/h"
    evenstand card --book FOLDER --job JOB --out value-card.pdf
    """
    units = units_of(profile, folder)
    context = sheet_context(units, job=job, folder=folder, farm=farm, who=who, said=said)
    if out:
        from evenstand.base.errors import InputError
        from evenstand.paper import sheet_pdf

        try:
            Path(out).write_bytes(sheet_pdf(context, "value-card"))
        except OSError as error:
            raise InputError(f"cannot be written: {error.strerror}", where=out, cure="Name a file that can be written.") from error
    if as_json:
        print_json({"job": context.job.key, "card": context.plan.card, "file": out or None})
    elif out:
        click.echo(f"Written: {out}")
    else:
        click.echo("\n".join(card_text(context.plan.card, units)))
    return 0


def card_text(lines: tuple[CardLine, ...], units: Profile) -> list[str]:
    """The card as lines for a terminal, in the order and words of the printed one."""
    from evenstand.paper.wording import GROUPS, card_value, needs_text

    out: list[str] = []
    told_needs: set[str] = set()
    for group, title in GROUPS:
        mine = [line for line in lines if line.group == group]
        if not mine:
            continue
        out += [title, ""]
        for line in mine:
            name = f"{line.bin}  {line.label}" if line.bin else line.label
            value, band = card_value(line, units)
            if value["n"] is None:
                out += [f"  {name}: ______ {value['u']}".rstrip(), wrapped(f"needs {needs_text(line, told_needs)}", indent="      ")]
                continue
            out.append(f"  {name}: {value['n']} {value['u']}".rstrip() + (f"  ({band})" if band else ""))
            told = [
                f"your display: {line.yours}" if line.yours else "",
                f"set by {line.set_by}" if line.set_by else "",
                line.why.rstrip("."),
            ]
            told.append(f"stale after {line.stale}" if line.stale else "")
            if any(told):
                out.append(wrapped("; ".join(part for part in told if part), indent="      "))
        out.append("")
    return out[:-1]


command.params[:0] = [p for p in plan_command.params if p.name in SAID]
