"""`evenstand book proofs | shift | since | bundle`: the record of an outfit, the shift note, what changed, one file for support."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenstand.base.errors import InputError
from evenstand.base.units import Profile
from evenstand.cli.book_shared import folder_argument, json_option, quoted, who_option
from evenstand.cli.common import columns, plain, print_json, wrapped

if TYPE_CHECKING:
    from evenstand.book import Book
    from evenstand.nextup.commissioning import Line


@click.command()
@folder_argument
@click.option("--outfit", default="", help="Which outfit, where the book has several.")
@click.option("--found", multiple=True, help='Keep a measurement: "width=16.26 m", "lid:B=tight", "puff=2.5 s"; again for more.')
@click.option("--delivered", is_flag=True, help="It is as the outfit was delivered; else as it was found.")
@click.option("--changed", multiple=True, help="Say that something changed: tyres, soil, hoses, lids; what rests on it is due again.")
@click.option("--by", default="", help="Who measured.")
@click.option("--note", default="", help="What else is to be said.")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), default=None, help="Write the record as a PDF to sign.")
@who_option
@json_option
def proofs(
    folder: Path, outfit: str, found: tuple[str, ...], delivered: bool, changed: tuple[str, ...], by: str, note: str, out: Path | None,
    who: str, as_json: bool,
) -> int:  # fmt: skip
    """Proving an outfit: what must be measured before the first hectare, its band, what was found, what is due again.

    \b
    evenstand book proofs our-farm
    evenstand book proofs our-farm --found "width=16.26 m" --found "lid:B=tight" --by Kim
    evenstand book proofs our-farm --changed tyres
    evenstand book proofs our-farm --out commissioning.pdf

    Exit code 1: something lies outside its band.
    """
    from evenstand.base.clock import SystemClock, iso
    from evenstand.desk.books import open_book
    from evenstand.desk.proof_changes import keep_change
    from evenstand.desk.proofs import proof_lines, the_outfit
    from evenstand.paper.commissioning import record_pdf
    from evenstand.paper.writing import write_pdf

    clock = SystemClock()
    with open_book(folder, write=bool(found or changed), who=who) as book:
        chosen = the_outfit(book, outfit)
        for what in changed:
            keep_change(book, chosen.key, what.strip(), by=by, note=note, clock=clock)
        if found:
            _keep_found(book, chosen.key, found, delivered=delivered, by=by, note=note)
        lines = proof_lines(book, chosen.key, clock=clock)
        profile, farm = book.profile, book.farm
    if out is not None:
        write_pdf(out, record_pdf(lines, outfit=chosen.name, farm=farm, made_at=iso(clock.now()), who=by, profile=profile))
    if as_json:
        from evenstand.nextup.commissioning import STATE_WORDS

        rows = [{**plain(x), "band": x.item.band(profile), "words": STATE_WORDS[x.state]} for x in lines]
        print_json({"outfit": chosen.key, "lines": rows, "file": str(out) if out else None})
    else:
        for line in _proof_text(lines, profile):
            click.echo(line)
        if out is not None:
            click.echo(f"Written: {out}")
    return 1 if any(x.state == "outside" for x in lines) else 0


def _keep_found(book: Book, outfit: str, found: tuple[str, ...], *, delivered: bool, by: str, note: str) -> None:
    """Keep what was measured; all of it can be read before any of it is kept."""
    from evenstand.base.clock import SystemClock
    from evenstand.desk.proofs import keep_proof, proof_facts, read_found, the_item

    facts = proof_facts(book, outfit, clock=SystemClock())
    read = []
    for piece in found:
        key, equals, text = piece.partition("=")
        if not equals or not text.strip():
            raise InputError(f"'{piece}' says nothing", where="--found", cure='Write it as "width=16.26 m" or "lid:B=tight".')
        item = the_item(facts, key.strip())
        read.append((item.key, read_found(item, text, book.profile), text))
    with book.batch("proof"):
        for key, value, text in read:
            keep_proof(
                book, outfit, key, value=value, text=text, phase="as-delivered" if delivered else "as-found", by=by, note=note,
                clock=SystemClock(),
            )  # fmt: skip


def _proof_text(lines: tuple[Line, ...], profile: Profile) -> list[str]:
    from evenstand.desk.proofs import counts
    from evenstand.nextup.commissioning import STATE_WORDS

    rows: list[tuple[str, ...]] = [
        (
            x.item.key,
            x.item.title,
            x.item.band(profile) or "-",
            x.latest.said(x.item, profile) if x.latest else "",
            STATE_WORDS[x.state] + (f": {x.due}" if x.due else ""),
        )
        for x in lines
    ]
    n = counts(lines)
    yard = [row for row, x in zip(rows, lines, strict=True) if x.item.moment == "yard"]
    metres = [row for row, x in zip(rows, lines, strict=True) if x.item.moment != "yard"]
    out = ["Before the first hectare (bands are common practice where the page says so)", *columns(yard)]
    out += ["In the first metres", *columns(metres)] if metres else []
    return [*out, f"{n['inside']} inside, {n['outside']} outside, {n['due']} due again, {n['noted']} noted, {n['open']} not measured yet."]


@click.command()
@folder_argument
@click.option("--job", default="", help="Which job, where the book has several.")
@click.option("--since", default="", help="What changed after this moment, 2027-05-09T06:00; else since the last hand-over, or a day.")
@click.option("--hand-over", is_flag=True, help="Keep that the shift is handed over now; the next note counts from here.")
@click.option("--note", default="", help="With --hand-over: what the next one should know.")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), default=None, help="Write the note as a PDF of one page.")
@who_option
@json_option
def shift(folder: Path, job: str, since: str, hand_over: bool, note: str, out: Path | None, who: str, as_json: bool) -> int:
    """The shift note: where it stopped, bins, values in force and changed, open doubts, runs shut, what to mind.

    \b
    evenstand book shift our-farm --job wheat-2027 --out shift.pdf
    evenstand book shift our-farm --job wheat-2027 --hand-over --note "wet by the gate"
    """
    from evenstand.base.clock import SystemClock
    from evenstand.book.columns import moment
    from evenstand.cli.common import job_of
    from evenstand.desk.books import login_name, open_book
    from evenstand.desk.shifts import hand_over as keep
    from evenstand.desk.shifts import shift_note
    from evenstand.paper.shift import note_lines, note_pdf
    from evenstand.paper.writing import write_pdf

    clock = SystemClock()
    begin = moment(since, where="--since") if since else ""
    if note and not hand_over:
        raise InputError("goes with a hand-over", where="--note", cure="Add --hand-over.")
    with open_book(folder, write=hand_over, who=who) as book:
        chosen = job_of(book, job)
        made = shift_note(book, chosen, clock=clock, since=begin)
        if hand_over:
            keep(book, chosen, note=note, by=who or login_name(), clock=clock)
            made = dataclasses.replace(made, said=note, said_by=who or login_name())
        profile, farm = book.profile, book.farm
    if out is not None:
        write_pdf(out, note_pdf(made, farm=farm, profile=profile))
    if as_json:
        print_json({**plain(made), "file": str(out) if out else None})
        return 0
    for title, items in note_lines(made, profile):
        click.echo(title)
        for text in items:
            click.echo(wrapped(text, bullet="- "))
    if out is not None:
        click.echo(f"Written: {out}")
    return 0


@click.command()
@folder_argument
@click.option("--job", default="", help="Which job, where the book has several.")
@json_option
def since(folder: Path, job: str, as_json: bool) -> int:
    """What changed since it last held: for each finding of a job that does not hold, the history between then and now.

    Exit code 1: something does not hold.
    """
    from evenstand.cli.common import job_of
    from evenstand.desk.books import open_book
    from evenstand.desk.days import finding_dict
    from evenstand.desk.since import since_held

    with open_book(folder) as book:
        chosen = job_of(book, job)
        found = since_held(book, chosen)
    if as_json:
        rows = [{**plain(x), "finding": finding_dict(x.finding), "sentence": x.sentence} for x in found]
        print_json({"job": chosen, "findings": rows})
    elif not found:
        click.echo("Everything that can be told holds.")
    for x in found if not as_json else ():
        click.echo(x.finding.about.capitalize() or "Finding")
        click.echo(wrapped(x.finding.claim))
        click.echo(wrapped(x.sentence))
        for title, lines in (("Values changed since", x.values), ("Came in since", x.happened)):
            if lines:
                click.echo(f"  {title}")
            for line in lines[:20]:
                why = f" ({line.why})" if line.why else ""
                click.echo(wrapped(f"{line.at[:16].replace('T', ' ')} {line.who}: {line.text}{why}", bullet="- "))
            if len(lines) > 20:
                click.echo(f"  and {len(lines) - 20} more: evenstand book history {quoted(folder)}")
    return 1 if found else 0


@click.command()
@folder_argument
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--originals", is_flag=True, help="With the files as they came, such as logs.")
@click.option("--without-names", is_flag=True, help="Names of people, farm, fields, files replaced, notes left out, fields moved.")
@json_option
def bundle(folder: Path, path: Path, originals: bool, without_names: bool, as_json: bool) -> int:
    """Write the book as one file to PATH for somebody else to look at. It opens read-only wherever a book's folder is asked for.

    \b
    evenstand book bundle our-farm for-support.zip --without-names
    evenstand serve for-support.zip
    """
    from evenstand.desk.books import open_book

    with open_book(folder) as book:
        made = book.write_bundle(path, originals=originals, without_names=without_names)
    if as_json:
        print_json({"path": str(made.path), "size_bytes": made.size_bytes, "manifest": made.manifest.to_dict()})
        return 0
    click.echo(f"{made.path}: {made.size_bytes:,} bytes, {len(made.manifest.files)} files.")
    click.echo(f"To look into it: evenstand serve {quoted(path)}")
    for text in made.manifest.left_out:
        click.echo(wrapped(f"Left out: {text}."))
    return 0
