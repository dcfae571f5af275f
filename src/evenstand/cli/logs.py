"""What `evenstand trail` says of a log that is read: its columns, its rows, what was asked; and keeping it in a book."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenstand.base.errors import Fault, FileError, InputError
from evenstand.cli.common import columns, wrapped

if TYPE_CHECKING:
    from evenstand.formats.delimited import Proposal, Recipe
    from evenstand.model import Trail

SHOWN_ROWS = 12


def reading_options(function: Any) -> Any:
    """Options that answer what a file does not say."""
    for option in reversed(
        (
            click.option("--recipe", type=click.Path(), help="A recipe saved earlier: what each column is."),
            click.option(
                "--column",
                "columns",
                multiple=True,
                metavar="NAME=WHAT",
                help="What a column is, whatever it seems to be: 'Setpt=asked kg/ha A'; in task data: 'DET-2=bin B'. Again for more.",
            ),
            click.option("--crs", help="Coordinate system of projected positions, such as EPSG:32615."),
            click.option(
                "--start", help="ISO time at which the log begins: for one in seconds, without dates, or with a clock that is off."
            ),
            click.option("--zone", help="Of times that carry no offset: -06:00, or a name such as America/Regina."),
            click.option("--task", help="Key or name of the task, in ISO 11783 task data where several hold logs."),
            click.option(
                "--density",
                "densities",
                multiple=True,
                metavar="BIN=DENSITY",
                help="Of a product that task data logs by volume: 'A=1.28 kg/L'. Again for more.",
            ),
            click.option("--truncated-ok", is_flag=True, help="Set aside a last row that breaks off instead of refusing the file."),
            click.option("--strict", is_flag=True, help="Refuse the file if any row has to be set aside."),
        )
    ):
        function = option(function)
    return function


def large_log(file: str) -> bool:
    """Whether it is a delimited log too large to be read whole."""
    from evenstand.formats.opening import is_large

    return is_large(Path(file))


def trail_of(file: str, said: dict[str, Any]) -> Trail:
    from evenstand.formats.opening import LARGE_BYTES
    from evenstand.trail import read_trail

    if large_log(file):
        size = Path(file).stat().st_size / 1e6
        raise FileError(
            f"the log holds {size:,.0f} MB, too much to be read whole",
            where=Path(file).name,
            limit=f"at most {LARGE_BYTES / 1e6:,.0f} MB",
            cure="Export it first: evenstand trail export LOG OUT.parquet; then give OUT.parquet, which holds the same rows.",
        )
    kept = {k: said[k] for k in ("recipe", "crs", "start", "zone", "task", "truncated_ok", "columns")}
    trail = read_trail(file, **kept, density_kg_m3=densities_of(said))
    if said["strict"] and trail.set_aside:
        raise _strictly(Path(file).name, trail)
    return trail


def densities_of(said: dict[str, Any]) -> dict[str, float]:
    """Densities by bin as typed, over those a book knows. [kg/m³]"""
    from evenstand.base.units import read_quantity

    out = dict(said.get("known_densities") or {})
    for text in said["densities"]:
        letter, mark, value = text.partition("=")
        letter = letter.strip().upper()
        if not mark or len(letter) != 1 or not letter.isalpha():
            raise InputError(f"'{text}' does not say of which bin", where="--density", cure="Write it as 'A=1.28 kg/L'.")
        out[letter] = read_quantity(value.strip(), "density", "si", where=f"--density {letter}")
        if not 50 <= out[letter] <= 3000:
            raise InputError(f"{out[letter]:g} kg/m³ is no density of a product", where=f"--density {letter}", limit="50 to 3000 kg/m³")
    return out


def _strictly(name: str, trail: Trail) -> FileError:
    """Every row set aside as a fault."""
    cure = "Correct the row, or read without --strict."
    return FileError([Fault(where=f"{name}, line {r.line}", what=r.reason, cure=cure) for r in trail.set_aside])


def tried(file: str, said: dict[str, Any]) -> tuple[Trail | None, InputError | None]:
    try:
        return trail_of(file, said), None
    except InputError as error:
        return None, error


def recipe_of(path: str | Recipe | None) -> Recipe | None:
    if not isinstance(path, str):
        return path
    from evenstand.formats.delimited import load_recipe

    return load_recipe(path)


def proposal_of(file: str, said: dict[str, Any]) -> Proposal | None:
    """What the file is taken for; none for a kind that says itself what its columns are, or with a recipe."""
    from evenstand.formats.opening import propose_columns
    from evenstand.formats.overriding import told_uses

    told = told_uses(said["columns"])
    if said["recipe"] or large_log(file):
        return None
    return propose_columns(Path(file), crs=said["crs"], start=said["start"], zone=said["zone"], task=said["task"], columns=told)


def told_recipe(file: str, recipe: Recipe, said: dict[str, Any]) -> Recipe:
    """A recipe with what was told on top, as it was used."""
    from evenstand.formats.overriding import recipe_as_told, told_uses

    told = told_uses(said["columns"])
    names = list(dict.fromkeys([*(c.name for c in recipe.columns), *(u.name for u in told)]))
    return recipe_as_told(recipe, told, names, Path(file).name) if told else recipe


def boundary_of(path: str | None, field: str | None) -> Any:
    if path is None:
        return None
    from evenstand.field import read_boundary

    return read_boundary(path, field=field)


def keeps_it(folder: str | None, job: str) -> bool:
    """Whether the log goes into a book; a job needs its book. A book named by the environment alone keeps nothing."""
    if job and not folder:
        raise InputError("a job belongs to a book", where="--job", cure="Give --book FOLDER as well, or leave --job out.")
    named = click.get_current_context().get_parameter_source("folder") is not click.core.ParameterSource.ENVIRONMENT
    if folder and named and not job:
        raise InputError("is missing", where="--job", cure="Say whose log it is, or leave --book out.")
    return bool(folder and job)


def remembered(folder: str, path: Path) -> Recipe | None:
    """What somebody once confirmed the columns of such a log to be."""
    from evenstand.desk.books import open_book
    from evenstand.desk.logs import remembered_recipe

    with open_book(folder) as book:
        return remembered_recipe(book, path) if path.exists() else None


def save(recipe: Recipe, path: str, name: str) -> None:
    """Write a recipe under a name of its own. When this one log began is not remembered: the next one begins at another time."""
    from dataclasses import replace

    try:
        replace(recipe, name=name or recipe.name, start="").save(path)
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", where=path, cure="Name a file in a folder that is there.") from error


def known_densities(folder: str, job: str) -> dict[str, float]:
    """What a book knows of the products in a job's bins. [kg/m³]"""
    from evenstand.desk.books import open_book
    from evenstand.desk.logs import densities_of_job

    with open_book(folder) as book:
        return densities_of_job(book, job)


def keep(folder: str, job: str, path: Path, trail: Trail, recipe: Recipe | None) -> str:
    """Keep a log that was read, under its job; columns that were told are remembered. Gives the key of the record."""
    from evenstand.base.clock import SystemClock
    from evenstand.desk.books import open_book
    from evenstand.desk.logs import read_log

    with open_book(folder, write=True) as book:
        return read_log(book, job, path, trail=trail, recipe=recipe, confirmed=recipe is not None, clock=SystemClock()).key


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


def columns_dict(proposal: Proposal | None, recipe: Recipe | None) -> dict[str, Any]:
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


# as text


def say(lines: list[str]) -> None:
    for line in lines:
        click.echo(line)


def columns_text(proposal: Proposal) -> list[str]:
    """What each column is taken for, and what is asked."""
    from evenstand.formats.columns import PART_ROLES, ROLES

    laid_out = f"{proposal.rows} rows, {proposal.encoding}, split at {_mark(proposal.delimiter)}, header on line {proposal.header_line}"
    out = [f"{proposal.file}: {laid_out if proposal.delimiter else proposal.encoding}", ""]
    rows: list[tuple[str, ...]] = []
    left: list[str] = []
    for g in proposal.columns:
        if g.use.role == "ignore":
            left.append(g.use.name)
            continue
        what = (ROLES | PART_ROLES)[g.use.role] + (f", bin {g.use.bin}" if g.use.bin else "") + (f" {g.use.number}" if g.use.number else "")
        rows.append((g.use.name, what, g.use.unit or "", g.sure if g.sure != "unsure" else "NOT USED", g.why))
    out += columns(_thinned(rows))
    if left:
        out.append(f"  Not read: {', '.join(left)}")
    for q in proposal.questions:
        out += ["", wrapped(("? " if q.blocking else "· ") + f"{q.text}. {q.cure}")]
    open_ = next((g.use for g in proposal.columns if g.sure == "unsure" and g.use.role not in ("lat", "lon", "time")), None)
    if open_ is not None:
        hint = f"To say what a column is: --column '{open_.name}=WHAT', such as {open_.role} with its unit; --save-recipe remembers it."
        out += ["", wrapped(hint)]
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
