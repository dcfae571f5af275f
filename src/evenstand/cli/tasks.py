"""`evenstand trail tasks` and `evenstand trail prepare`: task data of a machine looked into, and written for a job."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenstand.base.errors import InputError, MissingError
from evenstand.base.units import Profile, read_quantity, shown
from evenstand.cli.common import book_option, columns, job_of, print_json, shared_options, units_of, wrapped

if TYPE_CHECKING:
    from evenstand.formats.iso11783.entities import TaskData
    from evenstand.formats.iso11783.folders import TaskFiles
    from evenstand.formats.iso11783.guidance import FieldInfo

SHOWN = 20
STATES = {"1": "planned", "2": "running", "3": "paused", "4": "done", "5": "template", "6": "cancelled"}


@click.command("tasks")
@click.argument("file", type=click.Path())
@click.option("--outlines", type=click.Path(), help="Write the outlines of the fields here, as GeoJSON.")
@click.option("--lines", type=click.Path(), help="Write the guidance lines here, as GeoJSON.")
@click.option("--rates", type=click.Path(), help="Write the rate map here, as GeoJSON: areas of one rate.")
@click.option("--task", help="Whose rate map, where several tasks have one.")
@shared_options
def tasks(
    file: str, outlines: str | None, lines: str | None, rates: str | None, task: str | None, as_json: bool, profile: str | None
) -> int:
    """Look into ISO 11783-10 task data FILE: tasks with their logs, fields, guidance lines, rate maps.

    \b
    evenstand trail tasks TASKDATA.zip
    evenstand trail tasks TASKDATA.zip --rates map.geojson --lines lines.geojson
    evenstand book field our-farm TASKDATA.zip --job JOB        takes a field's outline into the book
    """
    from evenstand.formats.iso11783.entities import read_task_data
    from evenstand.formats.iso11783.folders import is_task_data, task_files
    from evenstand.formats.iso11783.guidance import fields_of

    path = Path(file)
    if not path.exists() or not is_task_data(path):
        what = "there is no such file or folder" if not path.exists() else "this is no task data"
        raise InputError(what, where=file, cure="Give the folder that holds TASKDATA.XML, or a zip archive of it.")
    with task_files(path) as files:
        data = read_task_data(files)
        fields = fields_of(data, files.name)
        told = _told(data, files, fields)
    written = [*_written(path, outlines, "fields"), *_written(path, lines, "lines"), *_written(path, rates, _map_of(path, rates, task))]
    if as_json:
        print_json({"file": path.name, **told, "written": written})
        return 0
    for line in _text(path.name, told, units_of(profile)):
        click.echo(line)
    for name in written:
        click.echo(f"  Written: {name}")
    return 0


def _map_of(path: Path, rates: str | None, task: str | None) -> str:
    """The layer of the map that is meant."""
    from evenstand.formats.iso11783.layers import task_layer_names

    found = [n for n in task_layer_names(path) if n.startswith("rates")] if rates else []
    if task and len(found) > 1:
        found = [n for n in found if n == f"rates {task}"] or found
    if len(found) > 1:
        raise InputError("several tasks have a rate map", where="--task", limit=", ".join(n[6:] for n in found), cure="Say which one.")
    return found[0] if found else "rates"


def _written(path: Path, out: str | None, layer: str) -> list[str]:
    """Write a layer as GeoJSON."""
    if out is None:
        return []
    import json

    import shapely

    from evenstand.formats.iso11783.layers import task_layer
    from evenstand.formats.vector import write_text

    found = task_layer(path, layer)
    features = [
        {
            "type": "Feature",
            "properties": {k: v[i] for k, v in found.attributes.items() if v[i] is not None},
            "geometry": json.loads(shapely.to_geojson(geometry)),
        }
        for i, geometry in enumerate(found.geometries)
    ]
    try:
        write_text(out, json.dumps({"type": "FeatureCollection", "features": features}) + "\n")
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", where=out, cure="Name a file in a folder that is there.") from error
    return [out]


def _told(data: TaskData, files: TaskFiles, fields: tuple[FieldInfo, ...]) -> dict[str, Any]:
    """What task data holds, as plain data. [metric]"""
    from evenstand.formats.iso11783.entities import KINDS
    from evenstand.formats.iso11783.grids import read_grid

    tasks = []
    for task in data.tasks:
        grid = read_grid(files, task)
        tasks.append(
            {
                "key": task.key,
                "name": task.name,
                "state": STATES.get(task.status, task.status),
                "field": data.fields.get(task.field_key, ""),
                "logs": len(task.logs),
                "map": None
                if grid is None
                else {
                    "type": int(task.element.all("GRD")[0].get("I") or 0),
                    "rows": int(grid.rates.shape[0]),
                    "columns": int(grid.rates.shape[1]),
                    "rates": [
                        {
                            "product": data.products.get(layer.product, layer.product),
                            "unit": layer.unit,
                            "low": _end(grid.rates[:, :, k], least=True),
                            "high": _end(grid.rates[:, :, k], least=False),
                        }
                        for k, layer in enumerate(grid.layers)
                    ],
                },
            }
        )
    kinds = Counter(KINDS.get(e.kind, "element") for e in data.elements.values())
    return {
        "version": data.version,
        "origin": data.origin,
        "products": list(data.products.values()),
        "parts": dict(kinds),
        "tasks": tasks,
        "fields": [
            {
                "key": f.key,
                "name": f.name,
                "area_m2": f.area_m2 or None,
                "outlines": len(f.polygons),
                "lines": [{"name": x.name, "kind": x.kind, "heading_deg": x.heading_deg, "width_m": x.width_m} for x in f.lines],
            }
            for f in fields
        ],
    }


def _end(rates: Any, *, least: bool) -> float | None:
    import numpy as np

    known = rates[np.isfinite(rates) & (rates > 0)]
    return float(known.min() if least else known.max()) if known.size else None


def _text(name: str, told: dict[str, Any], units: Profile) -> list[str]:
    out = [f"{name}: task data version {told['version']}" + (f" of {told['origin']}" if told["origin"] else ""), ""]
    rows: list[tuple[str, ...]] = []
    for task in told["tasks"][:SHOWN]:
        logs = f"{task['logs']} log{'s' if task['logs'] != 1 else ''}"
        rows.append((task["key"], task["name"], task["state"], task["field"], logs, _map_text(task["map"], units)))
    out += columns(rows) if rows else ["  No task."]
    for field in told["fields"][:SHOWN]:
        area = shown(None if field["area_m2"] is None else field["area_m2"] / 1e4, "area", units)
        outlines = f"{field['outlines']} outline{'s' if field['outlines'] != 1 else ''}"
        out += ["", f"  Field {field['key']} '{field['name']}': {area}, {outlines}"]
        out += columns(
            [
                (
                    x["name"] or "a line",
                    {"AB": "straight, by two points", "A": "straight, by a point and a heading"}.get(x["kind"], x["kind"]),
                    f"{x['heading_deg']:.1f}°" if x["heading_deg"] is not None else "",
                    shown(x["width_m"], "width", units) if x["width_m"] else "",
                )
                for x in field["lines"][:SHOWN]
            ],
            indent="    ",
        )
    return out


def _map_text(told: dict[str, Any] | None, units: Profile) -> str:
    if told is None:
        return ""
    parts = []
    for r in told["rates"]:
        ends = [r["low"], r["high"]]
        said = [shown(v, "rate", units) if r["unit"] == "kg/ha" else f"{v:g} {r['unit']}" for v in dict.fromkeys(ends) if v is not None]
        parts.append(f"{r['product'] or 'rate'} {' to '.join(said) or 'none'}")
    return f"map of type {told['type']}, {told['rows']} x {told['columns']} cells: " + "; ".join(parts)


@click.command("prepare")
@click.argument("out", type=click.Path())
@click.option("--job", default="", help="Of which job; the only one where the book has one.")
@click.option("--rates", type=click.Path(), help="Areas with a rate each: GeoJSON, Shapefile, GeoPackage, or task data with a map.")
@click.option("--rate-column", "column", help="Which column of that file is the rate, with its unit in its name: 'rate (kg/ha)'.")
@click.option("--product", help="For which product of the job the rates are, where it has several.")
@click.option("--cell", default="10 m", show_default=True, help="Side of a cell of the map.")
@click.option(
    "--grid", "kind", type=click.Choice(["1", "2"]), default="2", show_default=True, help="Map of zone codes (1) or of rates (2)."
)
@click.option("--version", type=click.Choice(["3", "4"]), default="4", show_default=True, help="Version of the task data.")
@book_option
@shared_options
def prepare(
    out: str, job: str, folder: str | None, cell: str, kind: str, version: str, as_json: bool, profile: str | None, **said: Any
) -> int:
    """Write OUT, ISO 11783-10 task data for the machine: a job's outline, planned guidance lines, products and rates.

    \b
    evenstand trail prepare job.zip --book FOLDER --job JOB
    evenstand trail prepare job.zip --book FOLDER --job JOB --rates zones.geojson --rate-column 'rate (kg/ha)'

    Without --rates the map holds the rates the job asks for, inside the outline. Look at lines and rates on the machine before work.
    """
    from evenstand.base.clock import SystemClock, iso
    from evenstand.desk.books import open_book
    from evenstand.desk.tasks import job_task
    from evenstand.formats.iso11783.writing import write_task_data

    if not folder:
        raise MissingError("the book is missing", where="--book", cure="Give --book FOLDER: a job stands in a book.")
    path = Path(out)
    units = units_of(profile, folder)
    cell_m = read_quantity(cell, "width", units, where="--cell")
    rates = Path(said["rates"]) if said["rates"] else None
    with open_book(folder) as book:
        made = job_task(
            book, job_of(book, job), rates=rates, column=said["column"], product=said["product"], cell_m=cell_m, kind=int(kind),
            version=int(version), now=iso(SystemClock().now()),
        )  # fmt: skip
    if path.suffix.lower() == ".zip" and not path.parent.is_dir():
        raise InputError(f"there is no folder {path.parent}", where="OUT", cure="Make it first.")
    write_task_data(made.what, path)
    grid, field = made.what.grid, made.what.field
    assert grid is not None
    assert field is not None
    told = {
        "out": str(path), "task": made.what.name, "version": int(version), "products": list(made.what.products),
        "lines": [{"name": x.name, "kind": x.kind, "heading_deg": x.heading_deg, "width_m": x.width_m} for x in field.lines],
        "map": {"type": int(kind), "rows": int(grid.rates.shape[0]), "columns": int(grid.rates.shape[1])}, "notes": list(made.notes),
    }  # fmt: skip
    if as_json:
        print_json(told)
        return 0
    straight = sum(x.kind == "AB" for x in field.lines)
    curves = len(field.lines) - straight
    click.echo(f"  {path}: task '{made.what.name}' for field '{field.name}', {', '.join(made.what.products)}")
    click.echo(f"  {straight} straight line, {curves} headland round(s), a map of {grid.rates.shape[0]} x {grid.rates.shape[1]} cells")
    for note in made.notes:
        click.echo(wrapped(f"· {note}"))
    click.echo(wrapped("Look at lines and rates on the machine before work: it may take them otherwise than they are meant."))
    return 0
