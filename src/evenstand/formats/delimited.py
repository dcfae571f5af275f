"""A delimited log as a trail: columns understood, confirmed or remembered; every row kept, repaired or set aside with its reason."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from evenstand.base.errors import ColumnError, CrsError, EvenstandError, Fault, FileError, InputError, UnitError
from evenstand.formats.cells import sample_of, table_of
from evenstand.formats.columns import ColumnGuess, ColumnUse, Question
from evenstand.formats.layouts import Layout, layout_of
from evenstand.formats.overriding import recipe_as_told
from evenstand.formats.proposing import propose_from
from evenstand.formats.recipes import Proposal, Recipe, load_recipe
from evenstand.formats.rows import build_trail
from evenstand.formats.times import start_ms
from evenstand.formats.timing import offset_in
from evenstand.formats.zones import check_zone
from evenstand.model.trail import Trail

if TYPE_CHECKING:
    pass

__all__ = ["ColumnGuess", "ColumnUse", "Proposal", "Question", "Recipe", "load_recipe", "propose", "read", "write_trail_csv"]


Faults = list[tuple[type[EvenstandError], Fault]]


def propose(
    path: str | Path,
    *,
    crs: str | None = None,
    start: str | None = None,
    zone: str | None = None,
    columns: Sequence[ColumnUse] = (),
) -> Proposal:
    """What a file's columns are taken for, why, how sure that is, and what must be asked.

    Parameters
    ----------
    path : str or Path
        The file. [-]
    crs, start, zone : str or None
        Answers already known: coordinate system, start of the log (ISO), offset from UTC. [-]
    columns : sequence of ColumnUse
        What a person says some columns are. [-]

    Returns
    -------
    Proposal
        Its `recipe` can be saved and used next time. [-]

    Raises
    ------
    FileError
        If the file is no delimited text.
    ColumnError
        If it has no usable header.
    """
    path = Path(path)
    layout = layout_of(path)
    return propose_from(layout, sample_of(layout), path.name, crs=crs, start=start, zone=zone, told=columns)


def read(
    path: Path,
    *,
    recipe: Recipe | str | Path | None = None,
    crs: str | None = None,
    start: str | None = None,
    zone: str | None = None,
    truncated_ok: bool = False,
    columns: Sequence[ColumnUse] = (),
) -> Trail:
    """Read delimited text; see `evenstand.trail.read_trail`, whose door sends other kinds elsewhere."""
    layout = layout_of(path)
    known, layout, notes = understood(
        layout, path, truncation(layout, path.name, truncated_ok), recipe=recipe, crs=crs, start=start, zone=zone, columns=columns
    )
    return build_trail(path.name, layout, known, table_of(layout, known), notes)


def understood(
    layout: Layout, path: Path, faults: Faults, *, recipe: Recipe | str | Path | None, crs: str | None, start: str | None, zone: str | None,
    columns: Sequence[ColumnUse] = (),
) -> tuple[Recipe, Layout, list[str]]:  # fmt: skip
    """What the columns of a log are, by the recipe or by its first rows; the layout, as the recipe may know the decimal mark; notes.

    Raises
    ------
    EvenstandError
        With all that hinders reading, `faults` found before included.
    """
    known = load_recipe(recipe) if isinstance(recipe, str | Path) else recipe
    notes = list(layout.notes)
    if known is None:
        proposal = propose_from(layout, sample_of(layout), path.name, crs=crs, start=start, zone=zone, told=columns)
        faults += [(_error_of(q), Fault(where=_where(path, q.column), what=q.text, cure=q.cure)) for q in proposal.questions if q.blocking]
        notes += [f"{q.text}. {q.cure}" for q in proposal.questions if not q.blocking]
        notes += [f"'{g.use.name}' is left out: {g.why}." for g in proposal.columns if g.sure == "unsure" and not _questioned(proposal, g)]
        known = proposal.recipe
        if known.crs and not crs:
            notes.append(f"The positions are taken in {known.crs}, which the lines above the header name.")
    else:
        known = recipe_as_told(known, columns, layout.header, path.name) if columns else known
        faults += _missing(known, layout, path.name)
        known = replace(known, crs=crs or known.crs, start=start or known.start, zone=zone or known.zone)
        layout = replace(layout, decimal=known.decimal or layout.decimal)
        if not faults:
            faults += _contradicted(known, layout, path.name)
        notes += _undated(known)
    faults += _answers(known)
    if faults:
        raise _gathered(faults)
    found = offset_in(known, lambda: sample_of(layout), zone or "")
    return (replace(known, zone=found[0]), layout, [*notes, *found[1]]) if found else (known, layout, notes)


def _where(path: Path, column: str) -> str:
    return f"{path.name}, column {column}" if column else path.name


def _questioned(proposal: Proposal, guess: ColumnGuess) -> bool:
    return any(q.column == guess.use.name for q in proposal.questions)


def _error_of(question: Question) -> type[EvenstandError]:
    kinds: dict[str, type[EvenstandError]] = {"crs": CrsError, "unit": UnitError}
    return kinds.get(question.kind, ColumnError)


def _gathered(faults: Faults) -> EvenstandError:
    """All faults in one error, of their own kind if they share one."""
    kinds = {kind for kind, _ in faults}
    kind = kinds.pop() if len(kinds) == 1 else FileError
    return kind([fault for _, fault in faults])


def truncation(layout: Layout, name: str, allowed: bool) -> Faults:
    """The fault of a file that breaks off within its last row, unless that is allowed."""
    if allowed or not layout.ends_open or layout.rows == 0 or layout.fields[-1] >= len(layout.header):
        return []
    line = int(layout.line[-1])
    return [breaks_off(name, line, int(layout.fields[-1]), len(layout.header))]


def breaks_off(name: str, line: int, fields: int, want: int) -> tuple[type[EvenstandError], Fault]:
    """The fault of a last row without all its fields and its line end."""
    text = f"the file breaks off within line {line}: {fields} of {want} fields and no line end"
    cure = "Copy it again from the machine; or allow it, and that row is set aside (--truncated-ok)."
    return FileError, Fault(where=name, what=text, cure=cure)


def _missing(recipe: Recipe, layout: Layout, name: str) -> Faults:
    have = ", ".join(layout.header)
    return [
        (ColumnError, Fault(where=name, what=f"the column '{c.name}' that the recipe names is missing", cure=f"The file has: {have}."))
        for c in recipe.columns
        if c.name not in layout.header and c.role not in ("extra", "ignore")
    ]


def _contradicted(recipe: Recipe, layout: Layout, name: str) -> Faults:
    """Needed roles the recipe lacks."""
    roles = {c.role for c in recipe.columns}
    out: Faults = []
    if not ({"lon", "lat"} <= roles or {"east", "north"} <= roles):
        out.append(
            (ColumnError, Fault(where=name, what="the recipe names no position columns", cure="Give lon and lat, or east and north."))
        )
    if not roles & {"time", "clock"}:
        out.append((ColumnError, Fault(where=name, what="the recipe names no time column", cure="Give one column the role time.")))
    if {"east", "north"} <= roles and not recipe.crs:
        out.append(
            (CrsError, Fault(where=name, what="the recipe has projected positions and no crs", cure="Give crs, for example EPSG:32615."))
        )
    return out


def _undated(recipe: Recipe) -> list[str]:
    """What is said of times that lack their day or their offset, where a recipe and what was told do not give it."""
    use = (*recipe.use("time"), *recipe.use("clock"))[:1]
    if use and use[0].unit in ("s", "ms", "clock") and not recipe.start:
        text = f"'{use[0].name}' says no day; times are counted from 1970-01-01 until it is given"
        return [f"{text}. Give --start, for example 2027-05-04T08:12:00-06:00."]
    if use and use[0].unit in ("text", "days") and not recipe.zone and "%z" not in recipe.time_form and not recipe.time_form.endswith("Z"):
        text = f"'{use[0].name}' does not say its offset from UTC; it is taken as UTC until it is given"
        return [f"{text}. Give --zone, for example -06:00."]
    return []


def _answers(recipe: Recipe) -> Faults:
    """Faults in what was answered: coordinate system, offset, start."""
    out: Faults = []
    checks: tuple[tuple[type[EvenstandError], Callable[[], object]], ...] = (
        (CrsError, lambda: _check_crs(recipe)),
        (InputError, lambda: check_zone(recipe.zone)),
        (InputError, lambda: recipe.start and start_ms(recipe.start, recipe.zone)),
    )
    for kind, check in checks:
        try:
            check()
        except EvenstandError as error:
            out += [(kind, fault) for fault in error.faults]
    return out


def _check_crs(recipe: Recipe) -> None:
    if not recipe.crs:
        return
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        system = CRS.from_user_input(recipe.crs)
    except CRSError as error:
        raise CrsError(f"'{recipe.crs}' is no coordinate system", where="crs", cure="Use a code such as EPSG:32615.") from error
    if recipe.use("lat") and not system.is_geographic:
        raise CrsError(
            f"the positions are degrees but {recipe.crs} is projected", where="crs", cure="Leave it out, or give a geographic system."
        )


# cells


def as_text(cell: str) -> str:
    """A text that a spreadsheet shows and does not calculate: an apostrophe before =, +, -, @ or a control character at its start.

    >>> as_text("=1+1"), as_text("moisture"), as_text("-")
    ("'=1+1", 'moisture', "'-")
    """
    return f"'{cell}" if cell.lstrip()[:1] in ("=", "+", "-", "@") or cell[:1] in ("\t", "\r", "\n") else cell


def write_trail_csv(trail: Trail, path: str | Path) -> None:
    """Write a trail in our own plain layout: comma, point, UTC times, degrees, one header line with units in the names.

    Parameters
    ----------
    trail : Trail
        The trail. [-]
    path : str or Path
        Where to. Absent columns are left out, absent cells left empty. [-]
    """
    import polars as pl
    from pyproj import Transformer

    lon, lat = Transformer.from_crs(trail.frame.proj, "EPSG:4326", always_xy=True).transform(trail.xy_m[:, 0], trail.xy_m[:, 1])
    data: dict[str, Any] = {
        "time_utc": pl.from_epoch(pl.Series(trail.t_ms), time_unit="ms").dt.strftime("%Y-%m-%dT%H:%M:%S%.3fZ"),
        "lon_deg": np.round(lon, 10),
        "lat_deg": np.round(lat, 10),
    }
    for name, values, digits in (
        ("speed_m_s", trail.speed_m_s, 5),
        ("step_m", trail.step_m, 5),
        ("area_ha", trail.area_ha, 7),
        ("fan_turns_s", trail.fan_turns_s, 5),
        ("mass_rate_kg_s", trail.mass_rate_kg_s, 6),
    ):
        if values is not None:
            data[name] = np.round(values, digits)
    if trail.lifted is not None:
        data["lifted"] = trail.lifted.astype(np.int8)
    for stem, grid in (("turns_{}", trail.revs), ("asked_{}_kg_ha", trail.asked_kg_ha), ("echoed_{}_kg_ha", trail.echoed_kg_ha)):
        if grid is not None:
            data |= {stem.format(b): np.round(grid[:, i], 6) for i, b in enumerate(trail.bins)}
    if trail.sections is not None:
        data |= {f"section_{i + 1}": trail.sections[:, i].astype(np.int8) for i in range(trail.sections.shape[1])}
    if trail.run_present is not None:
        data |= {f"run_{r}": trail.run_present[:, i].astype(np.int8) for i, r in enumerate(trail.runs)}
    data |= {name: values for name, values in ((as_text(n), v) for n, v in trail.extra.items()) if name not in data}
    frame = pl.DataFrame(data)
    frame.with_columns(pl.col(pl.Float64).fill_nan(None)).write_csv(Path(path), float_scientific=False)
