"""`evenstand trail`: what a machine recorded."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenstand.base.errors import Fault, FileError, InputError
from evenstand.base.units import Profile, read_quantity, shown
from evenstand.cli.common import book_option, columns, print_json, shared_options, units_of, wrapped

if TYPE_CHECKING:
    from evenstand.formats.delimited import Proposal, Recipe
    from evenstand.model import Trail
    from evenstand.trail import Coverage, TrailFacts

SHOWN_ROWS = 12
MOST_FLAT_STEPS = 10_000
SUFFIXES = (".parquet", ".csv", ".gpkg", ".zip")


@click.group()
def command() -> None:
    """Read what a machine recorded: columns, coverage, report. No book is needed."""


def reading_options(function: Any) -> Any:
    """Options that answer what a file does not say."""
    for option in reversed(
        (
            click.option("--recipe", type=click.Path(), help="A recipe saved earlier: what each column is."),
            click.option("--crs", help="Coordinate system of projected positions, such as EPSG:32615."),
            click.option("--start", help="ISO time at which a log in seconds begins, with its offset."),
            click.option("--zone", help="Offset from UTC of times that carry none, such as -06:00."),
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
    keeps = _keeps(folder, job)
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
        print_json({"file": Path(file).name, **_read_dict(trail), **_columns_dict(proposal, recipe), **told})
        return 0
    if proposal is not None:
        _say(_columns_text(proposal))
    _say(_rows_text(trail))
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
@click.argument("file", type=click.Path())
@click.option("--outfit-width", "width", required=True, help="True width of the tool, with its unit: 16.3 m, 53.3 ft.")
@click.option("--antenna-ahead", "ahead", default="0", help="From the openers' middle rank forward to the antenna, such as 9.5 m.")
@click.option("--rows", type=int, help="Number of openers, to size the ground of a dead run.")
@click.option("--boundary", type=click.Path(), help="Outline of the field: adds skipped ground.")
@click.option("--field", help="Which area of the outline file, where it has several.")
@reading_options
@shared_options
def report(
    file: str,
    width: str,
    ahead: str,
    rows: int | None,
    boundary: str | None,
    field: str | None,
    as_json: bool,
    profile: str | None,
    **said: Any,
) -> int:
    """Report on FILE: ground covered, distance, passes, time, rates as reported, runs without flow."""
    from evenstand.model import Outfit, Widths
    from evenstand.trail import coverage, trail_facts
    from evenstand.trail.covering import flat_ended_m2

    units = units_of(profile)
    width_m = read_quantity(width, "width", units, where="--outfit-width")
    if not 0.5 <= width_m <= 60:
        raise InputError(f"{width_m:g} m is no width of a tool", where="--outfit-width", limit="0.5 m to 60 m", cure="Check the unit.")
    ahead_m = read_quantity(ahead, "width", units, where="--antenna-ahead")
    trail = _trail(file, said)
    outfit = Outfit(
        key="",
        name="the tool",
        rows=rows,
        row_spacing_m=width_m / rows if rows else None,
        widths=Widths(rate_m=width_m),
        antenna_ahead_m=ahead_m,
    )
    outline = _boundary(boundary, field)
    covered = coverage(trail, outfit, outline)
    facts = trail_facts(trail, outfit, covered=covered)
    if as_json:
        flat = flat_ended_m2(trail, outfit) if covered.steps <= MOST_FLAT_STEPS else None
        print_json({"file": Path(file).name, **_read_dict(trail), **_report_dict(facts, covered, flat)})
        return 0
    _say(_report_text(trail, facts, covered, units))
    return 0


@command.command("export")
@click.argument("file", type=click.Path())
@click.argument("out", type=click.Path())
@reading_options
@shared_options
def export(file: str, out: str, as_json: bool, profile: str | None, **said: Any) -> int:
    """Write FILE again as OUT: .parquet (our documented schema), .csv (plain), .gpkg (for a GIS), .zip (ISO 11783-10 task data)."""
    path = Path(out)
    if path.suffix.lower() not in SUFFIXES:
        raise InputError(f"'{path.suffix or out}' is no form we write", where="OUT", limit=", ".join(SUFFIXES), cure="Name the file so.")
    if not path.parent.is_dir():
        raise InputError(f"there is no folder {path.parent}", where="OUT", cure="Make it first.")
    trail = _trail(file, said)
    _write(trail, path)
    if as_json:
        print_json({"file": Path(file).name, "out": str(path), **_read_dict(trail)})
    else:
        click.echo(f"  {path}: {trail.n} rows. {_sum_text(trail)}")
    return 0


def _write(trail: Trail, path: Path) -> None:
    if path.suffix.lower() == ".parquet":
        from evenstand.formats.parquet import write_trail_parquet

        write_trail_parquet(trail, path)
    elif path.suffix.lower() == ".csv":
        from evenstand.formats.delimited import write_trail_csv

        write_trail_csv(trail, path)
    elif path.suffix.lower() == ".zip":
        from evenstand.formats.iso11783.writing import TaskSet, write_task_data

        write_task_data(TaskSet(name=path.stem, trail=trail), path)
    else:
        from evenstand.formats.gislayers import write_trail_gpkg
        from evenstand.trail import passes_of
        from evenstand.trail.stepping import steps_of

        write_trail_gpkg(trail, path, passes=passes_of(trail, steps_of(trail)))


def _trail(file: str, said: dict[str, Any]) -> Trail:
    from evenstand.trail import read_trail

    kept = {k: said[k] for k in ("recipe", "crs", "start", "zone", "task", "truncated_ok")}
    trail = read_trail(file, **kept)
    if said["strict"] and trail.set_aside:
        name = Path(file).name
        raise FileError(
            [
                Fault(where=f"{name}, line {r.line}", what=r.reason, cure="Correct the row, or read without --strict.")
                for r in trail.set_aside
            ]
        )
    return trail


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

    if said["recipe"]:
        return None
    return propose_columns(Path(file), crs=said["crs"], start=said["start"], zone=said["zone"])


def _boundary(path: str | None, field: str | None) -> Any:
    if path is None:
        return None
    from evenstand.field import read_boundary

    return read_boundary(path, field=field)


# as data


def _read_dict(trail: Trail) -> dict[str, Any]:
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
        "run_faults": facts.run_faults,
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


def _sum_text(trail: Trail) -> str:
    return f"{trail.rows} rows read = {trail.kept} kept + {len(trail.repaired)} repaired + {len(trail.set_aside)} set aside."


def _rows_text(trail: Trail) -> list[str]:
    out = ["", _sum_text(trail)]
    for title, rows in (("Repaired", trail.repaired), ("Set aside", trail.set_aside)):
        if rows:
            out.append(f"{title}:")
            out += columns([(f"line {r.line}", r.reason) for r in rows[:SHOWN_ROWS]])
            if len(rows) > SHOWN_ROWS:
                out.append(f"  ... and {len(rows) - SHOWN_ROWS} more (--json lists all)")
    out += [wrapped(f"· {note}") for note in trail.notes]
    return out


def _report_text(trail: Trail, facts: TrailFacts, covered: Coverage, units: Profile) -> list[str]:
    out = [_sum_text(trail), ""]
    out += columns(_figures(facts, covered, units))
    out += ["", *_time_text(facts), ""]
    out += _rates_text(facts, units)
    out += [wrapped(_fault_text(f, units)) for f in facts.run_faults]
    out += _passes_text(facts, units)
    out += ["", *[wrapped(f"· {note}") for note in (*covered.notes, *facts.cannot_see, *trail.notes)]]
    return out


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


def _time_text(facts: TrailFacts) -> list[str]:
    use = facts.time_use
    parts = (
        ("sowing", use.sowing_s),
        ("turning", use.turning_s),
        ("standing", use.standing_s),
        ("moving", use.moving_s),
        ("no rows", use.missing_s),
    )
    return [
        "  Time: "
        + ", ".join(f"{name} {s / 3600:.2f} h" for name, s in parts if s >= 1)
        + f"; {use.stops} stop{'s' if use.stops != 1 else ''} of a minute or more"
    ]


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


def _fault_text(fault: Any, units: Profile) -> str:
    what = f"Run {fault.run}" + (f" (head {fault.head})" if fault.head else "") if fault.run is not None else f"Head {fault.head}"
    seen = "never seen" if fault.last_seen_s is None else f"last seen {_clock(fault.last_seen_s)} after the start"
    size = shown(fault.area_ha, "area", units) if fault.area_ha == fault.area_ha else "size not known: give --rows"
    return (
        f"! {what} without flow: {seen}, first missed {_clock(fault.first_missed_s)}, in pass {fault.since_pass}; {size} until "
        f"{'the end' if fault.until_ms is None else 'it came back'}. Held against {fault.siblings}. "
        "Pull the hose and look before believing it."
    )


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
