"""The columns of a trail from those of a file: states that hold, counters as steps, bins and runs side by side."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

import numpy as np

from evenstand.formats.columns import ColumnUse
from evenstand.formats.recipes import Recipe
from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import BoolArray

if TYPE_CHECKING:
    from evenstand.formats.cells import Table
    from evenstand.formats.rows import Ledger

SILENT_SHARE = 0.05
STATES = ("section", "run", "work", "lifted")


def fixed(array: Any) -> Any:
    """The array, read-only."""
    array.flags.writeable = False
    return array


def taken(values: FloatArray, rows: IntArray) -> FloatArray:
    """Some rows of an array; the array itself where they are all its rows in their order."""
    whole = rows.size == values.shape[0] and (rows.size == 0 or (rows[0] == 0 and bool((rows[1:] > rows[:-1]).all())))
    return values if whole else values[rows]


def columns_of(
    recipe: Recipe, values: dict[ColumnUse, FloatArray], table: Table, order: IntArray, ledger: Ledger, notes: list[str]
) -> dict[str, Any]:
    """The trail's columns, in time order; absent ones None."""
    ordered = {u: taken(v, order) for u, v in values.items()}
    total = None if any(u.role == "step" for u in values) else next((v for u, v in ordered.items() if u.role == "distance"), None)
    step = None if total is None else _differences(total, notes)
    states = {u: _states(u, v, order, table, ledger, notes) for u, v in ordered.items() if u.role in STATES}
    return assembled(ordered, states, step, _packed(recipe, table, order, ledger))


def assembled(
    values: dict[ColumnUse, FloatArray], states: dict[ColumnUse, BoolArray], step: FloatArray | None, packed: BoolArray | None
) -> dict[str, Any]:
    """A trail's columns from those of a file, all in time order; absent ones None. step: distance from row to row by a counter [m];
    packed: sections written as one text."""

    def single(role: str) -> FloatArray | None:
        found = [v for u, v in values.items() if u.role == role]
        return fixed(found[0]) if found else None

    bins = tuple(dict.fromkeys(u.bin for u in values if u.role in ("turns", "asked", "echoed")))

    def grid(role: str) -> FloatArray | None:
        found = {u.bin: v for u, v in values.items() if u.role == role}
        if not found:
            return None
        none = np.full(next(iter(found.values())).size, np.nan)
        out: FloatArray = fixed(np.column_stack([found.get(b, none) for b in bins]))
        return out

    sections = sorted((u for u in states if u.role == "section"), key=lambda u: u.number)
    present = sorted((u for u in states if u.role == "run"), key=lambda u: u.number)
    lifted = next((s for u, s in states.items() if u.role == "lifted"), None)
    work = next((s for u, s in states.items() if u.role == "work"), None)
    own_step = single("step")
    return {
        "speed_m_s": single("speed"),
        "step_m": own_step if own_step is not None else None if step is None else fixed(step),
        "area_ha": single("area"),
        "fan_turns_s": single("fan"),
        "mass_rate_kg_s": single("mass_rate"),
        "revs": grid("turns"),
        "asked_kg_ha": grid("asked"),
        "echoed_kg_ha": grid("echoed"),
        "sections": fixed(np.column_stack([states[u] for u in sections])) if sections else None if packed is None else fixed(packed),
        "run_present": fixed(np.column_stack([states[u] for u in present])) if present else None,
        "lifted": fixed(lifted) if lifted is not None else fixed(~work) if work is not None else None,
        "bins": bins,
        "runs": tuple(u.number for u in present),
        "extra": {_extra_name(u): fixed(v) for u, v in values.items() if u.role in ("extra", "heading", "interval")},
    }


def _extra_name(use: ColumnUse) -> str:
    return {"heading": "heading_deg", "interval": "interval_s"}.get(use.role, use.name)


def _differences(total: FloatArray, notes: list[str]) -> FloatArray:
    """Steps of a counter; where it restarts the step is not known. [m]"""
    step = np.concatenate([[np.nan], np.diff(total)])
    restart = step < 0
    if restart.any():
        notes.append(restart_note(int(restart.sum())))
        step[restart] = np.nan
    return step


def restart_note(times: int) -> str:
    """What is said of a distance counter that restarts."""
    return f"The distance counter restarts {times} time(s); the step there is left empty."


def silent_note(name: str, rows: int) -> str:
    """What is said of a state column that is empty more often than now and then."""
    return f"'{name}' is empty in {rows} rows: the last known state holds until it changes."


def unread_state(name: str) -> str:
    """Why a state that is no state was repaired."""
    return f"'{name}' is neither on nor off: the last known state is kept"


def empty_state(name: str) -> str:
    """Why an empty state was repaired."""
    return f"'{name}' is empty: the last known state is kept"


def _states(use: ColumnUse, values: FloatArray, order: IntArray, table: Table, ledger: Ledger, notes: list[str]) -> BoolArray:
    """On or off; where a cell is empty the last known state holds, as machines often write changes only."""
    empty = ~np.isfinite(values)
    if empty.any():
        index = np.maximum.accumulate(np.where(empty, -1, np.arange(values.size)))
        first = int(np.flatnonzero(~empty)[0]) if (~empty).any() else 0
        values = np.where(index >= 0, values[np.maximum(index, 0)], values[first])
        unread = np.isin(order, table.bad[use.name])
        ledger.repair(order[unread], unread_state(use.name))
        silent = int((empty & ~unread).sum())
        if silent > SILENT_SHARE * values.size:
            notes.append(silent_note(use.name, silent))
        else:
            ledger.repair(order[empty & ~unread], empty_state(use.name))
    return np.asarray(values > 0.5)


def _packed(recipe: Recipe, table: Table, order: IntArray, ledger: Ledger) -> BoolArray | None:
    """Sections written as one text of ones and zeros, left first."""
    found = recipe.use("sections")
    if not found:
        return None
    use = found[0]
    cells = [table.text[use.name][i] or "" for i in order.tolist()]
    width = Counter(len(c) for c in cells).most_common(1)[0][0]
    out, bad, _ = unpacked(cells, width, "0" * width)
    if bad.any():
        ledger.repair(order[bad], unread_sections(use.name))
    return out


def unpacked(cells: list[str], width: int, last: str) -> tuple[BoolArray, BoolArray, str]:
    """Sections (n,width) of texts of ones and zeros, which texts are none, and the state at the end; `last` is that before the first."""
    bad = np.array([len(c) != width or bool(set(c) - {"0", "1"}) for c in cells])
    out = np.zeros((len(cells), width), dtype=np.bool_)
    for i, cell in enumerate(cells):
        last = last if bad[i] else cell
        out[i] = [c == "1" for c in last]
    return out, bad, last


def unread_sections(name: str) -> str:
    """Why packed sections were repaired."""
    return f"'{name}' is no row of ones and zeros: the last known state is kept"
