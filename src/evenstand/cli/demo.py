"""`evenstand demo`: the main job from end to end on an invented farm."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import click

from evenstand.base.units import shown
from evenstand.cli.common import on_terminal, print_json, shared_options, units_of


@click.command(name="demo")
@click.option(
    "--out",
    "out",
    type=click.Path(path_type=Path),
    default=Path("demo-out"),
    show_default=True,
    help="Folder to fill; an older demo in it is replaced.",
)
@click.option("--seed", type=int, default=None, help="Simulate one day, write nothing, and print what the check finds.")
@click.option(
    "--fault",
    "faults",
    multiple=True,
    help="Fault of that day: factor:D=6, distance=4, width=0.25, fill-missed:D=1900, slip:D=1.12, run=37, head=C.",
)
@click.option("--world", default="nominal", show_default=True, help="still, nominal or rough.")
@shared_options
def command(out: Path, seed: int | None, faults: tuple[str, ...], world: str, as_json: bool, profile: str | None) -> int:
    """Build the demo farm, plan a job, write its sheets, simulate a day with faults, read it back, check it.

    With --seed or --fault nothing is written: one simulated day is checked, and what really was is printed beside the findings.
    """
    if seed is not None or faults:
        return _one_day(seed or 0, faults, world, as_json, profile)
    return _whole_story(out, profile)


def _one_day(seed: int, faults: tuple[str, ...], world: str, as_json: bool, profile: str | None) -> int:
    from evenstand.cli.check import findings_text
    from evenstand.desk.days import demo_day, demo_run, findings_of, truth_line

    units = units_of(profile)
    if as_json:
        print_json(demo_run(seed, faults, world=world, profile=units))
        return 0
    day, plan, outfit, kinds = demo_day(seed, faults, world=world)
    for line in findings_text(findings_of(day, plan, outfit, kinds, profile=units)):
        click.echo(line)
    truth = [truth_line(f, day) for f in day.truth.faults]  # what really was is looked at only now
    click.echo(f"\nWhat really was: {', '.join(_truth_text(t) for t in truth) or 'nothing wrong'}.")
    return 0


def _truth_text(line: dict[str, Any]) -> str:
    return f"{line['kind']}{':' + line['where'] if line['where'] else ''} {line['size']:g}"


def _whole_story(out: Path, profile: str | None) -> int:
    import shutil

    from evenstand.base.errors import InputError
    from evenstand.cli.check import findings_text
    from evenstand.cli.nexts import steps_text
    from evenstand.desk.demo import FAULTS, JOB, build_book, live_through

    units = units_of(profile)
    began = time.monotonic()
    book = out / "book"
    if out.exists() and any(out.iterdir()) and not (out / MARK).exists():
        raise InputError("holds something that is no demo", where=str(out), cure="Give another folder with --out.")
    shutil.rmtree(out, ignore_errors=True)
    out.mkdir(parents=True)
    (out / MARK).write_text("Written by `evenstand demo`; replaced by the next one. Invented farm, simulated day.\n")

    _say("1. An invented farm becomes a book")
    build_book(book)
    _say("2. A job is planned, a day is simulated with two faults, its log is read back")
    story = live_through(book, log=out / "machine-log.csv")
    plan = story.plan
    area, slow, fast = shown(plan.area_ha, "area", units), shown(plan.low_ha_h, "capacity", units), shown(plan.high_ha_h, "capacity", units)
    click.echo(f"   {plan.field_name}, {plan.crop}, {area}: {slow} to {fast} with stops")
    for s in plan.stops[:3]:
        click.echo(f"   fill after pass {s.after_pass}, no later than {s.latest_pass}")
    trail = story.trail
    click.echo(f"   {trail.rows} rows of the log: {trail.kept} kept, {trail.repaired_rows} repaired, {trail.set_aside_rows} set aside")
    _say("3. Sheets, pocket page, pictures and a copy for GIS programs are written")
    files = _write_outputs(out, book, story)
    _say("4. What the check says")
    for line in findings_text(story.findings):
        click.echo("   " + line.replace("\n", "\n   "))
    _say("5. What to do next")
    for line in steps_text(story.steps, most=4):
        click.echo("   " + line.replace("\n", "\n   "))
    _say("What really was")
    click.echo(f"   Put in by the simulator, unknown to the check: {', '.join(FAULTS)}.")
    for cause, found in story.found.items():
        click.echo(f"   {cause}: {'found' if found else 'NOT FOUND'}")
    _say(f"Done in {time.monotonic() - began:.0f} s. Where to look")
    for path in files:
        click.echo(f"   {path}")
    click.echo(f"   the site: evenstand serve {book}    (or: make serve)    job {JOB}")
    return 0 if story.as_told else 1


MARK = "ABOUT.txt"


def _say(text: str) -> None:
    click.echo()
    click.secho(text, bold=on_terminal())


def _write_outputs(out: Path, folder: Path, story: Any) -> list[Path]:
    """PDFs in both paper sizes, pocket page, pictures, GIS copy."""
    from evenstand.book import Book
    from evenstand.desk.demo import JOB
    from evenstand.desk.logs import trail_story
    from evenstand.desk.sheets import book_context
    from evenstand.drawing import field_plan, paper_svg, raster, run_map, strips_of_passes
    from evenstand.paper import write_sheets

    written: list[Path] = []
    with Book.open(folder) as book:
        context = book_context(book, JOB, profile="si", made_at="2027-05-08T18:00:00.000Z", who="demo")
        written += write_sheets(context, out / "sheets-a4")
        written += write_sheets(context, out / "sheets-letter", profile="prairie")
        book.publish(out / "farm-for-gis.gpkg")
        written.append(out / "farm-for-gis.gpkg")
        told = trail_story(book, story.record.key)
    pictures = out / "pictures"
    pictures.mkdir()
    assert context.boundary is not None
    assert context.outfit is not None
    drawings = {
        "plan.svg": field_plan(context.boundary, story.plan.drive, story.plan.stops),
        "run-map.svg": run_map(context.outfit),
        "pass-strips.svg": strips_of_passes(told.passes),
    }
    for name, drawing in drawings.items():
        (pictures / name).write_text(paper_svg(drawing), encoding="utf-8")
        (pictures / name).with_suffix(".png").write_bytes(raster(drawing))
        written.append(pictures / name)
    return written
