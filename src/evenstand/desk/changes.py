"""History in words: what was changed, from what to what, as a person at the machine says it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from evenstand.base.units import Profile, shown

if TYPE_CHECKING:
    from evenstand.book import Book, Entry

_FIELDS: Mapping[tuple[str, str], tuple[str, str]] = {
    ("outfits", "widths_true_m"): ("true width, taped", "width"),
    ("outfits", "widths_rate_m"): ("width typed for the rate", "width"),
    ("outfits", "widths_guidance_m"): ("width typed for guidance", "width"),
    ("outfits", "rows"): ("number of openers", "count"),
    ("outfits", "row_spacing_m"): ("row spacing", "spacing"),
    ("outfits", "speed_m_s"): ("working speed", "speed"),
    ("outfits", "pulse_m"): ("distance per pulse", "pulse"),
    ("outfits", "wheel_m"): ("rolled length of the wheel", "width"),
    ("outfits", "fan_turns_s"): ("proven fan speed", "fan"),
    ("outfits", "stand_in_m_s"): ("stand-in speed", "speed"),
    ("outfits", "speed_source"): ("what feeds the speed", ""),
    ("outfits", "drive"): ("what drives the meters", ""),
    ("outfits", "flag_on_m"): ("flag to first seed", "width"),
    ("outfits", "flag_off_m"): ("flag to last seed", "width"),
    ("outfit_bins", "meter_roller"): ("roller", ""),
    ("outfit_bins", "meter_setting"): ("meter setting", ""),
    ("outfit_bins", "meter_segments"): ("segments", "count"),
    ("outfit_bins", "capacity_m3"): ("brim-full", "volume"),
    ("outfit_bins", "low_light_kg"): ("left when the low-level light comes on", "mass"),
    ("outfit_bins", "stream"): ("stream", ""),
    ("outfit_runs", "shut"): ("shut", ""),
    ("outfit_heads", "caught_kg"): ("caught under the head", "catch"),
    ("jobs", "area_ha"): ("area", "area"),
    ("jobs", "speed_m_s"): ("speed", "speed"),
    ("jobs", "depth_m"): ("depth", "depth"),
    ("jobs", "finish_by"): ("to be finished by", ""),
    ("jobs", "notes"): ("notes", ""),
    ("jobs", "outfit"): ("outfit", ""),
    ("jobs", "field_key"): ("field", ""),
    ("jobs", "variety"): ("variety", ""),
    ("jobs", "target_plants_m2"): ("plants wanted", "stand"),
    ("job_asks", "rate_kg_ha"): ("rate", "rate"),
    ("job_asks", "second_rate_kg_ha"): ("second rate", "rate"),
    ("job_asks", "lot"): ("lot", ""),
    ("job_asks", "product"): ("product", ""),
    ("job_ask_bins", "value"): ("bin", ""),
    ("fills", "put_kg"): ("put in", "mass"),
    ("fills", "area_ha"): ("area counter at the fill", "area"),
    ("readings", "value"): ("value", ""),
    ("lots", "tkw_g"): ("mass of a thousand kernels", "kernel"),
    ("lots", "density_kg_m3"): ("bulk density", "density"),
    ("products", "density_kg_m3"): ("bulk density", "density"),
}
_QUIET = ("_sd", "_basis", "_source")
_READ = {
    "area_counter": ("area counter", "area"),
    "boundary_area": ("area by outline", "area"),
    "put": ("put in", "mass"),
    "level": ("left", "mass"),
    "shown_mass": ("mass shown", "mass"),
    "typed_rate": ("rate in force", "rate"),
    "rate_shown": ("rate shown", "rate"),
    "distance_shown": ("distance counted", "distance"),
    "distance_gnss": ("distance by receiver", "distance"),
    "width_tape": ("width by tape", "width"),
    "fan_shown": ("fan speed", "fan"),
    "delivered": ("delivered", "mass"),
    "left_shown": ("left, by the display", "mass"),
    "entered": ("entered on the display", "mass"),
    "catch_factor": ("caught", "factor"),
    "turns": ("turns", "count"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeLine:
    """One change of one value in words. id: of the change, as undo takes it; kind: of the thing."""

    id: int
    at: str
    who: str
    kind: str
    text: str
    why: str = ""


def change_lines(entries: Iterable[Entry], *, profile: Profile, products: Mapping[str, str] | None = None) -> tuple[ChangeLine, ...]:
    """Entries in words, in their order; what only repeats another entry is left out.

    Parameters
    ----------
    entries : iterable of Entry
        From `Book.history`. [-]
    profile : str
        Units. [-]
    products : mapping or None
        Names of products by key. [-]
    """
    out = []
    for e in entries:
        text = _words(e, profile, products or {})
        if text:
            out.append(ChangeLine(id=e.id, at=e.at, who=e.who, kind=e.kind, text=text, why=e.why))
    return tuple(out)


def _words(e: Entry, profile: Profile, names: Mapping[str, str]) -> str:
    if e.field == "*":
        return _whole(e, profile, names)
    if e.field.endswith(_QUIET):
        return ""
    label, quantity = _FIELDS.get((e.table, e.field), (e.field.replace("_", " "), ""))
    return f"{_place(e, names)}{label}: {_value(e.before, quantity, profile)} → {_value(e.after, quantity, profile)}"


def _place(e: Entry, names: Mapping[str, str]) -> str:
    part = e.row[1] if len(e.row) > 1 else None
    if e.table == "outfit_bins":
        return f"Bin {part}: "
    if e.table == "outfit_runs":
        return f"Run {part}: "
    if e.table == "outfit_heads":
        return f"Head {part}: "
    if e.kind in ("Product", "Lot"):
        return f"{names.get(e.key, e.key)}: "
    return ""


def _value(value: Any, quantity: str, profile: Profile) -> str:
    if value is None or value == "":
        return "not known"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if quantity and isinstance(value, int | float):
        return shown(float(value), quantity, profile)
    return f"{value:g}" if isinstance(value, float) else str(value)


def _whole(e: Entry, profile: Profile, names: Mapping[str, str]) -> str:
    """A row that came or went."""
    row: Mapping[str, Any] = e.after if e.after is not None else e.before
    gone = e.after is None
    told = {"meter_factors": _factor, "fills": _fill, "readings": _reading, "trails": _trail, "catch_tests": _catch}.get(e.table)
    text = told(row, profile, names) if told is not None else ""
    if not text and e.table in ("jobs", "outfits", "lots", "products", "fields", "proofs", "loads"):
        text = f"{e.kind} {row.get('name') or row.get('label') or e.key}"
    return f"{text} {'taken out' if gone else 'new'}".replace("  ", " ") if text and (gone or told is None) else text


def _factor(row: Mapping[str, Any], profile: Profile, names: Mapping[str, str]) -> str:
    product = names.get(row["product"], row["product"])
    return f"Bin {row['bin']}: product per turn of {product} {shown(row['kg_turn'], 'factor', profile)} ({row['how'] or 'typed'})"


def _fill(row: Mapping[str, Any], profile: Profile, names: Mapping[str, str]) -> str:
    return f"Bin {row['bin']}: {shown(row['put_kg'], 'mass', profile)} of {names.get(row['product'], row['product'])} put in"


def _reading(row: Mapping[str, Any], profile: Profile, names: Mapping[str, str]) -> str:
    kind, _, b = str(row["quantity"]).partition(":")
    label, quantity = _READ.get(kind, (kind.replace("_", " "), ""))
    return f"{f'Bin {b}: ' if b else ''}{label} {_value(row['value'], quantity, profile)} read"


def _trail(row: Mapping[str, Any], profile: Profile, names: Mapping[str, str]) -> str:
    return f"A log was read: {row['name'] or row['key']}"


def _catch(row: Mapping[str, Any], profile: Profile, names: Mapping[str, str]) -> str:
    return f"Bin {row['bin']}: catch test" + (f", {shown(row['factor'], 'factor', profile)}" if row.get("factor") else "")


def changes_of(book: Book, job: str, outfit: str) -> Sequence[Entry]:
    """History of what a job rests on: itself, its outfit, factors of the outfit, its lots. Fills and readings are not among them.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    job, outfit : str
        Their keys. [-]
    """
    mine = []
    for e in book.history():
        if (e.kind == "Job" and e.key == job) or (e.kind == "Outfit" and e.key == outfit) or e.kind in ("Lot", "Product"):
            mine.append(e)
        elif e.kind in ("MeterFactor", "CatchRecord"):
            row = e.after if isinstance(e.after, dict) else e.before if isinstance(e.before, dict) else {}
            if row.get("outfit", outfit) == outfit:
                mine.append(e)
    return mine
