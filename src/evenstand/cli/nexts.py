"""`evenstand next`: what to do next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from evenstand.base.errors import Fault
from evenstand.base.units import Profile
from evenstand.cli.common import NO_JOB, book_option, job_of, print_json, shared_options, units_of, wrapped
from evenstand.model import Job, Step

if TYPE_CHECKING:
    from evenstand.book import Book


@click.command(name="next")
@click.option("--job", default="", help="One job; all of the book where not given.")
@click.option("--done", "done", multiple=True, metavar="KEY", help="A line is done that nothing entered can show; may be repeated.")
@book_option
@shared_options
def command(folder: str | None, job: str, done: tuple[str, ...], as_json: bool, profile: str | None) -> int:
    """What to do next, most urgent first: why, what waiting costs, how to confirm it."""
    from evenstand.base.clock import SystemClock
    from evenstand.base.errors import MissingError
    from evenstand.book import Book
    from evenstand.desk.nexts import next_list

    if not folder:
        raise MissingError("no book", where="--book", cure="Give the book's folder, or make one with: evenstand book new FOLDER.")
    units = units_of(profile, folder)
    with Book.open(folder, write=bool(done), who="command") as book:
        say_done(book, done, units)
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


def say_done(book: Book, keys: Sequence[str], units: Profile) -> None:
    """Keep somebody's word for lines that close by it; others are refused, for they close by what is entered."""
    from evenstand.base.clock import SystemClock, iso
    from evenstand.base.errors import InputError
    from evenstand.book import StepState
    from evenstand.desk.nexts import next_list

    if not keys:
        return
    clock = SystemClock()
    steps = {s.key: s for s in next_list(book, clock=clock, profile=units)}
    faults = []
    for key in keys:
        if key not in steps:
            faults.append(Fault(where="--done", what=f"'{key}' is no open line", cure="Give a key of: evenstand next --json."))
        elif not steps[key].by_word:
            faults.append(Fault(where="--done", what=f"'{key}' closes by evidence", cure=f"It closes when {steps[key].closes_when}."))
    if faults:
        raise InputError(faults)
    with book.batch("done, by word"):
        for key in keys:
            book.put(StepState(key=key, state="closed", at=iso(clock.now()), by=book.who, note=steps[key].do[:300]))


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
        if s.by_word:
            out.append(wrapped(f"Say so when it is done: --done {s.key}", indent="    "))
    if most is not None and len(steps) > most:
        out.append(f"    and {len(steps) - most} more: evenstand next --book ...")
    return out
