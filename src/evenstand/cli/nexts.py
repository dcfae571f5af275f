"""`evenstand next`: what to do next."""

from __future__ import annotations

import click

from evenstand.cli.common import book_option, print_json, shared_options, wrapped
from evenstand.model import Step


@click.command(name="next")
@click.option("--job", default="", help="One job; all of the book where not given.")
@book_option
@shared_options
def command(folder: str | None, job: str, as_json: bool, profile: str) -> int:
    """What to do next, most urgent first: why, what waiting costs, how to confirm it."""
    from evenstand.base.clock import SystemClock
    from evenstand.base.errors import MissingError
    from evenstand.book import Book
    from evenstand.desk.nexts import next_list

    if not folder:
        raise MissingError("no book", where="--book", cure="Give the book's folder, or make one with: evenstand book new FOLDER.")
    with Book.open(folder) as book:
        steps = next_list(book, clock=SystemClock(), job_key=job)
    if as_json:
        print_json({"steps": [*steps]})
    else:
        for line in steps_text(steps):
            click.echo(line)
    return 0


def steps_text(steps: tuple[Step, ...], *, most: int | None = None) -> list[str]:
    """The list as lines for a terminal."""
    if not steps:
        return ["Nothing is due. Do the fill check at the next fill."]
    out: list[str] = []
    for i, s in enumerate(steps[:most], 1):
        out.append(f"{i:>2}. {s.do}")
        out.append(wrapped(s.because, indent="    "))
        if s.cost_of_waiting.text:
            out.append(wrapped(f"Waiting costs: {s.cost_of_waiting.text}", indent="    "))
        if s.confirm_by:
            out.append(wrapped(f"Confirm: {s.confirm_by}", indent="    "))
    if most is not None and len(steps) > most:
        out.append(f"    and {len(steps) - most} more: evenstand next --book ...")
    return out
