"""`evenstand trail`: what a machine recorded."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from evenstand.base.errors import FileError, InputError
from evenstand.base.units import Profile, read_quantity
from evenstand.cli.common import book_option, print_json, shared_options, units_of, wrapped
from evenstand.cli.logs import (
    boundary_of,
    columns_dict,
    columns_text,
    keep,
    keeps_it,
    known_densities,
    large_log,
    proposal_of,
    read_dict,
    reading_options,
    recipe_of,
    remembered,
    rows_text,
    save,
    say,
    sum_text,
    told_recipe,
    trail_of,
    tried,
)
from evenstand.cli.reporting import report_dict, report_text
from evenstand.cli.tasks import prepare, tasks
from evenstand.cli.trailing import (
    Subject,
    check_text,
    job_named,
    job_subject,
    place_options,
    places_dict,
    places_text,
    places_wanted,
    spots_asked,
    tool_options,
    turns_list,
    turns_text,
    typed_tool,
    with_geometry,
    write_record,
    write_trail,
    zones_of,
)

MOST_FLAT_STEPS = 10_000
SUFFIXES = (".parquet", ".csv", ".gpkg", ".geoparquet", ".tif", ".zip")


@click.group()
def command() -> None:
    """Read what a machine recorded: columns, coverage, report. No book is needed."""


@command.command("read")
@click.argument("file", type=click.Path())
@reading_options
@click.option("--save-recipe", type=click.Path(), help="Remember what the columns are: a .toml or .json file.")
@click.option("--recipe-name", "name", default="", help="What you call such logs; else the name of this one.")
@click.option("--job", default="", help="Keep it in the book for this job, with the file as it came.")
@book_option
@shared_options
def read(
    file: str, save_recipe: str | None, name: str, job: str, folder: str | None, as_json: bool, profile: str | None, **said: Any
) -> int:
    """Read FILE: what each column is taken for, which rows were kept, repaired or set aside.

    \b
    evenstand trail read LOG.csv
    evenstand trail read LOG.csv --column 'Setpt=asked kg/ha A' --save-recipe yellow.toml
    evenstand trail read LOG.csv --book FOLDER --job JOB        and keep it in the book
    """
    from evenstand.cli.exporting import tell_account
    from evenstand.formats.opening import has_many_rows

    keeps = keeps_it(folder, job)
    if not keeps and has_many_rows(Path(file)):
        return tell_account(Path(file), as_json)
    if keeps:
        said["known_densities"] = known_densities(str(folder), job)
        said["recipe"] = said["recipe"] or remembered(str(folder), Path(file))
    proposal = proposal_of(file, said)
    trail, refused = tried(file, said)
    if refused is not None and not as_json:
        if proposal is not None:
            say(columns_text(proposal))
        raise refused
    if refused is not None or trail is None:
        raise refused or FileError("nothing was read", where=file)
    known = recipe_of(said["recipe"])
    recipe = told_recipe(file, known, said) if known is not None else proposal.recipe if proposal is not None else None
    if save_recipe and recipe is None:
        raise InputError(
            "this file says itself what its columns are", where="--save-recipe", cure="Leave it out: there is nothing to remember."
        )
    if save_recipe and recipe is not None:
        save(recipe, save_recipe, name)
    told = any(said[k] for k in ("recipe", "crs", "zone", "columns"))
    kept = keep(str(folder), job, Path(file), trail, recipe if told else None) if keeps else ""
    if as_json:
        record = {"record": kept} if kept else {}
        print_json({"file": Path(file).name, **read_dict(trail), **columns_dict(proposal, recipe), **record})
        return 0
    if proposal is not None:
        say(columns_text(proposal))
    say(rows_text(trail))
    if save_recipe:
        click.echo(f"\n  Recipe saved: {save_recipe}. Next time: evenstand trail read FILE --recipe {save_recipe}")
    if kept:
        click.echo(f"\n  Kept in the book as '{kept}'. Next: evenstand check --book {folder} --job {job}")
    return 0


@command.command("report")
@click.argument("what", metavar="FILE|JOB", required=False, default="")
@tool_options
@click.option("--boundary", type=click.Path(), help="Outline of the field: adds skipped ground.")
@click.option("--field", help="Which area of the outline file, where it has several.")
@click.option("--guidance-width", "guidance", help="Width typed for guidance, to hold row to row against it.")
@click.option("--job", default="", help="A job of the book: its logs, outfit and field.")
@click.option("--trail", "trails", multiple=True, help="Key of one of the job's trails; again for more; else all together.")
@place_options
@book_option
@reading_options
@shared_options
def report(
    what: str,
    job: str,
    trails: tuple[str, ...],
    folder: str | None,
    zones: str | None,
    day_zone: str | None,
    spots: tuple[str, ...],
    wants: bool | None,
    check: bool,
    pdf: str | None,
    as_json: bool,
    profile: str | None,
    **said: Any,
) -> int:
    """Report on a log or on a job's logs: ground covered, by part and day, distance, passes, time, rates as reported, runs without flow.

    \b
    evenstand trail report LOG.csv --outfit-width "16.3 m"
    evenstand trail report JOB --book FOLDER            its logs, outfit, outline and products from the book
    """
    from evenstand.trail import coverage, trail_facts
    from evenstand.trail.covering import flat_ended_m2
    from evenstand.trail.doses import turns_of
    from evenstand.trail.places import places_of
    from evenstand.trail.stepping import steps_of

    named = job_named(what, job, folder)
    units = units_of(profile, folder if named else None)
    it = job_subject(str(folder), named.strip("*"), trails) if named else _one_log(what, said, units)
    it = replace(it, outfit=with_geometry(it.outfit, said["ahead"], said["hitch"], units))
    trail, outfit = it.trail, it.outfit
    covered = coverage(trail, outfit, it.outline, check=check or pdf is not None)
    facts = trail_facts(trail, outfit, it.outline, covered=covered, plan=it.plan, profile=units)
    turns = turns_of(trail, outfit, steps_of(trail))
    places = None
    if places_wanted(wants, trail, zones, day_zone, spots):
        zone = day_zone or said["zone"] or "UTC"
        places = places_of(trail, outfit, it.outline, zones=zones_of(zones), day_zone=zone, products=it.products)
    asked = spots_asked(places, trail, spots) if places is not None else []
    if pdf is not None:
        write_record(it, pdf, facts=facts, covered=covered, places=places, turns=turns, units=units)
    if as_json:
        flat = flat_ended_m2(trail, outfit) if covered.steps <= MOST_FLAT_STEPS else None
        about = {"file": it.name, "job": it.job, "logs": list(it.logs)}
        more = {"turns_sown": turns_list(turns), "places": places_dict(places, asked)}
        print_json({**about, **read_dict(trail), **report_dict(facts, covered, flat), **more})
        return 0
    text = [*(wrapped(f"! {note}") for note in it.notes), *report_text(trail, facts, covered, units)]
    say([*text, *turns_text(turns, units), *check_text(covered, units), *places_text(places, asked, units)])
    return 0


def _one_log(what: str, said: dict[str, Any], units: Profile) -> Subject:
    """One log with the tool and the outline as typed."""
    if not said["width"]:
        raise InputError("is missing", where="--outfit-width", cure="Give the tool's true width with its unit, such as 16.3 m.")
    outfit = typed_tool(said["width"], said["ahead"], said["hitch"], said["rows"], units)
    if said["guidance"]:
        typed = read_quantity(said["guidance"], "width", units, where="--guidance-width")
        outfit = replace(outfit, widths=replace(outfit.widths, guidance_m=typed))
    outline = boundary_of(said["boundary"], said["field"])
    name = Path(what).name
    return Subject(name=name, job=None, logs=(name,), trail=trail_of(what, said), outfit=outfit, outline=outline, products={})


@command.command("export")
@click.argument("file", type=click.Path())
@click.argument("out", type=click.Path())
@click.option("--block-mb", type=click.FloatRange(0.001, 256), help="Read block by block, so many megabytes at a time; 32 for large logs.")
@click.option("--cell", default="0.5 m", show_default=True, help="Side of a cell of a .tif.")
@tool_options
@reading_options
@shared_options
def export(file: str, out: str, block_mb: float | None, cell: str, as_json: bool, profile: str | None, **said: Any) -> int:
    """Write FILE again as OUT, by its ending.

    \b
    .parquet      our documented schema           .csv   plain text
    .geoparquet   points for other tools          .zip   ISO 11783-10 task data
    .gpkg         for a GIS: rows, passes; with --outfit-width also the strips and the runs without flow
    .tif          cells: times sown, who first, dose; needs --outfit-width and the extra [raster]

    A log above 200 MB goes to .parquet block by block, in little memory. Stopped, the same command goes on where it was.
    """
    from evenstand.cli.exporting import export_in_blocks

    path = Path(out)
    if path.suffix.lower() not in SUFFIXES:
        raise InputError(f"'{path.suffix or out}' is no form we write", where="OUT", limit=", ".join(SUFFIXES), cure="Name the file so.")
    if not path.parent.is_dir():
        raise InputError(f"there is no folder {path.parent}", where="OUT", cure="Make it first.")
    if path.suffix.lower() == ".parquet" and (block_mb or large_log(file)):
        return export_in_blocks(Path(file), path, block_mb, as_json, said)
    units = units_of(profile)
    outfit = typed_tool(said["width"], said["ahead"], said["hitch"], said["rows"], units) if said["width"] else None
    if path.suffix.lower() == ".tif":
        from evenstand.formats.rasters import need_rasterio

        need_rasterio()
        if outfit is None:
            raise InputError("is missing", where="--outfit-width", cure="Cells need the tool's true width with its unit, such as 16.3 m.")
    cell_m = read_quantity(cell, "width", units, where="--cell")
    trail = trail_of(file, said)
    write_trail(trail, path, outfit, cell_m)
    if as_json:
        print_json({"file": Path(file).name, "out": str(path), **read_dict(trail)})
    else:
        click.echo(f"  {path}: {trail.n} rows. {sum_text(trail)}")
    return 0


command.add_command(tasks)
command.add_command(prepare)
