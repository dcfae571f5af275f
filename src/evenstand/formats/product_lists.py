"""Lists of products as people keep them: a delimited table with a header, or TOML. Cells come out as text with their place."""

from __future__ import annotations

import csv
import io
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from evenstand.base.errors import ColumnError, Fault, FileError

LARGEST_BYTES = 2_000_000
MOST_ROWS = 5_000


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedProduct:
    """One product of a list. where: file and row, for messages; cells: heading -> text, headings in lower case, empty cells left out."""

    where: str
    cells: dict[str, str]


def read_product_list(path: str | Path) -> tuple[ListedProduct, ...]:
    """Products of a delimited table (heading `product` and others) or of a TOML file (tables `[product.NAME]`).

    Parameters
    ----------
    path : str or Path
        The file; `.toml` is read as TOML, anything else as a table. [-]

    Returns
    -------
    tuple of ListedProduct
        In the file's order. [-]

    Raises
    ------
    FileError
        If it cannot be read as that, is empty or far too large.
    ColumnError
        If a table has no heading `product`, or a heading twice.
    """
    path = Path(path)
    try:
        size = path.stat().st_size
        data = path.read_bytes() if size <= LARGEST_BYTES and path.is_file() else b""
    except OSError as error:
        raise FileError(f"cannot be opened ({error.strerror})", where=str(path), cure="Look at the name.") from None
    if not path.is_file():
        raise FileError("is no file", where=str(path), cure="Name a file.")
    if size > LARGEST_BYTES:
        raise FileError(f"{size / 1e6:.1f} MB is no list of products", where=path.name, limit=f"{LARGEST_BYTES / 1e6:g} MB at most")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise FileError("is no text in UTF-8", where=path.name, cure="Save it as UTF-8.") from None
    if not text.strip():
        raise FileError("is empty", where=path.name, cure="Write a heading and a row for each product.")
    return _toml(path, text) if path.suffix.lower() == ".toml" else _table(path, text)


def _toml(path: Path, text: str) -> tuple[ListedProduct, ...]:
    try:
        found = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FileError(f"is no TOML: {error}", where=path.name, cure="Correct that line.") from None
    tables = found.get("product")
    if not isinstance(tables, dict) or not tables or not all(isinstance(t, dict) for t in tables.values()):
        raise FileError("has no table [product.NAME]", where=path.name, cure='Begin with [product.urea] and price = "610/t".')
    return tuple(ListedProduct(where=f"{path.name}, {name}", cells={"product": name} | _cells(t)) for name, t in tables.items())


def _cells(entry: dict[str, Any]) -> dict[str, str]:
    out: dict[str, str] = {}
    for key, value in entry.items():
        if key == "analysis" and isinstance(value, dict):
            out |= {str(n).lower(): str(v) for n, v in value.items()}
        else:
            out[key.lower()] = "+".join(map(str, value)) if isinstance(value, list) else str(value)
    return {k: v.strip() for k, v in out.items() if v.strip()}


def _table(path: Path, text: str) -> tuple[ListedProduct, ...]:
    first = text.lstrip().splitlines()[0]
    delimiter = max(";\t,", key=first.count)
    rows = [[c.strip() for c in r] for r in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)]
    numbered = [(i, r) for i, r in enumerate(rows, 1) if any(r)]
    heading = [h.lower() for h in numbered[0][1]]
    if "product" not in heading:
        raise ColumnError(f"no heading 'product' in '{first[:60]}'", where=path.name, cure="Name the columns: product, price, grade, ...")
    twice = sorted({h for h in heading if h and heading.count(h) > 1})
    if twice:
        raise ColumnError(f"{', '.join(twice)} stands there twice", where=path.name, cure="Name each column once.")
    if len(numbered) - 1 > MOST_ROWS:
        raise FileError(f"{len(numbered) - 1} rows", where=path.name, limit=f"{MOST_ROWS} at most", cure="Keep those in question.")
    faults, out = [], []
    for line, row in numbered[1:]:
        if len(row) > len(heading) and any(row[len(heading) :]):
            faults.append(Fault(where=f"{path.name}, row {line}", what=f"has {len(row)} cells", limit=f"{len(heading)} headings"))
            continue
        cells = {h: c for h, c in zip(heading, row, strict=False) if h and c}
        out.append(ListedProduct(where=f"{path.name}, row {line}", cells=cells))
    if faults:
        raise FileError(faults)
    if not out:
        raise FileError("has a heading and no product", where=path.name, cure="Write a row for each product.")
    return tuple(out)
