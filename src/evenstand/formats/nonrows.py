"""Lines among the rows that are none: the header again, another header, a line of sums."""

from __future__ import annotations

import csv
from collections.abc import Sequence

from evenstand.base.errors import FileError
from evenstand.formats.layouts import NUMBER
from evenstand.formats.vocabulary import plain

TOTALS = {
    "total", "totals", "sum", "summe", "gesamt", "gesamtsumme", "somme", "totaux", "average", "mean", "mittel", "mittelwert",
    "durchschnitt", "moyenne", "min", "max", "minimum", "maximum",
}  # fmt: skip
SHARE = 0.5
AGAIN = "the header again"
UNITS = "the units under the header again"
SUMS = "a line of sums or means, no row"


def better_reason(reason: str, text: str, header: Sequence[str], delimiter: str, units: Sequence[str] = ()) -> str:
    """Why a row was set aside, said more plainly where its text shows it; `text` may be cut off at its end. [-]

    >>> better_reason("no time in 'a'", "a;b;c", ("a", "b", "c"), ";")
    'the header again'
    >>> better_reason("no time in 'a'", "Summe;;12,5", ("a", "b", "c"), ";")
    'a line of sums or means, no row'
    """
    cells = _cells(text, delimiter)
    if is_header_again(cells, header):
        return AGAIN
    if any(units) and is_header_again([c.strip("[]() ") for c in cells], units):
        return UNITS
    first = next((c for c in cells if c), "")
    if plain(first).strip(" :.") in TOTALS:
        return SUMS
    return reason


def is_header_again(cells: Sequence[str], header: Sequence[str]) -> bool:
    """Whether most cells are the names of the columns they stand in. [-]"""
    return len(cells) > 1 and sum(a == b for a, b in zip(cells, header, strict=False)) >= max(2, SHARE * min(len(cells), len(header)))


def refuse_other_header(text: str, header: Sequence[str], delimiter: str, name: str, line: int) -> None:
    """Raise `FileError` if a line names the same columns in another order: the rows after it would be read wrongly."""
    cells = _cells(text, delimiter)
    moved = sum(c in header and header.index(c) != k for k, c in enumerate(cells) if c)
    words = [c for c in cells if c and not NUMBER.match(c)]
    if len(words) >= SHARE * len(cells) and moved >= max(2, SHARE * len(cells)):
        raise FileError(
            "another header, with the columns in another order", where=f"{name}, line {line}",
            cure="Split the file there, and read its parts one by one.",
        )  # fmt: skip


def _cells(text: str, delimiter: str) -> list[str]:
    try:
        return [c.strip() for c in next(csv.reader([text], delimiter=delimiter), [])]
    except csv.Error:
        return [c.strip() for c in text.split(delimiter)]
