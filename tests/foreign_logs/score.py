"""Score the reader on a folder of foreign logs: `python -m tests.foreign_logs.score [FOLDER]`; without one, EVENSTAND_FOREIGN_LOGS or this folder.

Beside each log lies NAME.toml with `log` (the file), `rows` (true records), `not_rows` (lines that are none), `open` (what the file cannot
say), `crs`, `[answers]` (zone, crs, start, date_order, what a person would answer), `[[column]]` (name, role or the roles that are right,
and where they matter unit, bin, number; bin "any": whichever; must_ask: the file cannot tell it, so a confident answer is wrong; told: what a person would answer, role
and unit) and
`[[point]]` (row, utc, lon, lat, speed_m_s, in_work: what was true there).

A column is *settled* if it was sure or likely and is right, *open* if it was unsure, *wrong* if it was sure or likely and is not, *missed*
if it was put aside as an extra though it is something we use.
"""

from __future__ import annotations

import os
import sys
import tomllib
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
UNITS = {
    "us-ft": ("ft", "us-ft", ""), "deg e7": ("e7",), "1/s": ("turns/s",), "kn": ("kn", "knots"), "ddmm.m": ("ddmm",), "deg min": ("dms",), "m": ("m", ""),
    "deg": ("deg", ""), "turns": ("turns", ""),
}  # fmt: skip
UNIT_COUNTS = ("speed", "step", "distance", "area", "asked", "echoed", "fan", "mass_rate", "interval", "lat", "lon")
ANSWERED = {"kn": "kn", "1/s": "turns/s"}


@dataclass(frozen=True)
class Score:
    """One log: names of columns by how they came out."""

    log: str
    settled: list[str] = field(default_factory=list)
    open: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)
    extras: int = 0

    @property
    def columns(self) -> int:
        return len(self.settled) + len(self.open) + len(self.wrong) + len(self.missed)


def folder() -> Path:
    """Where the logs lie."""
    return Path(os.environ.get("EVENSTAND_FOREIGN_LOGS") or HERE)


def truths(place: Path) -> list[tuple[Path, dict[str, Any]]]:
    """Every log of a folder with its truth."""
    found = [(p, tomllib.loads(p.read_text(encoding="utf-8"))) for p in sorted(place.glob("*.toml"))]
    return [(place / t["log"], t) for _, t in found if "log" in t]


def roles_of(column: dict[str, Any]) -> list[str]:
    """The roles that are right for a column."""
    return column["role"] if isinstance(column["role"], list) else [column["role"]]


def as_letter(mark: str) -> str:
    """A bin as the package writes it."""
    return chr(64 + int(mark)) if mark.isdigit() else mark.upper()


def is_right(column: dict[str, Any], use: Any) -> bool:
    """Whether what a column was taken for is what it is."""
    roles = roles_of(column)
    role = "time" if use.role == "clock" and "time" in roles else use.role
    if role in ("ignore", "hemisphere") and "extra" in roles:
        return True
    if role == "time" and "clock" in roles:
        role = "clock"
    if role not in roles or column.get("must_ask"):
        return False
    if role in UNIT_COUNTS and "unit" in column and use.unit not in UNITS.get(column["unit"], (column["unit"],)):
        return False
    if "bin" in column and column["bin"] != "any" and use.bin != as_letter(column["bin"]):
        return False
    return "number" not in column or use.number == column["number"]


def score(path: Path, truth: dict[str, Any]) -> Score:
    """How the columns of one log come out."""
    from evenstand.formats.opening import propose_columns

    proposal = propose_columns(path)
    assert proposal is not None
    guesses = {g.use.name: g for g in proposal.columns}
    out = Score(log=path.name, extras=sum("extra" in roles_of(c) for c in truth["column"]))
    for column in truth["column"]:
        guess = guesses.get(column["name"])
        if guess is None:
            out.missed.append(column["name"])
        elif guess.sure == "unsure":
            out.open.append(column["name"])
        elif is_right(column, guess.use):
            out.settled.append(column["name"])
        elif guess.use.role in ("extra", "ignore"):
            out.missed.append(column["name"])
        else:
            out.wrong.append(f"{column['name']} as {guess.use.role} {guess.use.unit} {guess.use.bin}{guess.use.number or ''}".rstrip())
    return out


def answered(path: Path, truth: dict[str, Any]) -> dict[str, Any]:
    """What a person would answer: zone, crs, start, and a recipe with the open columns named."""
    from evenstand.formats.columns import ColumnUse
    from evenstand.formats.opening import propose_columns

    answers = truth.get("answers", {})
    told = {k: v for k, v in answers.items() if k in ("zone", "crs", "start")}
    proposal = propose_columns(path, **told)
    assert proposal is not None
    columns = {c.name: c for c in proposal.recipe.columns}
    for guess in proposal.columns:
        column = next((c for c in truth["column"] if c["name"] == guess.use.name), None)
        if column is not None and "told" in column:
            role, _, unit = column["told"].partition(" ")
            columns[guess.use.name] = ColumnUse(name=guess.use.name, role=role, unit=unit)
            continue
        if guess.sure != "unsure" or column is None:
            continue
        role = guess.use.role if guess.use.role in roles_of(column) or guess.use.role == "time" else roles_of(column)[0]
        unit = (
            guess.use.unit
            if role in ("time", "clock", "date", "lat", "lon", "sections")
            else ANSWERED.get(column.get("unit", ""), column.get("unit", ""))
        )
        unit = "" if role in ("east", "north", "section", "heading") else unit
        bin_ = guess.use.bin or (as_letter(column["bin"]) if column.get("bin", "any") != "any" else "A" if "bin" in column else "")
        columns[guess.use.name] = ColumnUse(name=guess.use.name, role=role, unit=unit, bin=bin_, number=column.get("number", 0))
    order = [g.use.name for g in proposal.columns if g.use.name in columns]
    first = {"dmy": "%d", "mdy": "%m", "ymd": "%y"}.get(answers.get("date_order", ""), "?")
    forms = [o for q in proposal.questions if q.kind == "time" for o in q.options if o.lower().startswith(first)]
    recipe = replace(proposal.recipe, columns=tuple(columns[n] for n in order), time_form=forms[0] if forms else proposal.recipe.time_form)
    return {**told, "recipe": recipe}


def report(place: Path) -> str:
    """The table of a folder."""
    rows = [score(path, truth) for path, truth in truths(place)]
    lines = [f"{'log':24} {'columns':>7} {'settled':>7} {'open':>5} {'missed':>6} {'wrong':>5}   open, missed! and wrong!! columns"]
    for r in rows:
        names = ", ".join([*r.open, *(f"{n}!" for n in r.missed), *(f"{n}!!" for n in r.wrong)])
        lines.append(f"{r.log:24} {r.columns:7} {len(r.settled):7} {len(r.open):5} {len(r.missed):6} {len(r.wrong):5}   {names}")
    n, s, o, m, w = (
        sum(v) for v in zip(*((r.columns, len(r.settled), len(r.open), len(r.missed), len(r.wrong)) for r in rows), strict=True)
    )
    lines.append(f"{'all':24} {n:7} {s:7} {o:5} {m:6} {w:5}   {100 * s / n:.1f} % settled without a question")
    return "\n".join(lines)


if __name__ == "__main__":
    print(report(Path(sys.argv[1]) if len(sys.argv) > 1 else folder()))
