"""The field record: what was sown where and when, as the log tells it, with pass strips first and a map to find the place."""

from __future__ import annotations

from typing import Any

from evenstand.base.units import Profile, shown
from evenstand.desk.trail_lines import FaultLine, fault_lines, odd_lines, other_notes
from evenstand.desk.trail_parts import MOST_ROWS, bin_rows, part_rows, repeat_lines, time_rows, turn_lines
from evenstand.desk.trails import FieldRecord
from evenstand.drawing import paper_svg, place_rows, trail_map
from evenstand.drawing.trails import strips_in_parts
from evenstand.paper.typesetting import PaperSize, default_paper, typeset
from evenstand.trail import PassException, PassFacts
from evenstand.trail.outlines import located, map_facts

STRIPS_A_PART = 6
MOST_PLACES = 10
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
    return typeset("field_record", data, paper=paper or default_paper(profile))[0]


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
    strips = strips_in_parts(passes, STRIPS_A_PART, profile=profile, name=record.field or record.name)
    odd = [(p, others) for p in passes if (others := tuple(e for e in p.exceptions if e.kind != "run-dead"))]  # those are told above
    ground = map_facts(record.trail, record.outfit, record.boundary, passes, record.facts.run_faults)
    plan = trail_map(record.trail, passes, ground, profile=profile, name=record.field or record.name)
    places = record.places
    told = fault_lines(record.facts.faults, record.trail, profile=profile)
    return {
        "head": _head(record, made_at, who),
        "figures": [list(row) for row in _figures(record, profile)],
        "strips": [{"svg": paper_svg(d), "alt": d.description} for d in strips],
        "map": {"svg": paper_svg(plan), "alt": plan.description},
        "patches": [list(row) for row in place_rows(located(ground.patches, record.trail.frame, most=MOST_PLACES), profile)],
        "days": [list(row) for row in part_rows(places.days, profile=profile)] if places else [],
        "zones": [list(row) for row in part_rows(places.zones, profile=profile)] if places else [],
        "products": [list(row) for row in bin_rows(places, record.facts, record.products, profile=profile)] if places else [],
        "place": list(record.notes),
        "found": told.head,
        "faults": [_fault(f) for f in told.found],
        "looked": told.looked,
        "unseen": list(told.unseen),
        "passes": [_pass(p, others, profile) for p, others in odd][:MOST_ROWS],
        "more_passes": max(0, len(odd) - MOST_ROWS),
        "source": SOURCE if record.facts.rates else "",
        "check": _check(record),
        "time": [list(row) for row in time_rows(record.facts, profile=profile)],
        "turns": [*turn_lines(record.turns, profile=profile), *(repeat_lines(places, profile=profile) if places else ())],
        "odd": list(odd_lines(record.trail, record.facts, profile=profile)),
        "notes": list(other_notes((*record.covered.notes, *record.facts.cannot_see, *(places.notes if places else ())))),
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


def _fault(line: FaultLine) -> dict[str, Any]:
    return {"stop": line.stop, "says": line.says, "rows": [list(row) for row in line.rows]}


def _pass(p: PassFacts, others: tuple[PassException, ...], profile: Profile) -> list[str]:
    notes = "; ".join(dict.fromkeys(f"{e.note or e.kind} at {shown(e.from_m, 'distance', profile)}" for e in others[:4]))
    more = f"; and {len(others) - 4} more" if len(others) > 4 else ""
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
