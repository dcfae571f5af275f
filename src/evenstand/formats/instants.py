"""Times as text to milliseconds, a million at a time."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import polars as pl

_SPLIT = re.compile(r"^(.*%S)%\.f(Z?)$")
_MOST_DIGITS = 9


def milliseconds(text: pl.Series, form: str) -> pl.Series:
    """Times of a form as whole milliseconds; nothing where a cell is no such time.

    Parts of seconds are slow to read together with the date and the clock. Where the first cell shows how many digits they have, they are
    read apart; cells that differ from it in any way are read as a whole.

    Parameters
    ----------
    text : Series of String
        The cells. [-]
    form : str
        As for strptime, with %.f for parts of seconds. [-]

    Returns
    -------
    Series of Int64
        Since 1970 in the form's own zone. [ms]
    """
    import polars as pl

    ms = _apart(text, form)
    if ms is None:
        return _whole(text, form)
    rest = (ms.is_null() & text.is_not_null()).arg_true()
    return ms if rest.is_empty() else ms.scatter(rest, _whole(text.gather(rest), form)).cast(pl.Int64)


def _whole(text: pl.Series, form: str) -> pl.Series:
    import polars as pl

    plain = text if "," in form else text.str.replace(",", ".", literal=True)
    return plain.str.to_datetime(form, time_unit="ms", strict=False).cast(pl.Int64)


def _apart(text: pl.Series, form: str) -> pl.Series | None:
    """Date and clock, and the digits after the point, each by itself; None where the first cell does not look so."""
    import polars as pl

    parts, first = _SPLIT.match(form), next(iter(text.drop_nulls().head(1)), "")
    cell = parts and re.fullmatch(rf"(.{{8,}})\.(\d{{1,{_MOST_DIGITS}}}){parts[2]}", first)
    if not parts or not cell or not cell[1].isascii():
        return None
    at, digits = len(cell[1]), len(cell[2])
    like = (text.str.len_bytes() == len(first)) & (text.str.slice(at, 1) == ".") & (text.str.slice(at + 1 + digits) == parts[2])
    part = text.str.slice(at + 1, digits)
    whole = text.str.slice(0, at).str.to_datetime(parts[1], time_unit="ms", strict=False).cast(pl.Int64)
    after = part.cast(pl.UInt32, strict=False).cast(pl.Int64) * 10 ** (_MOST_DIGITS - digits) // 1_000_000
    found: pl.Series = (whole + after).zip_with(like & ~part.str.starts_with("+"), pl.Series([None], dtype=pl.Int64))
    return found
