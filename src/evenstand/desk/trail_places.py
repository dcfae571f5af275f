"""Where a log was driven: in the field of its job, in another field of the book, or in none of them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from evenstand.base.errors import MissingError
from evenstand.model import Boundary, Job, Outfit, Trail

if TYPE_CHECKING:
    from evenstand.book import Book, TrailRecord

MOST_ROWS = 4000
IN_IT = 0.1
"""Of the rows at work; fewer inside the outline than that were not driven in that field."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldShare:
    """A field of the book and the share of the log's rows at work inside its outline [-]; jobs: keys of its jobs."""

    key: str
    name: str
    share: float
    jobs: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TrailPlace:
    """Where a log lies. field: of its job, "" without one; share: of the rows at work inside it, None without an outline [-]; apart_m: from
    that outline to the nearest of them, 0 inside, None without one [m]; others: other fields it lies in, the most rows first."""

    field: str
    share: float | None
    apart_m: float | None
    others: tuple[FieldShare, ...]

    @property
    def elsewhere(self) -> bool:
        """Whether the log was not driven in the field of its job. [-]"""
        return self.share is not None and self.share < IN_IT


def trail_place(book: Book, trail: Trail, job: Job | None) -> TrailPlace:
    """Where a log lies, by the rows at work and the outlines of the book.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    trail : Trail
        The log. [m]
    job : Job or None
        Whose log it is. [-]
    """
    jobs = book.all(Job)
    boundaries = book.all(Boundary)
    mine = next((b for b in boundaries if job is not None and b.key == job.field_key), None)
    lonlat = _at_work(trail)
    share = apart = None
    if mine is not None:
        share, apart = _inside(mine, lonlat)
    others = []
    for b in boundaries:
        if mine is not None and b.key == mine.key:
            continue
        part, _ = _inside(b, lonlat)
        if part >= IN_IT:
            others.append(FieldShare(key=b.key, name=b.name, share=part, jobs=tuple(j.key for j in jobs if j.field_key == b.key)))
    return TrailPlace(
        field=mine.name if mine is not None else "", share=share, apart_m=apart, others=tuple(sorted(others, key=lambda o: -o.share))
    )


def _at_work(trail: Trail) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Some thousand rows at work, in degrees: (n, 2), longitude first; all rows where none is at work."""
    from pyproj import Transformer

    from evenstand.trail.stepping import at_work_rows

    work, _ = at_work_rows(trail)
    rows = np.flatnonzero(work) if work.any() else np.arange(trail.n)
    rows = rows[:: max(1, math.ceil(rows.size / MOST_ROWS))]
    back = Transformer.from_crs(trail.frame.proj, "EPSG:4326", always_xy=True)
    return np.column_stack(back.transform(trail.xy_m[rows, 0], trail.xy_m[rows, 1]))


def _inside(boundary: Boundary, lonlat: np.ndarray[tuple[int, int], np.dtype[np.float64]]) -> tuple[float, float]:
    """Share of places inside an outline, and the way from it to the nearest. [-, m]"""
    import shapely
    from pyproj import Transformer

    if not len(lonlat):
        return 0.0, math.inf
    there = Transformer.from_crs("EPSG:4326", boundary.frame.proj, always_xy=True)
    x, y = there.transform(lonlat[:, 0], lonlat[:, 1])
    good = np.isfinite(x) & np.isfinite(y)
    if not good.any():
        return 0.0, math.inf
    shape = shapely.union_all([shapely.make_valid(shapely.Polygon(p.outside)) for p in boundary.polygons])
    shapely.prepare(shape)
    inside = float(shapely.contains_xy(shape, x[good], y[good]).sum()) / len(lonlat)
    apart = 0.0 if inside > 0 else float(shapely.distance(shape, shapely.points(x[good], y[good])).min())
    return inside, apart


def place_lines(place: TrailPlace, names: dict[str, str]) -> tuple[str, ...]:
    """What to know and do about a log that was not driven in the field of its job; nothing where it was.

    Parameters
    ----------
    place : TrailPlace
        Where it lies. [-]
    names : dict
        What jobs are called, by key. [text]
    """
    if not place.elsewhere:
        return ()
    away = ""
    if place.apart_m is not None and math.isfinite(place.apart_m) and place.apart_m > 0:
        away = f"; the nearest is {_far(place.apart_m)} from its outline"
    first = f"This log was not driven in {place.field}, the field of its job: {_percent(place.share)} of its rows at work lie in it{away}."
    if not place.others:
        return (
            first,
            "It lies in no field of this book.",
            f"If the outline of {place.field} is wrong, read the right one in on The machine. If the field is new, read its outline and "
            "make a job for it. If the log is somebody else's, set it aside below.",
        )
    where = "; ".join(f"{_percent(o.share)} in {o.name}" for o in place.others)
    jobs = [names.get(j, j) for o in place.others for j in o.jobs]
    todo = f"Give it to {_either(jobs)}." if jobs else f"There is no job for {place.others[0].name} yet: make one, then give the log to it."
    return first, f"It lies elsewhere: {where}.", todo


def _percent(share: float | None) -> str:
    return "none" if not share else f"{100 * share:.0f} %"


def _far(metres: float) -> str:
    return f"{metres / 1000:.0f} km" if metres >= 10_000 else f"{metres / 1000:.1f} km" if metres >= 1000 else f"{metres:.0f} m"


def _either(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def give_trail(book: Book, key: str, job: str) -> TrailRecord:
    """Give a kept log to another job, or to none; its rows, its file and its history stay.

    Parameters
    ----------
    book : Book
        Open for writing. [-]
    key : str
        Of the log. [-]
    job : str
        Whose log it is; "" sets it aside. [-]

    Raises
    ------
    MissingError
        If there is no such log or job.
    """
    from evenstand.book import TrailRecord

    record = book.get(TrailRecord, key)
    if record is None:
        raise MissingError(f"no trail '{key}'", where="trail", cure="Choose one on After the field.")
    found = book.get(Job, job) if job else None
    if job and found is None:
        raise MissingError(f"no job '{job}'", where="job", cure=f"Jobs: {', '.join(j.key for j in book.all(Job)) or 'none yet'}.")
    outfit = found.outfit if found is not None and book.get(Outfit, found.outfit) is not None else record.outfit
    moved = replace(record, job=job, outfit=outfit)
    with book.batch(f"log {record.name or key} given to {job or 'no job'}"):
        book.put(moved)
    return moved
