"""What all commands share: options, printing, JSON."""

from __future__ import annotations

import dataclasses
import json
import math
import sys
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, TypeVar

import click

from evenstand.base.units import PROFILES, Profile, check_profile

if TYPE_CHECKING:
    from evenstand.book import Book
    from evenstand.model import CardLine

NO_JOB = "The book has no job yet. Make one on the site: evenstand serve FOLDER."
F = TypeVar("F", bound=Callable[..., Any])


def shared_options(function: F) -> F:
    """`--json` and `--units PROFILE`, the same on every command."""
    function = click.option("--units", "profile", type=click.Choice(PROFILES), help="Units shown and read; those of the book, else si.")(
        function
    )
    return click.option("--json", "as_json", is_flag=True, help="Print JSON (schemas in docs/schemas).")(function)


def book_option(function: F) -> F:
    """`--book FOLDER`."""
    return click.option("--book", "folder", type=click.Path(), envvar="EVENSTAND_BOOK", help="Folder of the book.")(function)


_in_force: list[Profile] = []  # the units of the command that runs, for the words of an error


def units_of(profile: str | None, folder: str | None = None) -> Profile:
    """The units asked for, else those of the book, else si."""
    found: Profile = check_profile(profile) if profile else "si"
    if not profile and folder:
        from evenstand.desk.books import open_book

        with open_book(folder) as book:
            found = check_profile(book.profile)
    _in_force[:] = [found]
    return found


def units_in_force() -> Profile:
    """The units the running command was asked for; si before it has looked."""
    return _in_force[0] if _in_force else "si"


def job_of(book: Book, job: str) -> str:
    """The job named, or the only one the book has.

    Raises
    ------
    MissingError
        Listing the jobs there are.
    """
    from evenstand.base.errors import MissingError
    from evenstand.model import Job

    jobs = sorted(j.key for j in book.all(Job))
    if job in jobs or (len(jobs) == 1 and not job):
        return job or jobs[0]
    what = f"no job '{job}'" if job else "which job is meant is not said"
    raise MissingError(what, where="--job", cure=f"Jobs in this book: {', '.join(jobs)}." if jobs else NO_JOB)


def plain(value: Any) -> Any:
    """Dataclasses, arrays, tuples and not-a-number as plain JSON data; not-a-number becomes null."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple | set):
        return [plain(v) for v in value]
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def card_json(lines: Iterable[CardLine]) -> list[dict[str, Any]]:
    """Lines of the card as plain data, each with the metric unit of its numbers."""
    return [{**plain(line), "unit": line.unit} for line in lines]


def print_json(value: Any) -> None:
    """One JSON document on standard output."""
    click.echo(json.dumps(plain(value), ensure_ascii=False, indent=2))


def on_terminal() -> bool:
    """Whether standard output is a terminal (progress and colour only there)."""
    return sys.stdout.isatty()


def columns(rows: list[tuple[str, ...]], *, indent: str = "  ", gap: int = 2) -> list[str]:
    """Rows as aligned text columns; the last column is not padded."""
    if not rows:
        return []
    widths = [max(len(r[i]) for r in rows) for i in range(len(rows[0]) - 1)]
    return [(indent + "".join(cell.ljust(w + gap) for cell, w in zip(r[:-1], widths, strict=True)) + r[-1]).rstrip() for r in rows]


def wrapped(text: str, *, indent: str = "  ", width: int = 92, bullet: str = "") -> str:
    """A paragraph wrapped for a terminal; a bullet hangs before its first line."""
    import textwrap

    return textwrap.fill(text, width=width, initial_indent=indent + bullet, subsequent_indent=indent + " " * len(bullet))
