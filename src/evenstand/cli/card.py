"""`evenstand card`: the value card on a terminal or as a PDF."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenstand.base.units import Profile
from evenstand.cli.common import book_option, card_json, columns, print_json, shared_options, units_of, wrapped
from evenstand.cli.plan import command as plan_command
from evenstand.cli.sheet import SAID, sheet_context

if TYPE_CHECKING:
    from evenstand.desk.cards import Part, Row
    from evenstand.model import CardLine

_COLUMNS = 3  # bins side by side on a terminal of a hundred columns
_CELL = 24  # characters of a bin's head


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
        print_json({"job": context.job.key, "card": card_json(context.plan.card), "file": out or None})
    elif out:
        click.echo(f"Written: {out}")
    else:
        click.echo("\n".join(card_text(context.plan.card, units)))
    return 0


def card_text(lines: tuple[CardLine, ...], units: Profile) -> list[str]:
    """The card as lines for a terminal: what to type first, then what to see, then the rest; bins side by side."""
    from evenstand.base.units import restated
    from evenstand.desk.cards import laid_out, warned

    out: list[str] = []
    told: set[str] = set()
    warnings = warned(lines)
    if warnings:
        out += ["MIND FIRST", *(wrapped(restated(text, units), bullet="- ") for text in warnings), ""]
    for part in laid_out(lines):
        out += [part.title.upper(), ""]
        if len(part.bins) > 1:
            out += [*_side_by_side(part, lines, units, told), ""]
        elif part.bin_rows:
            out += ["Bin and meter", *(text for row in part.bin_rows for text in _single(row.line, units, told)), ""]
        for title, rows in part.groups:
            out += [title, *(text for row in rows for text in _single(row.line, units, told)), ""]
    return out[:-1]


def _single(line: CardLine, units: Profile, told: set[str]) -> list[str]:
    """One line with its reason below it, or what it needs."""
    from evenstand.base.units import restated
    from evenstand.desk.cards import flag_of
    from evenstand.paper.wording import card_value, needs_text

    name = f"{line.bin}  {line.label}" if line.bin else line.label
    value, band = card_value(line, units)
    if value["n"] is None:
        return [
            f"  {restated(name, units)}: ______ {value['u']}".rstrip(),
            wrapped(restated(f"needs {needs_text(line, told)}", units), indent="      "),
        ]
    first = f"  {restated(name, units)}: {value['n']} {value['u']}".rstrip() + (f"  ({band})" if band else "")
    parts = [
        f"{flag_of(line).upper()}: {line.stale_now.rstrip('.')}" if line.stale_now else "",
        f"your display: {line.yours}" if line.yours else "",
        f"set by {line.set_by}" if line.set_by else "",
        line.why.rstrip("."),
        f"stale after {line.stale}" if line.stale else "",
    ]
    why = restated("; ".join(p for p in parts if p), units)
    return [first, wrapped(why, indent="      ")] if why else [first]


def _side_by_side(part: Part, lines: tuple[CardLine, ...], units: Profile, told: set[str]) -> list[str]:
    """Bins as columns, four at a time; what is said of a row stands below the table."""
    return [*bin_table(part, lines, units), "", *(text for row in part.bin_rows for text in _said(row, units, told))]


def bin_table(part: Part, lines: tuple[CardLine, ...], units: Profile) -> list[str]:
    """Rows of a part with a column a bin, some bins at a time."""
    out: list[str] = []
    letters = [b for b, _ in part.bins]
    for start in range(0, len(letters), _COLUMNS):
        some = letters[start : start + _COLUMNS]
        rows: list[tuple[str, ...]] = [("", *(f"{b}  {_product(lines, b)}".strip()[:_CELL] for b in some))]
        for row in part.bin_rows:
            rows += _cells(row, some, units)
        out += [*([""] if out else []), *columns(rows)]
    return out


def _product(lines: tuple[CardLine, ...], letter: str) -> str:
    """What is in a bin, from the line of its rate."""
    return next((x.label.partition(", ")[2] for x in lines if x.bin == letter and x.key.startswith("bin-rate:")), "")


def _cells(row: Row, letters: list[str], units: Profile) -> list[tuple[str, ...]]:
    """Values of a row under each other's bins, and below them their ranges where they have any."""
    from evenstand.desk.cards import suffix_of
    from evenstand.paper.wording import card_value

    values, bands = [], []
    for letter in letters:
        line = row.of(letter)
        value, band = ({"n": "", "u": ""}, "") if line is None else card_value(line, units)
        more = suffix_of(line, row) if line is not None else ""
        text = f"______ {value['u']}" if value["n"] is None else f"{value['n']} {value['u']}"
        values.append(f"{text.strip()}{f' in {more}' if more else ''}{' !' if line is not None and line.stale_now else ''}")
        bands.append(f"({band})" if band else "")
    return [(row.label, *values), *([("", *bands)] if any(bands) else [])]


def _said(row: Row, units: Profile, told: set[str]) -> list[str]:
    """Why, what makes it stale, and what it needs, once for all bins."""
    from evenstand.base.units import restated
    from evenstand.paper.wording import needs_text

    stale, now = (row.said(what).rstrip(".") for what in ("stale", "stale_now"))
    yours, by = (", ".join(f"{text} ({b})" for b, x in row.lines if (text := getattr(x, what))) for what in ("yours", "set_by"))
    parts = [
        f"STALE NOW: {now}" if now else "",
        f"your display: {yours}" if yours else "",
        f"set by {by}" if by else "",
        row.said("why").rstrip("."),
        f"stale after {stale}" if stale else "",
    ]
    missing = [(b, x) for b, x in row.lines if x.state == "needs"]
    if missing:
        letters = ", ".join(b for b, _ in missing)
        parts.insert(0, f"{letters} needs {needs_text(missing[0][1], told).rstrip('.')}")
    text = restated("; ".join(p for p in parts if p), units)
    return [wrapped(f"{row.label}: {text}", indent="  ")] if text else []


command.params[:0] = [p for p in plan_command.params if p.name in SAID]
