"""The field record: what was sown where and when, as the log tells it, with pass strips first and a map to find the place."""

from __future__ import annotations

from typing import Any

from evenstand.base.units import Profile, shown
from evenstand.desk.trails import FieldRecord
from evenstand.drawing import paper_svg, place_rows, strips_of_passes, trail_map
from evenstand.paper.typesetting import PaperSize, typeset
from evenstand.trail.labels import Part
from evenstand.trail.outlines import located, map_facts

STRIPS_A_PAGE = 30
MOST_ROWS = 40
SOURCE = "As the controller reported: kilograms and rates repeat the display and prove nothing about what left the openers."


def record_pdf(record: FieldRecord, *, profile: Profile, made_at: str = "", who: str = "", paper: PaperSize | None = None) -> bytes:
    """The field record as a tagged PDF.

    Parameters
    ----------
    record : FieldRecord
        A log or a job's logs in figures. [metric]
    profile : str
        Units to print. [-]
    made_at : str
        ISO time to print. [UTC]
    who : str
        Who had it made. [-]
    paper : str or None
        'a4' or 'us-letter'; None: what the profile prints on. [-]
    """
    data = record_data(record, profile=profile, made_at=made_at, who=who)
    return typeset("field_record", data, paper=paper or ("a4" if profile == "si" else "us-letter"))[0]


def record_data(record: FieldRecord, *, profile: Profile, made_at: str = "", who: str = "") -> dict[str, Any]:
    """The texts and pictures of a field record.

    Parameters
    ----------
    record : FieldRecord
        A log or a job's logs in figures. [metric]
    profile : str
        Units to print. [-]
    made_at : str
        ISO time to print. [UTC]
    who : str
        Who had it made. [-]

    Returns
    -------
    dict
        For the template `field_record`. [text]
    """
    passes = record.facts.passes
    pages = [passes[i : i + STRIPS_A_PAGE] for i in range(0, len(passes), STRIPS_A_PAGE)]
    strips = [strips_of_passes(p, profile=profile, name=record.field or record.name) for p in pages]
    ground = map_facts(record.trail, record.outfit, record.boundary, passes, record.facts.run_faults)
    plan = trail_map(record.trail, passes, ground, profile=profile, name=record.field or record.name)
    places = record.places
    return {
        "head": _head(record, made_at, who),
        "figures": [list(row) for row in _figures(record, profile)],
        "strips": [{"svg": paper_svg(d), "alt": d.description} for d in strips],
        "map": {"svg": paper_svg(plan), "alt": plan.description},
        "patches": [list(row) for row in place_rows(located(ground.patches, record.trail.frame), profile)],
        "days": _table(places.days if places else (), profile),
        "zones": _table(places.zones if places else (), profile),
        "products": _products(record, profile),
        "faults": [_fault(f, profile) for f in record.facts.run_faults],
        "passes": [_pass(p, profile) for p in passes if p.exceptions][:MOST_ROWS],
        "more_passes": max(0, sum(bool(p.exceptions) for p in passes) - MOST_ROWS),
        "source": SOURCE if record.facts.rates else "",
        "check": _check(record),
        "notes": [*record.covered.notes, *record.facts.cannot_see],
    }


def _head(record: FieldRecord, made_at: str, who: str) -> dict[str, str]:
    made = made_at[:16].replace("T", " ") + " UTC" if made_at else ""
    about = [part for part in (record.field, record.crop, record.season) if part] or [record.name]
    foot = [part for part in (record.farm, f"made {made}" if made else "", f"by {who}" if who else "") if part]
    return {
        "title": "Field record",
        "about": " · ".join(about),
        "outfit": record.outfit.name,
        "foot": " · ".join(foot),
        "mark": f"log {record.trail.file_hash[:8]}" if record.trail.file_hash else "",
        "lang": "en",
    }


def _figures(record: FieldRecord, profile: Profile) -> list[tuple[str, str, str]]:
    """Label, value, how it is known."""
    c, f, t = record.covered, record.facts, record.trail

    def area(m2: float | None) -> str:
        return shown(None if m2 is None else m2 / 1e4, "area", profile)

    width = shown(c.width_m, "width", profile)
    rows = [
        ("Sown at least once", area(c.covered_m2), f"strips {width} wide along the positions; at work by {c.basis}"),
        ("Sown twice or more", area(c.twice_m2), "the same"),
        ("Sown again, every time counted", area(c.repeat_m2), "sum of strips less the ground they cover"),
    ]
    if c.skipped_m2 is not None:
        rows.append(("Not sown inside the outline", area(c.skipped_m2), "outline less what was covered"))
        rows.append(("Sown outside the outline", area(c.outside_m2), "the same"))
    if c.switching_m2 > 0:
        rows.append(("Switched between two rows", area(c.switching_m2), "when a section went on or off there the log cannot say"))
    if f.area_shown_ha is not None:
        rows.append(
            ("Area by the machine's counter", shown(f.area_shown_ha, "area", profile), "repeats the typed width and its own distance")
        )
    if f.distance_gnss_m is not None:
        rows.append(("Driven with openers down", shown(f.distance_gnss_m.value, "distance", profile), "by positions"))
    if f.row_to_row is not None:
        rows.append(("Neighbouring passes apart", shown(f.row_to_row.distance_m.value, "width", profile), "the guidance width"))
    rows.append(("Begun", _moment(f.start_ms), "first row of the log"))
    rows.append(("Ended", _moment(f.end_ms), f"{t.rows} rows: {t.kept} kept, {t.repaired_rows} repaired, {t.set_aside_rows} set aside"))
    return rows


def _moment(t_ms: int) -> str:
    from datetime import UTC, datetime

    return datetime.fromtimestamp(t_ms / 1000, tz=UTC).strftime("%Y-%m-%d %H:%M UTC")


def _table(parts: tuple[Part, ...], profile: Profile) -> list[list[str]]:
    """A row each: name, ground first sown, sown again, not sown, kilograms."""
    return [
        [
            p.name,
            shown(p.covered_m2 / 1e4, "area", profile),
            shown(p.repeat_m2 / 1e4, "area", profile),
            "–" if p.skipped_m2 is None else shown(p.skipped_m2 / 1e4, "area", profile),
            "; ".join(f"{b} {shown(m, 'mass', profile)}" for b, m in p.mass_kg.items()) or "–",
        ]
        for p in parts[:MOST_ROWS]
    ]


def _products(record: FieldRecord, profile: Profile) -> list[list[str]]:
    """A row for each bin: letter, product, ground, kilograms, mean asked and reported."""
    if record.places is None:
        return []
    rates = {r.bin: r for r in record.facts.rates}
    out = []
    for p in record.places.bins:
        rate = rates.get(p.name)
        out.append(
            [
                p.name,
                record.products.get(p.name, "not known"),
                shown(p.covered_m2 / 1e4, "area", profile),
                shown(sum(p.mass_kg.values()), "mass", profile),
                shown(rate.asked_kg_ha if rate else None, "rate", profile),
                shown(rate.reported_kg_ha if rate else None, "rate", profile),
            ]
        )
    return out


def _fault(fault: Any, profile: Profile) -> str:
    what = f"Run {fault.run}" + (f", head {fault.head}," if fault.head else "") if fault.run is not None else f"Head {fault.head}"
    size = f"; {shown(fault.area_ha, 'area', profile)}" if fault.area_ha == fault.area_ha else ""
    until = "to the end" if fault.until_ms is None else "until it came back"
    return f"{what} without flow from pass {fault.since_pass} {until}{size}, against {fault.siblings}."


def _pass(p: Any, profile: Profile) -> list[str]:
    notes = "; ".join(dict.fromkeys(f"{e.note or e.kind} at {shown(e.from_m, 'distance', profile)}" for e in p.exceptions[:4]))
    more = f"; and {len(p.exceptions) - 4} more" if len(p.exceptions) > 4 else ""
    return [str(p.number), shown(p.length_m, "distance", profile), notes + more]


def _check(record: FieldRecord) -> str:
    """How good the areas are as arithmetic, and what that does not say."""
    c = record.covered
    text = f"Areas are exact to {max(c.bounds_m2.values()):.2g} m² for the ground as recorded."
    if c.check is not None:
        apart = max(abs(v) for v in c.check.apart_m2.values())
        word = "agree with" if c.check.agree and c.check.usual else "DO NOT agree with"
        text += f" They {word} the same in cells of {c.check.cell_m:g} m, {apart:.1f} m² apart at most."
    return text + " What positions, width and section times are worth is another matter, and usually far larger."
