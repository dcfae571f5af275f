"""`evenstand book`: make, look into, take back, check, publish and merge a book."""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenstand.base.errors import BookError, EvenstandError, InputError
from evenstand.base.units import PROFILES, Profile, check_profile, profile_unit, shown
from evenstand.cli.book_fill import fill
from evenstand.cli.book_loads import loads
from evenstand.cli.book_shared import folder_argument, json_option, quoted, who_option
from evenstand.cli.book_work import bundle, proofs, shift, since
from evenstand.cli.common import columns, plain, print_json, wrapped

if TYPE_CHECKING:
    from evenstand.book import Book
    from evenstand.desk.books import FirstOutfit, Question

_FOLDER, _JSON, _WHO = folder_argument, json_option, who_option


@click.group(name="book")
def command() -> None:
    """A book is one farm's season in a folder: a database any GIS can open, with its history and its files."""


# new ----------------------------------------------------------------------------------------------------------------
@command.command()
@_FOLDER
@click.option("--farm", default="", help="Name of the farm; the folder's name if left out.")
@click.option("--units", "profile", type=click.Choice(PROFILES), default="si", show_default=True, help="Units shown and read.")
@click.option("--outfit", default="", help="What you call drill and cart.")
@click.option("--rows", default="", help="Number of openers.")
@click.option("--spacing", default="", help="Row spacing.")
@click.option("--width", default="", help="Working width, where rows and spacing are not known.")
@click.option("--speed", default="", help="Working speed.")
@click.option("--bins", default="", help='Bins, front to rear: "A=6.2,B=4.6" or "A 6.2 seed, B 4.6 urea".')
@click.option("--drive", default="", help="What drives the meters: motor or ground.")
@click.option("--crop", default="", help="Crop of the first job.")
@click.option("--rate", default="", help='Seed rate, and further products behind it: "120, urea 80".')
@click.option("--area", default="", help="Area of the first job.")
@click.option("--factor", default="", help="Product per turn of the meter, if you have caught it.")
@click.option("--empty", is_flag=True, help="Ask nothing and put nothing in but the farm.")
@click.option("--no-sheets", is_flag=True, help="Do not write value card and fill slip.")
@_WHO
@_JSON
def new(folder: Path, farm: str, profile: str, empty: bool, no_sheets: bool, who: str, as_json: bool, **answers: str) -> int:
    """Make a book in FOLDER. Without options it asks for at most ten values; Enter means not known.

    \b
    evenstand book new our-farm
    evenstand book new our-farm --rows 64 --spacing 254 --speed 7.6 --bins "A 6.2 seed, B 4.6 urea" --crop wheat --rate "120, urea 150"
    """
    from evenstand.desk.books import login_name, new_book

    _refuse_taken(folder)
    asked = not empty and not any(answers.values())
    units = check_profile(profile)
    given = _ask_all(units, quiet=as_json) if asked else answers
    first = new_book(folder, farm=farm or _named_after(folder), profile=profile, answers={} if empty else given, who=who or login_name())
    sheets, trouble = ([], "") if first is None or no_sheets else _write_sheets(folder, first, units, who or login_name())
    if as_json:
        print_json(
            {
                "folder": str(folder),
                "farm": farm or _named_after(folder),
                "profile": profile,
                "first": first,
                "sheets": sheets,
                "trouble": trouble,
            }
        )
    else:
        _tell_new(folder, first, units, sheets, trouble)
    return 0


def _refuse_taken(folder: Path) -> None:
    """Before anybody answers ten questions."""
    if (folder / "book.gpkg").exists():
        raise BookError("there is a book already", where=str(folder), cure="Open it, or pick another folder.")


def _named_after(folder: Path) -> str:
    return folder.resolve().name.replace("-", " ").replace("_", " ").strip() or "Our farm"


def _ask_all(profile: Profile, *, quiet: bool) -> dict[str, str]:
    """Ask each question once; then again those whose answer is wrong, until all can be read."""
    from evenstand.desk.books import QUESTIONS, outfit_from_answers

    if not quiet:
        click.echo("Enter means not known. Numbers without a unit are read in the unit shown.", err=True)
    answers: dict[str, str] = {}
    for question in QUESTIONS:
        if not _is_settled(question.name, answers):
            answers[question.name] = _ask(question, profile)
    while True:
        try:
            outfit_from_answers(answers, profile)
        except InputError as error:
            for fault in error.faults:
                click.echo(str(fault), err=True)
            wrong = {fault.where for fault in error.faults}
            try:
                answers.update({q.name: _ask(q, profile) for q in QUESTIONS if q.name in wrong})
            except click.Abort:
                raise error from None
        else:
            return answers


def _is_settled(name: str, answers: dict[str, str]) -> bool:
    """Rows with their spacing, or the width: nobody needs to type both."""
    if name == "spacing":
        return not answers.get("rows")
    return name == "width" and bool(answers.get("rows") and answers.get("spacing"))


def _ask(question: Question, profile: Profile) -> str:
    unit = profile_unit(question.quantity, profile) if question.quantity else ""
    label = question.label + (f" [{unit}]" if unit else "") + (f" ({question.hint.rstrip('.')})" if question.hint else "")
    return str(click.prompt(label, default="", show_default=False, err=True)).strip()


def _write_sheets(folder: Path, first: FirstOutfit, profile: Profile, who: str) -> tuple[list[str], str]:
    """Value card and fill slip into `sheets/`; if they cannot be made the book stands all the same, and it is said why."""
    try:
        from evenstand.base.clock import SystemClock, iso
        from evenstand.desk.books import open_book
        from evenstand.desk.sheets import book_context
        from evenstand.paper.sheets import write_sheets

        with open_book(folder) as book:
            context = book_context(book, first.job.key, profile=profile, made_at=iso(SystemClock().now()), who=who)
        return [str(path) for path in write_sheets(context, folder / "sheets", only=("value-card", "fill-slip", "pocket-page"))], ""
    except (EvenstandError, ImportError) as error:
        return [], str(error)


def _tell_new(folder: Path, first: FirstOutfit | None, profile: Profile, sheets: list[str], trouble: str) -> None:
    click.echo(f"A new book is in {folder}.")
    if first is None:
        click.echo(f"It holds no outfit and no job yet. Both are made on the site: evenstand serve {quoted(folder)}")
        return
    outfit = first.outfit
    click.echo(f"Outfit {outfit.name}: width {shown(outfit.width_m, 'width', profile)}, {len(outfit.bins)} bins. Job {first.job.key}.")
    for note in first.notes:
        click.echo(wrapped(note))
    click.echo(f"Next: evenstand next --book {quoted(folder)}, or the site: evenstand serve {quoted(folder)}")
    if sheets:
        click.echo("Value card, fill slip and pocket page are written:")
        for path in sheets:
            click.echo(f"  {path}")
    elif trouble:
        click.echo(f"Value card and fill slip could not be written: {trouble}", err=True)


# looking ------------------------------------------------------------------------------------------------------------
@command.command()
@_FOLDER
@_JSON
def show(folder: Path, as_json: bool) -> int:
    """What a book holds: farm, outfits, products, fields, jobs, and how many of the rest."""
    from evenstand.desk.books import open_book

    with open_book(folder) as book:
        held = _held(book)
        if as_json:
            print_json(held)
            return 0
        profile = book.profile
    click.echo(f"{held['farm']} (units {held['profile']})")
    if held["bundle"] is not None:
        click.echo(f"A bundle made {held['bundle']['made_at'][:16].replace('T', ' ')} UTC: for reading only.")
    for title, rows in _lists(held, profile):
        click.echo(f"{title}:" + ("" if rows else " none yet"))
        for line in columns(rows):
            click.echo(line)
    click.echo("Also: " + ", ".join(f"{count} {name}" for name, count in held["counts"].items() if count) + ".")
    return 0


def _held(book: Book) -> dict[str, Any]:
    from evenstand.book import CallNote, CatchRecord, JobReading, TrailRecord
    from evenstand.model import Boundary, Fill, Job, Load, Lot, MeterFactor, Order, Outfit, Product

    also = {
        "lots": Lot, "product-per-turn values": MeterFactor, "orders": Order, "loads": Load, "fills": Fill, "readings": JobReading,
        "catch tests": CatchRecord, "call notes": CallNote, "trails": TrailRecord,
    }  # fmt: skip
    counts = {name: len(book.all(kept)) for name, kept in also.items()}
    return {
        "farm": book.farm,
        "bundle": None if book.bundle is None else book.bundle.to_dict(),
        "profile": book.profile,
        "outfits": [plain(o) | {"width_m": o.width_m} for o in book.all(Outfit)],
        "products": [plain(p) for p in book.all(Product)],
        "fields": [
            {"key": b.key, "name": b.name, "area_ha": b.area_ha, "obstacles": len(b.obstacles), "hazards": len(b.hazards)}
            for b in book.all(Boundary)
        ],
        "jobs": [plain(j) for j in book.all(Job)],
        "counts": counts | {"changes": len({e.id for e in book.history()})},
    }


def _lists(held: dict[str, Any], profile: Profile) -> list[tuple[str, list[tuple[str, ...]]]]:
    def rates(job: dict[str, Any]) -> str:
        return ", ".join(f"{a['product']} {shown(a['rate_kg_ha'], 'rate', profile)}" for a in job["asks"]) or "no rates yet"

    return [
        ("Outfits", [(o["key"], o["name"], shown(o["width_m"], "width", profile), f"{len(o['bins'])} bins") for o in held["outfits"]]),
        ("Products", [(p["key"], p["name"], p["kind"]) for p in held["products"]]),
        ("Fields", [(f["key"], f["name"], shown(f["area_ha"], "area", profile)) for f in held["fields"]]),
        ("Jobs", [(j["key"], j["crop"] or "crop not known", shown(j["area_ha"], "area", profile), rates(j)) for j in held["jobs"]]),
    ]


@command.command()
@_FOLDER
@click.argument("file", type=click.Path())
@click.option("--layer", default="", help="Which layer of the file, where it has several.")
@click.option("--field", default="", help="Which area, where it has several: its number in the list, or its name.")
@click.option("--crs", default="", help="Coordinate system, where the file names none, such as EPSG:4326.")
@click.option("--job", default="", help="The job that is sown on it.")
@_WHO
@_JSON
def field(folder: Path, file: str, layer: str, field: str, crs: str, job: str, who: str, as_json: bool) -> int:
    """Take a field's outline into the book from FILE: GeoJSON, Shapefile, GeoPackage, in any coordinate system.

    \b
    evenstand book field our-farm home-quarter.geojson --job wheat-2027
    """
    from evenstand.cli.common import job_of
    from evenstand.desk.books import open_book
    from evenstand.desk.recording import import_outline, sow_on

    with open_book(folder, write=True, who=who) as book, book.batch(f"outline from {Path(file).name}"):
        chosen = job_of(book, job) if job else ""
        outline = import_outline(book, file, layer=layer or None, field=field or None, crs=crs or None)
        if chosen:
            sow_on(book, chosen, outline)
        profile = book.profile
    if as_json:
        print_json(
            {
                "key": outline.key,
                "name": outline.name,
                "area_ha": outline.area_ha,
                "obstacles": len(outline.obstacles),
                "repairs": list(outline.repairs),
                "job": chosen,
            }
        )
        return 0
    click.echo(f"Field {outline.name or outline.key}: {shown(outline.area_ha, 'area', profile)}, kept as '{outline.key}'.")
    for note in outline.repairs:
        click.echo(wrapped(note))
    if chosen:
        click.echo(f"Job {chosen} is sown on it.")
    return 0


@command.command()
@_FOLDER
@click.option("--type", "kind", default="", help="Only one type, such as Outfit or Fill.")
@click.option("--key", default="", help="Only the thing with this key.")
@click.option("--limit", default=40, show_default=True, help="How many of the latest; 0 for all.")
@_JSON
def history(folder: Path, kind: str, key: str, limit: int, as_json: bool) -> int:
    """Each change of a value: when, who, why, before and after. The number in front is what `undo` takes."""
    from evenstand.desk.books import open_book

    with open_book(folder) as book:
        entries = book.history(kind or None, key or None)
    latest = entries[-limit:] if limit > 0 else entries
    if as_json:
        print_json([entry.to_dict() for entry in latest])
        return 0
    if len(latest) < len(entries):
        click.echo(f"The latest {len(latest)} of {len(entries)}; --limit 0 shows all.")
    rows: list[tuple[str, ...]] = [
        (f"{e.id}", e.at[:19].replace("T", " "), e.who, e.what, f"{e.before_text} -> {e.after_text}" + (f"  ({e.why})" if e.why else ""))
        for e in latest
    ]
    for line in columns(rows):
        click.echo(line)
    return 0


@command.command()
@_FOLDER
@click.argument("change", type=click.IntRange(1, 2**53))
@click.option("--why", default="", help="Reason, for history.")
@_WHO
@_JSON
def undo(folder: Path, change: int, why: str, who: str, as_json: bool) -> int:
    """Take a CHANGE back by a new one. Refused, with both values, if something of it has moved since."""
    from evenstand.desk.books import open_book

    with open_book(folder, write=True, who=who) as book:
        made = book.undo(change, why=why)
        count = sum(entry.id == made for entry in book.history())
    if as_json:
        print_json({"undone": change, "change": made, "values": count})
    else:
        click.echo(f"Change {change} is taken back by change {made}: {count} value{'' if count == 1 else 's'}.")
    return 0


# the whole ----------------------------------------------------------------------------------------------------------
@command.command()
@_FOLDER
@_JSON
def check(folder: Path, as_json: bool) -> int:
    """Whether a book hangs together: pages, references, files, outlines. Nothing is changed; exit code 1 if something is wrong."""
    from evenstand.desk.books import open_book

    with open_book(folder) as book:
        result = book.check()
    if as_json:
        print_json(
            {"ok": result.ok, "looked_at": result.looked_at, "faults": [f.to_dict() for f in result.faults], "unnamed": result.unnamed}
        )
    else:
        click.echo("Looked at " + ", ".join(f"{count} {name}" for name, count in result.looked_at.items()) + ".")
        for fault in result.faults:
            click.echo(str(fault))
        if result.unnamed:
            click.echo(f"{len(result.unnamed)} kept files are named by no row; they do no harm.")
        click.echo("Nothing is wrong." if result.ok else f"{len(result.faults)} things are wrong.")
    return 0 if result.ok else 1


@command.command()
@_FOLDER
@click.argument("path", type=click.Path(path_type=Path))
@_JSON
def publish(folder: Path, path: Path, as_json: bool) -> int:
    """Write a copy for GIS programs to PATH: fields, jobs and driven paths as layers. History and call notes stay at home."""
    from evenstand.desk.books import open_book

    with open_book(folder) as book:
        copy = book.publish(path)
    if as_json:
        print_json({**plain(copy), "path": str(copy.path)})
    else:
        click.echo(f"{copy.path}: {copy.size_bytes:,} bytes")
        for line in columns([(name, f"{count} shapes") for name, count in copy.layers.items()]):
            click.echo(line)
    return 0


@command.command()
@_FOLDER
@_JSON
def dump(folder: Path, as_json: bool) -> int:
    """All rows of all tables in a fixed order. Two equal dumps are two equal books."""
    from evenstand.desk.books import open_book

    with open_book(folder) as book:
        tables = book.dump()
    if as_json:
        print_json(tables)
        return 0
    for name, rows in tables.items():
        for row in rows:
            click.echo(f"{name}: " + " | ".join("" if value is None else str(value) for value in row))
    return 0


@command.command()
@_FOLDER
@click.argument("entries", nargs=-1, required=True)
@click.option("--job", default="", help="The job they belong to; found by the page's mark if left out.")
@_WHO
@_JSON
def merge(folder: Path, entries: tuple[str, ...], job: str, who: str, as_json: bool) -> int:
    """Take in entries of a pocket page: the file it saves, or its codes as read out; - reads them from standard input.

    \b
    evenstand book merge our-farm pocket-entries.txt
    evenstand book merge our-farm "EV-4HK2-..." --job wheat-2027
    """
    from evenstand.base.clock import SystemClock
    from evenstand.desk.books import open_book
    from evenstand.desk.merging import merge_entries
    from evenstand.desk.pocketing import decode

    text, source = _entry_text(entries)
    with open_book(folder, write=True, who=who) as book:
        merged = merge_entries(book, decode(text), job=job, source=source, clock=SystemClock())
    if as_json:
        print_json({"taken": [{"id": i, "kind": k} for i, k in merged.taken], "already": merged.already, "change": merged.change})
        return 0
    kinds = ", ".join(f"{count} {kind}" for kind, count in Counter(kind for _, kind in merged.taken).items())
    click.echo(f"Taken in: {kinds} (change {merged.change})." if merged.taken else "Nothing new.")
    if merged.already:
        click.echo(f"{len(merged.already)} in the book already.")
    return 0


def _entry_text(entries: tuple[str, ...]) -> tuple[str, str]:
    """The text of files, of standard input, or of the words themselves, and where it came from."""
    texts, sources = [], []
    for entry in entries:
        path = Path(entry)
        if entry == "-":
            texts.append(sys.stdin.read())
            sources.append("standard input")
        elif len(entry) < 1000 and path.is_file():
            try:
                texts.append(path.read_text(encoding="utf-8"))
            except (OSError, UnicodeDecodeError) as error:
                raise InputError(f"cannot be read ({error})", where=entry, cure="Give the file the pocket page saved.") from None
            sources.append(path.name)
        else:
            texts.append(entry)
            sources.append("code")
    return "\n".join(texts), ", ".join(dict.fromkeys(sources))


for _more in (proofs, shift, since, bundle, loads, fill):
    command.add_command(_more)
