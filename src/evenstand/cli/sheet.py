"""`evenstand sheet`: the sheets for cab and shed, and the pocket page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from evenstand.base.errors import MissingError
from evenstand.base.units import Profile
from evenstand.cli.common import book_option, job_of, print_json, shared_options, units_of
from evenstand.cli.plan import command as plan_command

if TYPE_CHECKING:
    from evenstand.desk.sheets import SheetContext

_PAPER = ("a4", "us-letter")
SAID = tuple(p.name for p in plan_command.params if p.name not in {"job", "folder", "as_json", "profile"})


@click.command(name="sheet")
@click.option(
    "--out",
    "out",
    default="sheets",
    show_default=True,
    type=click.Path(file_okay=False),
    help="Folder to write into; made if it is not there.",
)
@click.option("--only", multiple=True, help="One of the sheets, such as value-card; again for more.")
@click.option("--paper", type=click.Choice(_PAPER), help="Paper size; A4 for si, Letter for prairie and us unless given.")
@click.option("--farm", default="", help="Name of the farm, for sheets without a book.")
@click.option("--who", default="", help="Who has the sheets made; printed at the foot.")
@click.option("--job", default="", help="A job of the book instead of typed values.")
@book_option
@shared_options
def command(
    out: str,
    only: tuple[str, ...],
    paper: str | None,
    farm: str,
    who: str,
    job: str,
    folder: str | None,
    as_json: bool,
    profile: str | None,
    **said: Any,
) -> int:
    """Write cab sheet, value card, fill slip, catch card, run map (PDF) and the pocket page (one HTML file for the phone).

    \b
    evenstand sheet --book FOLDER --job JOB --out sheets
    evenstand sheet "62 ha, wheat, 120 kg/ha, 16.3 m, 7.5 km/h" --out sheets --only value-card --only fill-slip

    Without a book the options are those of `evenstand plan`; what is not known is a line to write on.
    """
    from evenstand.paper import write_sheets

    units = units_of(profile, folder)
    context = sheet_context(units, job=job, folder=folder, farm=farm, who=who, said=said)
    files = write_sheets(context, out, units, paper, only=only)  # type: ignore[arg-type]
    if as_json:
        print_json({"job": context.job.key, "files": [str(path) for path in files]})
    else:
        click.echo("Written:")
        for path in files:
            click.echo(f"  {path}")
    return 0


def sheet_context(units: Profile, *, job: str, folder: str | None, farm: str, who: str, said: dict[str, Any]) -> SheetContext:
    """The context of a job in a book, or of typed words."""
    from evenstand.base.clock import SystemClock, iso
    from evenstand.desk.planning import Said
    from evenstand.desk.sheets import book_context, quick_context

    made_at = iso(SystemClock().now())
    if not job and not (folder and not any(said.values())):
        return quick_context(Said(**said), profile=units, made_at=made_at, who=who, farm=farm)
    if not folder:
        raise MissingError("a book and a job go together", where="--book, --job", cure="Give both.")
    from evenstand.book import Book

    with Book.open(folder) as book:
        return book_context(book, job_of(book, job), profile=units, made_at=made_at, who=who, farm=farm)


command.params[:0] = [p for p in plan_command.params if p.name in SAID]
