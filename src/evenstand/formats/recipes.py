"""A recipe remembers what the columns of a kind of log are; a proposal is what a file is taken for, and what it must be asked."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from evenstand.base.errors import ColumnError, Fault, FileError
from evenstand.formats.angles import is_writing
from evenstand.formats.columns import PART_ROLES, ROLES, ColumnGuess, ColumnUse, Question, use_from, valid_unit

VERSION = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """How to read one kind of log.

    name: what its owner calls it; columns: what each is; crs: of the positions, "" for degrees on WGS 84; zone: offset from UTC of times
    without one ("-06:00", "" unknown); start: ISO time a log in seconds begins ("" unknown); time_form: "" finds it, or a strptime
    form; decimal: "." or ",", "" finds it.
    """

    name: str
    columns: tuple[ColumnUse, ...]
    crs: str = ""
    zone: str = ""
    start: str = ""
    time_form: str = ""
    decimal: str = ""

    def to_dict(self) -> dict[str, Any]:
        """The recipe as plain data; empty parts left out."""
        head = {k: getattr(self, k) for k in ("name", "crs", "zone", "start", "time_form", "decimal") if getattr(self, k)}
        rows = [
            {k: v for k, v in (("name", c.name), ("role", c.role), ("unit", c.unit), ("bin", c.bin), ("number", c.number)) if v}
            for c in self.columns
        ]
        return {"evenstand_recipe": VERSION, **head, "column": rows}

    def to_toml(self) -> str:
        """The recipe as TOML."""
        data = self.to_dict()
        lines = [f"{k} = {json.dumps(v, ensure_ascii=False)}" for k, v in data.items() if k != "column"]
        for row in data["column"]:
            lines += ["", "[[column]]", *(f"{k} = {json.dumps(v, ensure_ascii=False)}" for k, v in row.items())]
        return "\n".join(lines) + "\n"

    def save(self, path: str | Path) -> None:
        """Write it as TOML, or as JSON if the name ends so."""
        path = Path(path)
        text = json.dumps(self.to_dict(), ensure_ascii=False, indent=2) + "\n" if path.suffix.lower() == ".json" else self.to_toml()
        path.write_text(text, encoding="utf-8")

    def use(self, *roles: str) -> tuple[ColumnUse, ...]:
        """Its columns of these roles, in order."""
        return tuple(c for c in self.columns if c.role in roles)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """What a file is taken for, column by column, with what must be asked. The recipe holds only what is sure or likely."""

    file: str
    rows: int
    encoding: str
    delimiter: str
    decimal: str
    header_line: int
    columns: tuple[ColumnGuess, ...]
    questions: tuple[Question, ...]
    recipe: Recipe
    notes: tuple[str, ...] = field(default=())

    @property
    def ready(self) -> bool:
        """Whether the file can be read without an answer."""
        return not any(q.blocking for q in self.questions)


def load_recipe(path: str | Path) -> Recipe:
    """A recipe from a TOML or JSON file.

    Raises
    ------
    FileError
        If the file is no recipe of this version.
    ColumnError
        If a column has a role or unit we do not know; all such columns are named.
    """
    import tomllib

    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8")
        data = json.loads(text) if path.suffix.lower() == ".json" else tomllib.loads(text)
    except OSError as error:
        raise FileError(f"the recipe cannot be read ({error.strerror})", where=str(path), cure="Check the name.") from error
    except ValueError as error:
        raise FileError(
            f"this is no recipe ({error})", where=path.name, cure="Save one with `evenstand trail read --save-recipe`."
        ) from error
    return recipe_from(data, path.name)


def recipe_from(data: dict[str, Any], where: str = "recipe") -> Recipe:
    """A recipe from plain data; see `load_recipe`."""
    if data.get("evenstand_recipe") != VERSION:
        raise FileError(
            f"the recipe's version is {data.get('evenstand_recipe')!r}",
            where=where,
            limit=f"version {VERSION}",
            cure="Save it again from a file.",
        )
    faults = [fault for row in data.get("column", ()) if (fault := _fault(row, where))]
    if faults:
        raise ColumnError(faults)
    parts = {k: str(data.get(k, "")) for k in ("name", "crs", "zone", "start", "time_form", "decimal")}
    return Recipe(columns=tuple(use_from(row) for row in data.get("column", ())), **parts)


def _fault(row: dict[str, Any], where: str) -> Fault | None:
    name, role = row.get("name"), row.get("role")
    if not name or not role:
        return Fault(where=where, what="a column without name or role", cure="Give both.")
    if role not in ROLES and role not in PART_ROLES:
        return Fault(where=f"{where}, column {name}", what=f"'{role}' is no role", cure=f"Use one of {', '.join(ROLES)}.")
    if role in ("lat", "lon") and not is_writing(role, str(row.get("unit", ""))):
        side = "south" if role == "lat" else "west"
        ways = f"deg, e7, ddmm or dms, with ' {side}' behind it where the numbers carry no sign"
        return Fault(where=f"{where}, column {name}", what=f"'{row['unit']}' is no way to write degrees", cure=f"Use {ways}.")
    if (
        role not in ("lon", "lat", "east", "north", "time", "extra", "ignore")
        and row.get("unit")
        and not valid_unit(role, str(row["unit"]))
    ):
        return Fault(where=f"{where}, column {name}", what=f"'{row['unit']}' is no unit of {ROLES[role]}", cure="Correct the unit.")
    return None
