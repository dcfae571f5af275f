"""What `evenstand trail` says of places, doses and turns, and how it takes a tool and a job: shared parts of its subcommands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenstand.base.errors import InputError, MissingError
from evenstand.base.units import Profile, read_quantity, shown
from evenstand.cli.common import columns, wrapped

if TYPE_CHECKING:
    from evenstand.model import Boundary, Outfit, Plan, Trail
    from evenstand.trail import Coverage, TrailFacts
    from evenstand.trail.doses import TurnDose
    from evenstand.trail.labels import Part
    from evenstand.trail.places import Places

SHOWN_PARTS = 12
PLACES_UP_TO = 200_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """What a report is about: one log with a tool as typed, or a job's logs with its outfit. name: of the file, or of the files."""

    name: str
    job: str | None
    logs: tuple[str, ...]
    trail: Trail
    outfit: Outfit
    outline: Boundary | None
    products: dict[str, str]
    farm: str = ""
    crop: str = ""
    season: str = ""
    notes: tuple[str, ...] = ()
    plan: Plan | None = None


def tool_options(function: Any) -> Any:
    """Options that say what was drawn over the field."""
    for option in reversed(
        (
            click.option("--outfit-width", "width", help="True width of the tool, with its unit: 16.3 m, 53.3 ft."),
            click.option("--antenna-ahead", "ahead", help="From the openers' middle rank forward to the antenna, as 9.5 m."),
            click.option("--hitch", help="From the openers' middle rank forward to the hitch, of a tool on a drawbar, such as 7.2 m."),
            click.option("--rows", type=int, help="Number of openers, to size the ground of a dead run."),
        )
    ):
        function = option(function)
    return function


def place_options(function: Any) -> Any:
    """Options that say what the ground is divided by."""
    for option in reversed(
        (
            click.option("--zones", type=click.Path(), help="A file of areas: ground and kilograms for each."),
            click.option("--day-zone", help="Whose midnight ends a day: an offset such as -06:00; that of --zone, else UTC."),
            click.option("--at", "spots", multiple=True, help="A place as LON,LAT: who sowed it first and when; again for more."),
            click.option("--places/--no-places", "wants", default=None, help="Ground and kilograms by part; left out of very long logs."),
            click.option("--check", is_flag=True, help="Hold the areas against the same in cells."),
            click.option("--pdf", type=click.Path(dir_okay=False), help="Write the field record, with pass strips and a map."),
        )
    ):
        function = option(function)
    return function


def with_geometry(outfit: Outfit, ahead: str | None, hitch: str | None, units: Profile) -> Outfit:
    """The outfit with antenna and hitch as typed for this report; the book keeps what it has."""
    from dataclasses import replace

    if ahead is not None:
        ahead_m = read_quantity(ahead, "width", units, where="--antenna-ahead")
        if not -15 <= ahead_m <= 40:
            raise InputError(f"{ahead_m:g} m is too far", where="--antenna-ahead", limit="-15 m to 40 m", cure="Check the unit.")
        outfit = replace(outfit, antenna_ahead_m=ahead_m)
    return outfit if hitch is None else replace(outfit, hitch_m=_hitch(hitch, units))


def _hitch(text: str, units: Profile) -> float | None:
    """From the openers to the hitch; 0 means no drawbar. [m]"""
    hitch_m = read_quantity(text, "width", units, where="--hitch")
    if hitch_m and not 0.5 <= hitch_m <= 40:
        raise InputError(f"{hitch_m:g} m is no drawbar", where="--hitch", limit="0.5 m to 40 m, or 0 for none", cure="Check the unit.")
    return hitch_m or None


def typed_tool(width: str, ahead: str | None, hitch: str | None, rows: int | None, units: Profile) -> Outfit:
    """The tool as it was typed."""
    from evenstand.model import Outfit, Widths

    width_m = read_quantity(width, "width", units, where="--outfit-width")
    if not 0.5 <= width_m <= 60:
        raise InputError(f"{width_m:g} m is no width of a tool", where="--outfit-width", limit="0.5 m to 60 m", cure="Check the unit.")
    plain = Outfit(
        key="",
        name="the tool",
        rows=rows,
        row_spacing_m=width_m / rows if rows else None,
        widths=Widths(rate_m=width_m),
    )
    return with_geometry(plain, ahead, hitch, units)


def job_subject(folder: str, job: str, trails: Sequence[str]) -> Subject:
    """All logs of a job of a book, or those named."""
    from evenstand.cli.common import job_of
    from evenstand.desk.books import open_book
    from evenstand.desk.trails import job_trail

    with open_book(folder) as book:
        one = job_trail(book, job_of(book, job), trails=trails)
    return Subject(
        name=", ".join(one.names), job=one.job.key, logs=one.names, trail=one.trail, outfit=one.outfit, outline=one.boundary,
        products=one.products, farm=one.farm, crop=f"{one.job.crop} {one.job.variety}".strip(), season=str(one.job.season or ""),
        notes=one.notes, plan=one.plan,
    )  # fmt: skip


def job_named(what: str, job: str, folder: str | None) -> str:
    """The job a report is asked for, or "" where a file is meant.

    Raises
    ------
    InputError
        If neither or both are given, or a job without its book.
    """
    is_file = bool(what) and Path(what).exists()
    if job and what:
        raise InputError("both a file and a job are named", where="FILE, --job", cure="Give one of them.")
    if not what and not job and not folder:
        raise MissingError("what to report on is not said", where="FILE", cure="Name a log, or a job with --book FOLDER.")
    if job and not folder:
        raise InputError("a job belongs to a book", where="--job", cure="Give --book FOLDER as well.")
    if what and (is_file or not folder or Path(what).suffix):
        return ""
    return job or what or "*"


def places_wanted(wants: bool | None, trail: Trail, *said: Any) -> bool:
    """Whether parts are worked out: as told, else where something was asked of them or the log is not very long."""
    return wants if wants is not None else any(said) or trail.n <= PLACES_UP_TO


def zones_of(path: str | None) -> tuple[Boundary, ...]:
    """The areas of a file as zones."""
    if path is None:
        return ()
    from evenstand.field.boundaries import read_areas

    return read_areas(Path(path))


def write_record(
    it: Subject, path: str, *, facts: TrailFacts, covered: Coverage, places: Places | None, turns: tuple[TurnDose, ...], units: Profile
) -> None:
    """The field record as a PDF."""
    from evenstand.base.clock import SystemClock, iso
    from evenstand.desk.trails import FieldRecord
    from evenstand.paper import record_pdf

    record = FieldRecord(
        name=it.name, trail=it.trail, outfit=it.outfit, boundary=it.outline, facts=facts, covered=covered, places=places, turns=turns,
        products=it.products, job=it.job, field=it.outline.name if it.outline else "", crop=it.crop, season=it.season, farm=it.farm,
        notes=it.notes,
    )  # fmt: skip
    content = record_pdf(record, profile=units, made_at=iso(SystemClock().now()))
    try:
        Path(path).write_bytes(content)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", where=path, cure="Name a file that can be written.") from error


def spots_asked(places: Places, trail: Trail, spots: Sequence[str]) -> list[dict[str, Any]]:
    """Who sowed the places asked for, and when."""
    if not spots:
        return []
    import numpy as np
    from pyproj import Transformer

    from evenstand.trail.places import who_sowed

    degrees = [_lonlat(s) for s in spots]
    change = Transformer.from_crs("EPSG:4326", trail.frame.proj, always_xy=True)
    xy = np.column_stack(change.transform([d[0] for d in degrees], [d[1] for d in degrees]))
    found = who_sowed(places, trail, xy)
    return [
        {"lon_deg": lon, "lat_deg": lat, "sown": None if one is None else asdict(one)}
        for (lon, lat), one in zip(degrees, found, strict=True)
    ]


def _lonlat(text: str) -> tuple[float, float]:
    try:
        lon, lat = (float(part) for part in text.split(","))
    except ValueError:
        lon, lat = 999.0, 999.0
    if not (-180 <= lon <= 180 and -90 <= lat <= 90):
        raise InputError(f"'{text}' is no place", where="--at", limit="LON,LAT in degrees", cure="Such as --at=-105.0123,51.0456.")
    return lon, lat


# as files


def write_trail(trail: Trail, path: Path, outfit: Outfit | None, cell_m: float) -> None:
    """Write a trail in the form its ending asks for."""
    if path.suffix.lower() == ".parquet":
        from evenstand.formats.parquet import write_trail_parquet

        write_trail_parquet(trail, path)
    elif path.suffix.lower() == ".csv":
        from evenstand.formats.delimited import write_trail_csv

        write_trail_csv(trail, path)
    elif path.suffix.lower() == ".zip":
        from evenstand.formats.iso11783.writing import TaskSet, write_task_data

        write_task_data(TaskSet(name=path.stem, trail=trail), path)
    elif path.suffix.lower() == ".geoparquet":
        from evenstand.formats.geoparquet import write_trail_geoparquet

        write_trail_geoparquet(trail, path)
    elif path.suffix.lower() == ".tif" and outfit is not None:
        _write_cells(trail, path, outfit, cell_m)
    else:
        _write_layers(trail, path, outfit)


def _write_cells(trail: Trail, path: Path, outfit: Outfit, cell_m: float) -> None:
    from evenstand.formats.rasters import write_cells_tif
    from evenstand.trail.places import upright_cells

    cells, doses = upright_cells(trail, outfit, cell_m=cell_m)
    write_cells_tif(cells, doses, trail, path)


def _write_layers(trail: Trail, path: Path, outfit: Outfit | None) -> None:
    from evenstand.formats.gislayers import write_trail_gpkg
    from evenstand.trail import passes_of, run_faults
    from evenstand.trail.stepping import steps_of

    steps = steps_of(trail)
    passes = passes_of(trail, steps)
    if outfit is None:
        write_trail_gpkg(trail, path, passes=passes)
        return
    from evenstand.trail.outlines import dead_lines, pass_grounds
    from evenstand.trail.strips import strips_of

    grounds = pass_grounds(strips_of(trail, outfit, steps), passes)
    dead = dead_lines(trail, outfit, steps, run_faults(trail, outfit, passes=passes, steps=steps))
    write_trail_gpkg(trail, path, passes=passes, grounds=grounds, dead=dead)


# as data


def check_dict(covered: Coverage) -> dict[str, Any] | None:
    """The same areas in cells, or None."""
    return None if covered.check is None else asdict(covered.check)


def places_dict(places: Places | None, asked: list[dict[str, Any]]) -> dict[str, Any] | None:
    """Ground and product by part, without the map."""
    if places is None:
        return None
    listed = ("days", "zones", "parts", "passes", "bins", "products")
    return {
        "cell_m": None if places.map is None else places.map.cell_m,
        "whole": asdict(places.whole),
        **{name: [asdict(p) for p in getattr(places, name)] for name in listed},
        "repeats": {b: [asdict(c) for c in classes] for b, classes in places.repeats.items()},
        "spots": [asdict(s) for s in places.spots],
        "asked": asked,
        "notes": list(places.notes),
    }


def turns_list(turns: tuple[TurnDose, ...]) -> list[dict[str, Any]]:
    """Bends sown with the openers down."""
    return [asdict(t) for t in turns]


# as text


def places_text(places: Places | None, asked: list[dict[str, Any]], units: Profile) -> list[str]:
    """Days, zones, parts, bins and products in ruled columns; ground sown again with its dose."""
    from evenstand.desk.trail_parts import repeat_lines

    if places is None:
        return []
    out: list[str] = []
    for name, parts in (("day", places.days), ("zone", places.zones), ("part of the field", places.parts)):
        if len(parts) > (0 if name == "zone" else 1):
            out += ["", *_table(name, parts, units)]
    if places.bins:
        out += ["", "  As the controller reported, on the ground driven over:"]
        rows: list[tuple[str, ...]] = [("bin", "ground", "kilograms")]
        for p in (*places.bins, *places.products):
            name = f"bin {p.name}" if p.kind == "bin" else f"all {p.name}"
            rows.append((name, _area(p.covered_m2, units), shown(sum(p.mass_kg.values()), "mass", units)))
        out += columns(rows, indent="    ")
    again = repeat_lines(places, profile=units)
    if again:
        out += ["", "  Ground sown again, the most first:", *(wrapped(line, indent="    ") for line in again)]
    for place in asked:
        where = f"{place['lon_deg']:.6f}, {place['lat_deg']:.6f}"
        sown = place["sown"]
        if sown is None:
            out.append(f"  {where}: nobody sowed there")
            continue
        by = f"pass {sown['pass_number']}" if sown["pass_number"] else "between passes"
        times = "once" if sown["times"] == 1 else f"{sown['times']} times in all"
        out.append(f"  {where}: sown first by {by}, {_moment(sown['t_ms'])}; {times}")
    return out


def _moment(t_ms: int) -> str:
    from datetime import UTC, datetime

    return datetime.fromtimestamp(t_ms / 1000, tz=UTC).strftime("%Y-%m-%d %H:%M:%S UTC")


def _table(name: str, parts: tuple[Part, ...], units: Profile) -> list[str]:
    told = any(p.skipped_m2 is not None for p in parts)
    rows: list[tuple[str, ...]] = [(name, "sown first", "sown again", *(["not sown"] if told else []), "")]
    for p in parts[:SHOWN_PARTS]:
        mass = ", ".join(f"{shown(m, 'mass', units)} of {b}" for b, m in p.mass_kg.items())
        skipped = ["–" if p.skipped_m2 is None else _area(p.skipped_m2, units)] if told else []
        rows.append((p.name, _area(p.covered_m2, units), _area(p.repeat_m2, units), *skipped, mass))
    out = columns(rows)
    if len(parts) > SHOWN_PARTS:
        out.append(f"  ... and {len(parts) - SHOWN_PARTS} more (--json lists all)")
    return out


def turns_text(turns: tuple[TurnDose, ...], units: Profile) -> list[str]:
    """The bends in one sentence, with the tightest."""
    from evenstand.desk.trail_parts import turn_lines

    return [wrapped(line) for line in turn_lines(turns, profile=units)]


def check_text(covered: Coverage, units: Profile) -> list[str]:
    """Whether areas and cells agree."""
    c = covered.check
    if c is None:
        return []
    apart = max(abs(v) for v in c.apart_m2.values())
    word = "agree" if c.agree and c.usual else "lie farther apart than usual" if c.agree else "DO NOT agree"
    return [
        wrapped(
            f"Self-check: the areas and the same in cells of {c.cell_m:g} m {word}: {apart:.1f} m² apart at most, usual is "
            f"{max(c.likely_m2.values()):.1f} m², proven limit {max(v for v in c.proven_m2.values() if v is not None):.0f} m²."
        )
    ]


def _area(m2: float, units: Profile) -> str:
    return shown(m2 / 1e4, "area", units)
