"""`evenstand trail`: what a machine recorded."""

from __future__ import annotations

from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenstand.base.errors import Fault, FileError, InputError
from evenstand.base.units import Profile, read_quantity, shown
from evenstand.cli.common import book_option, columns, print_json, shared_options, units_of, wrapped
from evenstand.cli.trailing import (
    Subject,
    check_dict,
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
    write_record,
    write_trail,
    zones_of,
)

if TYPE_CHECKING:
    from evenstand.formats.delimited import Proposal, Recipe
    from evenstand.model import Trail
    from evenstand.trail import Coverage, TrailFacts, TrailFault

SHOWN_ROWS = 12
MOST_FLAT_STEPS = 10_000
SUFFIXES = (".parquet", ".csv", ".gpkg", ".geoparquet", ".tif", ".zip")


@click.group()
def command() -> None:
    """Read what a machine recorded: columns, coverage, report. No book is needed."""


def reading_options(function: Any) -> Any:
    """Options that answer what a file does not say."""
    for option in reversed(
        (
            click.option("--recipe", type=click.Path(), help="A recipe saved earlier: what each column is."),
            click.option("--crs", help="Coordinate system of projected positions, such as EPSG:32615."),
            click.option(
                "--start", help="ISO time at which the log begins: for one in seconds, without dates, or with a clock that is off."
            ),
            click.option("--zone", help="Of times that carry no offset: -06:00, or a name such as America/Regina."),
            click.option("--task", help="Key or name of the task, in ISO 11783 task data where several hold logs."),
            click.option("--truncated-ok", is_flag=True, help="Set aside a last row that breaks off instead of refusing the file."),
            click.option("--strict", is_flag=True, help="Refuse the file if any row has to be set aside."),
        )
    ):
        function = option(function)
    return function


@command.command("read")
@click.argument("file", type=click.Path())
@reading_options
@click.option("--save-recipe", type=click.Path(), help="Remember what the columns are: a .toml or .json file.")
@click.option("--job", default="", help="Keep it in the book for this job, with the file as it came.")
@book_option
@shared_options
def read(file: str, save_recipe: str | None, job: str, folder: str | None, as_json: bool, profile: str | None, **said: Any) -> int:
    """Read FILE: what each column is taken for, which rows were kept, repaired or set aside.

    \b
    evenstand trail read LOG.csv
    evenstand trail read LOG.csv --book FOLDER --job JOB        and keep it in the book
    """
    from evenstand.cli.exporting import tell_account
    from evenstand.formats.opening import has_many_rows

    keeps = _keeps(folder, job)
    if not keeps and has_many_rows(Path(file)):
        return tell_account(Path(file), as_json)
    if keeps and not said["recipe"]:
        said["recipe"] = _remembered(str(folder), Path(file))
    proposal = _proposal(file, said)
    trail, refused = _try(file, said)
    if refused is not None and not as_json:
        if proposal is not None:
            _say(_columns_text(proposal))
        raise refused
    if refused is not None or trail is None:
        raise refused or FileError("nothing was read", where=file)
    recipe = _recipe(said["recipe"]) or (proposal.recipe if proposal else None)
    if save_recipe and recipe is not None:
        recipe.save(save_recipe)
    kept = _keep(str(folder), job, Path(file), trail, recipe if said["recipe"] or said["crs"] or said["zone"] else None) if keeps else ""
    if as_json:
        told = {"record": kept} if kept else {}
        print_json({"file": Path(file).name, **read_dict(trail), **_columns_dict(proposal, recipe), **told})
        return 0
    if proposal is not None:
        _say(_columns_text(proposal))
    _say(rows_text(trail))
    if save_recipe:
        click.echo(f"\n  Recipe saved: {save_recipe}. Next time: evenstand trail read FILE --recipe {save_recipe}")
    if kept:
        click.echo(f"\n  Kept in the book as '{kept}'. Next: evenstand check --book {folder} --job {job}")
    return 0


def _keeps(folder: str | None, job: str) -> bool:
    """Whether the log goes into a book; a job needs its book. A book named by the environment alone keeps nothing."""
    if job and not folder:
        raise InputError("a job belongs to a book", where="--job", cure="Give --book FOLDER as well, or leave --job out.")
    named = click.get_current_context().get_parameter_source("folder") is not click.core.ParameterSource.ENVIRONMENT
    if folder and named and not job:
        raise InputError("is missing", where="--job", cure="Say whose log it is, or leave --book out.")
    return bool(folder and job)


def _remembered(folder: str, path: Path) -> Recipe | None:
    """What somebody once confirmed the columns of such a log to be."""
    from evenstand.desk.books import open_book
    from evenstand.desk.logs import remembered_recipe

    with open_book(folder) as book:
        return remembered_recipe(book, path) if path.is_file() else None


def _keep(folder: str, job: str, path: Path, trail: Trail, recipe: Recipe | None) -> str:
    """Keep a log that was read, under its job; columns that were told are remembered. Gives the key of the record."""
    from evenstand.base.clock import SystemClock
    from evenstand.desk.books import open_book
    from evenstand.desk.logs import read_log

    with open_book(folder, write=True) as book:
        return read_log(book, job, path, trail=trail, recipe=recipe, confirmed=recipe is not None, clock=SystemClock()).key


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
    trail, outfit = it.trail, it.outfit
    covered = coverage(trail, outfit, it.outline, check=check or pdf is not None)
    facts = trail_facts(trail, outfit, it.outline, covered=covered, profile=units)
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
        print_json({**about, **read_dict(trail), **_report_dict(facts, covered, flat), **more})
        return 0
    text = _report_text(trail, facts, covered, units)
    _say([*text, *turns_text(turns, units), *check_text(covered, units), *places_text(places, asked, units)])
    return 0


def _one_log(what: str, said: dict[str, Any], units: Profile) -> Subject:
    """One log with the tool and the outline as typed."""
    if not said["width"]:
        raise InputError("is missing", where="--outfit-width", cure="Give the tool's true width with its unit, such as 16.3 m.")
    outfit = typed_tool(said["width"], said["ahead"], said["hitch"], said["rows"], units)
    if said["guidance"]:
        typed = read_quantity(said["guidance"], "width", units, where="--guidance-width")
        outfit = replace(outfit, widths=replace(outfit.widths, guidance_m=typed))
    outline = _boundary(said["boundary"], said["field"])
    name = Path(what).name
    return Subject(name=name, job=None, logs=(name,), trail=_trail(what, said), outfit=outfit, outline=outline, products={})


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
    if path.suffix.lower() == ".parquet" and (block_mb or _is_large(file)):
        return export_in_blocks(Path(file), path, block_mb, as_json, said)
    units = units_of(profile)
    outfit = typed_tool(said["width"], said["ahead"], said["hitch"], said["rows"], units) if said["width"] else None
    if path.suffix.lower() == ".tif":
        from evenstand.formats.rasters import need_rasterio

        need_rasterio()
        if outfit is None:
            raise InputError("is missing", where="--outfit-width", cure="Cells need the tool's true width with its unit, such as 16.3 m.")
    cell_m = read_quantity(cell, "width", units, where="--cell")
    trail = _trail(file, said)
    write_trail(trail, path, outfit, cell_m)
    if as_json:
        print_json({"file": Path(file).name, "out": str(path), **read_dict(trail)})
    else:
        click.echo(f"  {path}: {trail.n} rows. {sum_text(trail)}")
    return 0


def _is_large(file: str) -> bool:
    """Whether it is a delimited log too large to be read whole."""
    from evenstand.formats.opening import is_large

    return is_large(Path(file))


def _trail(file: str, said: dict[str, Any]) -> Trail:
    from evenstand.formats.opening import LARGE_BYTES
    from evenstand.trail import read_trail

    if _is_large(file):
        size = Path(file).stat().st_size / 1e6
        raise FileError(
            f"the log holds {size:,.0f} MB, too much to be read whole",
            where=Path(file).name,
            limit=f"at most {LARGE_BYTES / 1e6:,.0f} MB",
            cure="Export it first: evenstand trail export LOG OUT.parquet; then give OUT.parquet, which holds the same rows.",
        )
    kept = {k: said[k] for k in ("recipe", "crs", "start", "zone", "task", "truncated_ok")}
    trail = read_trail(file, **kept)
    if said["strict"] and trail.set_aside:
        raise _strictly(Path(file).name, trail)
    return trail


def _strictly(name: str, trail: Trail) -> FileError:
    """Every row set aside as a fault."""
    cure = "Correct the row, or read without --strict."
    return FileError([Fault(where=f"{name}, line {r.line}", what=r.reason, cure=cure) for r in trail.set_aside])


def _try(file: str, said: dict[str, Any]) -> tuple[Trail | None, InputError | None]:
    try:
        return _trail(file, said), None
    except InputError as error:
        return None, error


def _recipe(path: str | Recipe | None) -> Recipe | None:
    if not isinstance(path, str):
        return path
    from evenstand.formats.delimited import load_recipe

    return load_recipe(path)


def _proposal(file: str, said: dict[str, Any]) -> Proposal | None:
    """What the file is taken for; none for a kind that says itself what its columns are, or with a recipe."""
    from evenstand.formats.opening import propose_columns

    if said["recipe"] or _is_large(file):
        return None
    return propose_columns(Path(file), crs=said["crs"], start=said["start"], zone=said["zone"])


def _boundary(path: str | None, field: str | None) -> Any:
    if path is None:
        return None
    from evenstand.field import read_boundary

    return read_boundary(path, field=field)


# as data


def read_dict(trail: Trail) -> dict[str, Any]:
    """What was read, as data."""

    def listed(rows: Any) -> list[dict[str, Any]]:
        return [{"line": r.line, "reason": r.reason, "text": r.text} for r in rows]

    return {
        "rows": trail.rows,
        "kept": trail.kept,
        "repaired": listed(trail.repaired),
        "set_aside": listed(trail.set_aside),
        "notes": list(trail.notes),
        "start_ms": int(trail.t_ms[0]) if trail.n else None,
        "end_ms": int(trail.t_ms[-1]) if trail.n else None,
        "lon_deg": trail.frame.lon_deg,
        "lat_deg": trail.frame.lat_deg,
        "bins": list(trail.bins),
        "runs": list(trail.runs),
        "sections": 0 if trail.sections is None else int(trail.sections.shape[1]),
        **{n: getattr(trail, n) for n in ("repaired_unlisted", "set_aside_unlisted") if getattr(trail, n)},
    }


def _columns_dict(proposal: Proposal | None, recipe: Recipe | None) -> dict[str, Any]:
    if proposal is None:
        used = (
            []
            if recipe is None
            else [{"name": c.name, "role": c.role, "unit": c.unit, "bin": c.bin, "number": c.number} for c in recipe.columns]
        )
        return {"columns": [{**c, "sure": "recipe", "why": "the recipe says so"} for c in used], "questions": []}
    return {
        "columns": [
            {
                "name": g.use.name,
                "role": g.use.role,
                "unit": g.use.unit,
                "bin": g.use.bin,
                "number": g.use.number,
                "sure": g.sure,
                "why": g.why,
            }
            for g in proposal.columns
        ],
        "questions": [
            {"kind": q.kind, "column": q.column, "text": q.text, "cure": q.cure, "blocking": q.blocking} for q in proposal.questions
        ],
    }


def _report_dict(facts: TrailFacts, covered: Coverage, flat: float | None) -> dict[str, Any]:
    return {
        "coverage": {
            "covered_m2": covered.covered_m2,
            "twice_m2": covered.twice_m2,
            "repeat_m2": covered.repeat_m2,
            "skipped_m2": covered.skipped_m2,
            "outside_m2": covered.outside_m2,
            "strips_m2": covered.strips_m2,
            "switching_m2": covered.switching_m2,
            "flat_ended_m2": flat,
            "bounds_m2": covered.bounds_m2,
            "check": check_dict(covered),
            "width_m": covered.width_m,
            "steps": covered.steps,
            "gaps": covered.gaps,
            "method": covered.method,
            "basis": covered.basis,
            "notes": list(covered.notes),
        },
        "distance": {
            "gnss_m": facts.distance_gnss_m,
            "shown_m": facts.distance_shown_m,
            "ratio": facts.distance_ratio,
            "by": facts.distance_by,
        },
        "speed_m_s": facts.speed_m_s,
        "area_shown_ha": facts.area_shown_ha,
        "mass_shown_kg": facts.mass_shown_kg,
        "turns": facts.turns,
        "rates": facts.rates,
        "row_to_row": facts.row_to_row,
        "passes": facts.passes,
        "time": facts.time_use,
        "work_rate": None
        if facts.work_rate is None
        else {**asdict(facts.work_rate), "against_published": facts.work_rate.against_published},
        "run_faults": facts.run_faults,
        "faults": [{**asdict(f), "interval": f.interval} for f in facts.faults.found],
        "looked_for": facts.faults.clear,
        "unseen": facts.faults.unseen,
        "cannot_see": list(facts.cannot_see),
    }


# as text


def _say(lines: list[str]) -> None:
    for line in lines:
        click.echo(line)


def _columns_text(proposal: Proposal) -> list[str]:
    from evenstand.formats.columns import ROLES

    out = [
        f"{proposal.file}: {proposal.rows} rows, {proposal.encoding}, split at {_mark(proposal.delimiter)}, "
        f"header on line {proposal.header_line}",
        "",
    ]
    rows: list[tuple[str, ...]] = []
    left: list[str] = []
    for g in proposal.columns:
        if g.use.role == "ignore":
            left.append(g.use.name)
            continue
        what = ROLES[g.use.role] + (f", bin {g.use.bin}" if g.use.bin else "") + (f" {g.use.number}" if g.use.number else "")
        rows.append((g.use.name, what, g.use.unit or "", g.sure if g.sure != "unsure" else "NOT USED", g.why))
    out += columns(_thinned(rows))
    if left:
        out.append(f"  Not read: {', '.join(left)}")
    for q in proposal.questions:
        out += ["", wrapped(("? " if q.blocking else "· ") + f"{q.text}. {q.cure}")]
    return out


def _thinned(rows: list[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Long families of sections and runs by their first and last."""
    out: list[tuple[str, ...]] = []
    for i, row in enumerate(rows):
        family = row[1].rsplit(" ", 1)[0] if row[1][-1:].isdigit() else ""
        inner = family and 0 < i < len(rows) - 1 and rows[i - 1][1].startswith(family) and rows[i + 1][1].startswith(family)
        if not inner:
            out.append(row)
        elif out[-1][0] != "...":
            out.append(("...", "", "", "", ""))
    return out


def _mark(delimiter: str) -> str:
    return {",": "commas", ";": "semicolons", "tab": "tabs", "|": "bars"}.get(delimiter, delimiter)


def sum_text(trail: Trail) -> str:
    """How the rows of a log add up."""
    return f"{trail.rows} rows read = {trail.kept} kept + {trail.repaired_rows} repaired + {trail.set_aside_rows} set aside."


def rows_text(trail: Trail) -> list[str]:
    """How the rows of a log add up, the first of those repaired and set aside, and the notes."""
    out = ["", sum_text(trail)]
    for title, rows in (("Repaired", trail.repaired), ("Set aside", trail.set_aside)):
        if rows:
            out.append(f"{title}:")
            out += columns([(f"line {r.line}", r.reason) for r in rows[:SHOWN_ROWS]])
            if len(rows) > SHOWN_ROWS:
                out.append(f"  ... and {len(rows) - SHOWN_ROWS} more (--json lists all)")
    out += [wrapped(f"· {note}") for note in trail.notes]
    return out


def _report_text(trail: Trail, facts: TrailFacts, covered: Coverage, units: Profile) -> list[str]:
    out = [sum_text(trail), ""]
    out += columns(_figures(facts, covered, units))
    out += ["", *_time_text(facts, units), ""]
    out += _rates_text(facts, units)
    out += _faults_text(facts, units)
    out += _passes_text(facts, units)
    out += ["", *[wrapped(f"· {note}") for note in _notes(trail, facts, covered)]]
    return out


def _notes(trail: Trail, facts: TrailFacts, covered: Coverage) -> tuple[str, ...]:
    """Notes, each once: a detector that cannot see says so more exactly than the list of absent columns."""
    told = [n for n in facts.cannot_see if not n.startswith(("Plugged runs cannot", "Fan speed cannot", "Meter turns cannot"))]
    return tuple(dict.fromkeys((*covered.notes, *told, *_blind(facts), *trail.notes)))


def _blind(facts: TrailFacts) -> tuple[str, ...]:
    """What this log cannot show, put together by the columns it lacks."""
    from evenstand.trail.detecting import DETECTORS

    titles = {d.kind: d.title for d in DETECTORS}
    lacking: dict[str, list[str]] = {}
    other: list[str] = []
    for u in facts.faults.unseen:
        if "; it has no " in u.says:
            lacking.setdefault(" and no ".join(u.needs), []).append(titles[u.kind])
        else:
            other.append(u.says)
    return (
        *(f"Cannot be seen in this log, which has no {need}: {'; '.join(what)}." for need, what in lacking.items()),
        *dict.fromkeys(other),
    )


def _figures(facts: TrailFacts, covered: Coverage, units: Profile) -> list[tuple[str, ...]]:
    def area(m2: float | None) -> str:
        return shown(None if m2 is None else m2 / 1e4, "area", units)

    rows: list[tuple[str, ...]] = [
        ("covered once or more", area(covered.covered_m2), f"by strips {shown(covered.width_m, 'width', units)} wide; {covered.basis}"),
        ("covered twice or more", area(covered.twice_m2), ""),
        ("repeated", area(covered.repeat_m2), _percent(covered.overlap) + " of the ground covered"),
    ]
    if covered.skipped_m2 is not None:
        rows.append(("skipped inside the field", area(covered.skipped_m2), f"and {area(covered.outside_m2)} sown outside"))
    if covered.switching_m2 > 0:
        rows.append(
            ("switched within a row's step", area(covered.switching_m2), "ground where the log cannot say when a section went on or off")
        )
    if facts.distance_gnss_m is not None:
        rows.append(("driven at work, by positions", shown(facts.distance_gnss_m.value, "distance", units), ""))
    if facts.distance_shown_m is not None and facts.distance_ratio is not None:
        off = 100 * (facts.distance_ratio.value - 1)
        by = "its distance" if facts.distance_by == "step" else "its speed"
        rows.append(
            ("the machine counted", shown(facts.distance_shown_m.value, "distance", units), f"{off:+.2f} % against positions, by {by}")
        )
    if facts.area_shown_ha is not None:
        rows.append(("its area counter grew by", shown(facts.area_shown_ha, "area", units), ""))
    if facts.mass_shown_kg is not None:
        rows.append(("mass shown", shown(facts.mass_shown_kg, "load", units), ""))
    if facts.row_to_row is not None:
        spread = shown(facts.row_to_row.scatter_m, "width", units)
        rows.append(
            ("row to row", shown(facts.row_to_row.distance_m.value, "width", units), f"guidance width, not the tool's; scatter {spread}")
        )
    if facts.speed_m_s is not None:
        rows.append(("mean speed at work", shown(facts.speed_m_s, "speed", units), ""))
    return rows


def _percent(share: float | None) -> str:
    return "not known" if share is None else f"{100 * share:.1f} %"


def _time_text(facts: TrailFacts, units: Profile) -> list[str]:
    use = facts.time_use
    parts = (
        ("sowing", use.sowing_s),
        ("turning", use.turning_s),
        ("standing", use.standing_s),
        ("moving", use.moving_s),
        ("no rows", use.missing_s),
    )
    told = ", ".join(f"{name} {s / 3600:.2f} h" for name, s in parts if s >= 1)
    out = [f"  Time: {told}; {use.stops} stop{'s' if use.stops != 1 else ''} of a minute or more"]
    if use.fills:
        out.append(f"  Of standing: filling {use.filling_s / 3600:.2f} h, {use.fills} times, known by {use.filling_by}")
    rate = facts.work_rate
    if rate is not None:
        out.append(
            wrapped(
                f"{shown(rate.at_work_ha_h, 'capacity', units)} at work, {shown(rate.over_all_ha_h, 'capacity', units)} over all, by "
                f"{rate.area_by}: field efficiency {100 * rate.efficiency:.0f} %, {rate.against_published} the published "
                f"{100 * rate.published_low:.0f} to {100 * rate.published_high:.0f} %"
            )
        )
    return out


def _rates_text(facts: TrailFacts, units: Profile) -> list[str]:
    if not facts.rates:
        return []
    rows: list[tuple[str, ...]] = [("bin", "asked", "reported", "within 5 %")]
    rows += [
        (r.bin, shown(r.asked_kg_ha, "rate", units), shown(r.reported_kg_ha, "rate", units), _percent(r.near_share)) for r in facts.rates
    ]
    return [
        "  Rates as the controller reported them (an echo of the display, no proof of what was sown):",
        *columns(rows, indent="    "),
        "",
    ]


def _faults_text(facts: TrailFacts, units: Profile) -> list[str]:
    """What the detectors found, and what they looked for."""
    out: list[str] = []
    for f in facts.faults.found:
        mark = "!" if f.worth_stopping else "·"
        out.append(wrapped(f"{mark} {f.claim}{_size_text(f, units)} {f.confirm_by}"))
    looked = [c.title for c in facts.faults.clear]
    if looked:
        out.append(wrapped(f"Looked for and not found: {', '.join(looked)}."))
    return [*out, ""] if out else []


def _size_text(fault: TrailFault, units: Profile) -> str:
    """The size with its interval, in the reader's units."""
    if fault.size is None or fault.interval is None or fault.size.sd == 0:
        return ""
    quantity = {"ha": "area", "m": "width"}.get(fault.size_unit)

    def said(value: float) -> str:
        return shown(value, quantity, units) if quantity else f"{value:.3g} {fault.size_unit}"

    return f" ({said(fault.size.value)}, 95 %: {said(fault.interval[0])} to {said(fault.interval[1])})"


def _clock(seconds: float) -> str:
    return f"{int(seconds // 3600)}:{int(seconds % 3600 // 60):02d}:{seconds % 60:04.1f}"


def _passes_text(facts: TrailFacts, units: Profile) -> list[str]:
    odd = [p for p in facts.passes if p.exceptions]
    out = [f"  {len(facts.passes)} passes, {len(odd)} with something to look at"]
    for p in odd[:SHOWN_ROWS]:
        notes = "; ".join(f"{e.note} at {shown(e.from_m, 'distance', units)}" for e in p.exceptions[:4])
        more = f"; and {len(p.exceptions) - 4} more" if len(p.exceptions) > 4 else ""
        out.append(wrapped(f"pass {p.number}, {shown(p.length_m, 'distance', units)}: {notes}{more}", indent="    "))
    if len(odd) > SHOWN_ROWS:
        out.append(f"    ... and {len(odd) - SHOWN_ROWS} more (--json lists all)")
    return out
