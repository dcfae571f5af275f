"""How things are called on a page: days and moments, jobs, causes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING

from evenstand.model import Boundary, Job

if TYPE_CHECKING:
    from evenstand.book import Book

MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December")


def day(text: str) -> str:
    """'2027-05-15' as '15 May 2027'; what is no date stays as it is."""
    try:
        found = date.fromisoformat(text[:10])
    except ValueError:
        return text
    return f"{found.day} {MONTHS[found.month - 1]} {found.year}"


def moment(text: str) -> str:
    """An ISO moment as '15 May 2027, 18:27' by this machine's clock; what is no moment stays as it is."""
    try:
        at = datetime.fromisoformat(text.replace("Z", "+00:00"))
    except ValueError:
        return text
    here = at.astimezone() if at.tzinfo is not None else at
    return f"{day(here.date().isoformat())}, {here:%H:%M}"


def job_name(job: Job, fields: dict[str, Boundary]) -> str:
    """'Wheat, Home quarter'."""
    where = fields[job.field_key].name if job.field_key in fields else job.field_key or "no outline yet"
    return f"{job.crop[:1].upper()}{job.crop[1:]}, {where}"


def job_names(book: Book) -> dict[str, str]:
    """What every job of the book is called, by key."""
    fields = {b.key: b for b in book.all(Boundary)}
    return {j.key: job_name(j, fields) for j in book.all(Job)}


def job_choices(book: Book) -> tuple[tuple[str, str], ...]:
    """All jobs for a list to choose from: the one last filled for on top, then those to be finished first."""
    from evenstand.model import Fill

    names = job_names(book)
    filled: dict[str, str] = {}
    for fill in book.all(Fill):
        filled[fill.job] = max(filled.get(fill.job, ""), fill.at)
    order = sorted(book.all(Job), key=lambda j: (j.finish_by or "9999", j.key))
    order.sort(key=lambda j: filled.get(j.key, ""), reverse=True)
    return tuple((j.key, names[j.key]) for j in order)


def cause(name: str) -> str:
    """'factor:A' in words."""
    from evenstand.base.errors import EvenstandError
    from evenstand.check.causes import described

    try:
        return described(name)
    except (EvenstandError, KeyError, ValueError):
        return name.replace(":", " ")


def causes(names: Iterable[str]) -> str:
    """Causes that the readings cannot tell apart, in words."""
    return ", or ".join(cause(n) for n in names)


def numbers(values: Sequence[int]) -> str:
    """1, 2, 3, 7 as '1 to 3, 7'."""
    out: list[str] = []
    run: list[int] = []
    for value in [*values, None]:
        if run and value is not None and value == run[-1] + 1:
            run.append(value)
            continue
        if run:
            out += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(v) for v in run]
        run = [] if value is None else [value]
    return ", ".join(out)
