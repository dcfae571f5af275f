"""`evenstand next`: what to do next."""

from __future__ import annotations

import click

from evenstand.cli.common import NO_JOB, book_option, job_of, print_json, shared_options, units_of, wrapped
from evenstand.model import Job, Step


@click.command(name="next")
@click.option("--job", default="", help="One job; all of the book where not given.")
@book_option
@shared_options
def command(folder: str | None, job: str, as_json: bool, profile: str | None) -> int:
    """What to do next, most urgent first: why, what waiting costs, how to confirm it."""
    from evenstand.base.clock import SystemClock
    from evenstand.base.errors import MissingError
    from evenstand.book import Book
    from evenstand.desk.nexts import next_list

    if not folder:
        raise MissingError("no book", where="--book", cure="Give the book's folder, or make one with: evenstand book new FOLDER.")
    units = units_of(profile, folder)
    with Book.open(folder) as book:
        steps = next_list(book, clock=SystemClock(), job_key=job_of(book, job) if job else "", profile=units)
        begun = bool(book.all(Job))
    if as_json:
        print_json({"steps": [*steps]})
    elif not begun:
        click.echo(NO_JOB)
    else:
        for line in steps_text(steps):
            click.echo(line)
    return 0


def steps_text(steps: tuple[Step, ...], *, most: int | None = None) -> list[str]:
    """The list as lines for a terminal."""
    if not steps:
        return ["Nothing is due. Do the fill check at the next fill."]
    out: list[str] = []
    several = len({s.job for s in steps}) > 1
    for i, s in enumerate(steps[:most], 1):
        out.append(f"{i:>2}. {s.do}" + (f"  [{s.job}]" if several and s.job else ""))
        out.append(wrapped(s.because, indent="    "))
        if s.cost_of_waiting.text:
            out.append(wrapped(f"Waiting costs: {s.cost_of_waiting.text}", indent="    "))
        if s.confirm_by:
            out.append(wrapped(f"Confirm: {s.confirm_by}", indent="    "))
    if most is not None and len(steps) > most:
        out.append(f"    and {len(steps) - most} more: evenstand next --book ...")
    return out
