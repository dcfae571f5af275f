"""Column types that a GeoPackage allows. SQLAlchemy's `String` and `Float` are not among them and are never used.

`String` would become VARCHAR, which GIS programs drop without a word; `Float` would come back as single precision.
The geometry types are made known to SQLAlchemy's reflection, because a copy-table change would otherwise turn a
geometry column into NUMERIC and break the file.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import types
from sqlalchemy.dialects.sqlite import base as sqlite_base

from evenstand.base.clock import iso
from evenstand.base.errors import InputError

ALLOWED = frozenset(
    {"TEXT", "DOUBLE", "INTEGER", "MEDIUMINT", "BOOLEAN", "DATETIME", "BLOB", "POINT", "LINESTRING", "POLYGON", "MULTIPOLYGON"}
)


class Geometry(types.UserDefinedType[bytes]):
    """A geometry column, declared by its kind. Values are GeoPackage blobs: header, envelope and WKB."""

    cache_ok = True
    kind = "GEOMETRY"

    def get_col_spec(self, **_: Any) -> str:
        """The declared type of the column."""
        return self.kind


class PointColumn(Geometry):
    """POINT."""

    cache_ok = True
    kind = "POINT"


class LineColumn(Geometry):
    """LINESTRING."""

    cache_ok = True
    kind = "LINESTRING"


class PolygonColumn(Geometry):
    """POLYGON."""

    cache_ok = True
    kind = "POLYGON"


class MultiPolygonColumn(Geometry):
    """MULTIPOLYGON."""

    cache_ok = True
    kind = "MULTIPOLYGON"


class Moment(types.UserDefinedType[str]):
    """A moment as DATETIME text in UTC with milliseconds and Z; "" in the model is NULL in the book."""

    cache_ok = True

    def get_col_spec(self, **_: Any) -> str:
        """The declared type of the column."""
        return "DATETIME"


for _kind in (PointColumn, LineColumn, PolygonColumn, MultiPolygonColumn):
    sqlite_base.ischema_names[_kind.kind] = _kind


def moment(text: str, *, where: str = "at") -> str:
    """A written time as the book keeps it, e.g. 2027-05-04T11:20:00.000Z.

    Parameters
    ----------
    text : str
        ISO 8601. Without a zone the local time of this machine is meant. [-]
    where : str
        Named in the error. [-]

    Raises
    ------
    InputError
        If the text is no time.
    """
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(f"'{text}' is no time", where=where, cure="Write it as 2027-05-04T11:20:00Z.") from None
    return iso(at.astimezone(UTC))
