"""`evenstand check`: which numbers hold, and which cause explains those that do not."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING

import click

from evenstand.base.units import read_quantity
from evenstand.cli.common import book_option, job_of, print_json, shared_options, units_of, wrapped
from evenstand.model import Finding

if TYPE_CHECKING:
    from evenstand.book import Book
    from evenstand.model import Reading

_WORDS = {"holds": "Holds", "doubtful": "Doubtful", "does-not-hold": "DOES NOT HOLD", "cannot-tell": "Cannot be told yet"}


@click.command(name="check")
@click.option("--job", default="", help="Job of the book.")
@click.option("--read", "reads", multiple=True, help="Keep a reading first: area_counter=36.2, put:A=8200, level:A=450, width_tape=16.21.")
@book_option
@shared_options
def command(folder: str | None, job: str, reads: tuple[str, ...], as_json: bool, profile: str | None) -> int:
    """Whether to believe the numbers of a job: what holds, what does not, what one reading would settle.

    Numbers on a display repeat what was typed; tickets, tapes, scales and outlines know something by themselves.
    """
    from evenstand.base.clock import SystemClock
    from evenstand.base.errors import MissingError
    from evenstand.book import Book
    from evenstand.desk.checking import READINGS, check_job, reading_of
    from evenstand.desk.days import finding_dict
    from evenstand.desk.recording import record_reading

    if not folder:
        raise MissingError(
            "a book and a job are needed", where="--book, --job", cure="Without a book, use: evenstand call, or evenstand fill."
        )
    units = units_of(profile, folder)
    quantities = {r.key: r.unit for r in READINGS}
    parsed = []
    for text in reads:
        name, _, value = text.partition("=")
        key, _, letter = name.partition(":")
        if key not in quantities:
            known = [f"{r.key}:BIN" if r.of_bin else r.key for r in READINGS]
            raise MissingError(f"no reading '{key}'", where="--read", cure=f"Write one of {', '.join(known)}, then = and its value.")
        parsed.append(reading_of(key, read_quantity(value, quantities[key], units, where=name), bin=letter))
    with Book.open(folder, write=bool(parsed), who="command") as book:
        job = job_of(book, job)
        letters_known(book, job, parsed)
        with book.batch("readings") if parsed else contextlib.nullcontext():
            for reading in parsed:
                record_reading(book, job=job, reading=reading, clock=SystemClock())
        findings = check_job(book, job, profile=units)
    if as_json:
        print_json({"job": job, "findings": [finding_dict(f) for f in findings]})
    else:
        for line in findings_text(findings):
            click.echo(line)
    return 1 if any(f.state == "does-not-hold" for f in findings) else 0


def letters_known(book: Book, job: str, readings: list[Reading]) -> None:
    """Refuse a reading of a bin the outfit does not have."""
    from evenstand.base.errors import MissingError
    from evenstand.model import Job, Outfit

    of = next(j.outfit for j in book.all(Job) if j.key == job)
    outfit = next((o for o in book.all(Outfit) if o.key == of), None)
    letters = [b.letter for b in outfit.bins] if outfit is not None else []
    for reading in readings:
        letter = reading.quantity.partition(":")[2]
        if letters and letter and letter not in letters:
            raise MissingError(f"the outfit has no bin '{letter}'", where=f"--read {reading.quantity}", cure=f"Bins: {', '.join(letters)}.")


def findings_text(findings: tuple[Finding, ...]) -> list[str]:
    """Findings as lines for a terminal."""
    if not findings:
        return ["Nothing has been read yet: enter a fill, a reading or a log."]
    out: list[str] = []
    for f in findings:
        out.append(f"{_WORDS[f.state]}{f'  ({f.about})' if f.about else ''}")
        out.append(wrapped(f.claim, indent="    "))
        if len(f.suspects) > 1 or (f.suspects and len(f.suspects[0]) > 1):
            out.append(wrapped("Suspects: " + "; else ".join(" or ".join(g) for g in f.suspects), indent="    "))
        if f.settle_by:
            out.append(wrapped(f"Would settle it: {f.settle_by}", indent="    "))
        if f.confirm_by and f.state != "holds":
            out.append(wrapped(f"Confirm: {f.confirm_by}", indent="    "))
        if f.worth_stopping is False and f.state == "does-not-hold":
            out.append("    Not worth stopping for: leave it until the next stop.")
    return out
