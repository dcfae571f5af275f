"""`evenstand trail report` as data and as text: ground covered, distance, time, rates, faults, passes."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from evenstand.base.units import Profile, shown
from evenstand.cli.common import columns, wrapped
from evenstand.cli.logs import SHOWN_ROWS, sum_text
from evenstand.cli.trailing import check_dict

if TYPE_CHECKING:
    from evenstand.model import Trail
    from evenstand.trail import Coverage, TrailFacts


def report_dict(facts: TrailFacts, covered: Coverage, flat: float | None) -> dict[str, Any]:
    return {
        "coverage": {
            "covered_m2": covered.covered_m2,
            "twice_m2": covered.twice_m2,
            "repeat_m2": covered.repeat_m2,
            "skipped_m2": covered.skipped_m2,
            "outside_m2": covered.outside_m2,
            "strips_m2": covered.strips_m2,
            "switching_m2": covered.switching_m2,
            "flat_ended_m2": flat,
            "bounds_m2": covered.bounds_m2,
            "check": check_dict(covered),
            "width_m": covered.width_m,
            "steps": covered.steps,
            "gaps": covered.gaps,
            "method": covered.method,
            "basis": covered.basis,
            "notes": list(covered.notes),
        },
        "distance": {
            "gnss_m": facts.distance_gnss_m,
            "shown_m": facts.distance_shown_m,
            "ratio": facts.distance_ratio,
            "by": facts.distance_by,
        },
        "speed_m_s": facts.speed_m_s,
        "area_shown_ha": facts.area_shown_ha,
        "mass_shown_kg": facts.mass_shown_kg,
        "turns": facts.turns,
        "rates": facts.rates,
        "row_to_row": facts.row_to_row,
        "passes": facts.passes,
        "time": facts.time_use,
        "work_rate": None
        if facts.work_rate is None
        else {
            **asdict(facts.work_rate),
            "against_published": facts.work_rate.against_published,
            "against_plan": facts.work_rate.against_plan,
        },
        "run_faults": facts.run_faults,
        "faults": [{**asdict(f), "interval": f.interval, "worth": f.worth} for f in facts.faults.found],
        "looked_for": facts.faults.clear,
        "unseen": facts.faults.unseen,
        "cannot_see": list(facts.cannot_see),
    }


def report_text(trail: Trail, facts: TrailFacts, covered: Coverage, units: Profile) -> list[str]:
    out = [sum_text(trail), ""]
    out += columns(_figures(facts, covered, units))
    out += ["", *_time_text(facts, units), ""]
    out += _rates_text(facts, units)
    out += _odd_text(trail, facts, units)
    out += _faults_text(trail, facts, units)
    out += _passes_text(facts, units)
    out += ["", *[wrapped(f"· {note}") for note in _notes(trail, facts, covered)]]
    return out


def _notes(trail: Trail, facts: TrailFacts, covered: Coverage) -> tuple[str, ...]:
    """Notes, each once: a detector that cannot see says so more exactly than the list of absent columns."""
    from evenstand.desk.trail_lines import other_notes, unseen_lines

    return other_notes((*covered.notes, *facts.cannot_see, *unseen_lines(facts.faults), *trail.notes))


def _figures(facts: TrailFacts, covered: Coverage, units: Profile) -> list[tuple[str, ...]]:
    def area(m2: float | None) -> str:
        return shown(None if m2 is None else m2 / 1e4, "area", units)

    rows: list[tuple[str, ...]] = [
        ("covered once or more", area(covered.covered_m2), f"by strips {shown(covered.width_m, 'width', units)} wide; {covered.basis}"),
        ("covered twice or more", area(covered.twice_m2), ""),
        ("repeated", area(covered.repeat_m2), _percent(covered.overlap) + " of the ground covered"),
    ]
    if covered.skipped_m2 is not None:
        rows.append(("skipped inside the field", area(covered.skipped_m2), f"and {area(covered.outside_m2)} sown outside"))
    if covered.switching_m2 > 0:
        rows.append(
            ("switched within a row's step", area(covered.switching_m2), "ground where the log cannot say when a section went on or off")
        )
    if facts.distance_gnss_m is not None:
        rows.append(("driven at work, by positions", shown(facts.distance_gnss_m.value, "distance", units), ""))
    if facts.distance_shown_m is not None and facts.distance_ratio is not None:
        off = 100 * (facts.distance_ratio.value - 1)
        by = "its distance" if facts.distance_by == "step" else "its speed"
        rows.append(
            ("the machine counted", shown(facts.distance_shown_m.value, "distance", units), f"{off:+.2f} % against positions, by {by}")
        )
    if facts.area_shown_ha is not None:
        rows.append(("its area counter grew by", shown(facts.area_shown_ha, "area", units), ""))
    if facts.mass_shown_kg is not None:
        rows.append(("mass shown", shown(facts.mass_shown_kg, "load", units), ""))
    if facts.row_to_row is not None:
        spread = shown(facts.row_to_row.scatter_m, "width", units)
        rows.append(
            ("row to row", shown(facts.row_to_row.distance_m.value, "width", units), f"guidance width, not the tool's; scatter {spread}")
        )
    if facts.speed_m_s is not None:
        rows.append(("mean speed at work", shown(facts.speed_m_s, "speed", units), ""))
    return rows


def _percent(share: float | None) -> str:
    return "not known" if share is None else f"{100 * share:.1f} %"


def _time_text(facts: TrailFacts, units: Profile) -> list[str]:
    """How the time was used, area an hour, field efficiency."""
    from evenstand.desk.trail_parts import time_rows

    return columns([(name.lower(), *rest) for name, *rest in time_rows(facts, profile=units)])


def _rates_text(facts: TrailFacts, units: Profile) -> list[str]:
    if not facts.rates:
        return []
    rows: list[tuple[str, ...]] = [("bin", "asked", "reported", "within 5 %")]
    rows += [
        (r.bin, shown(r.asked_kg_ha, "rate", units), shown(r.reported_kg_ha, "rate", units), _percent(r.near_share)) for r in facts.rates
    ]
    return [
        "  Rates as the controller reported them (an echo of the display, no proof of what was sown):",
        *columns(rows, indent="    "),
        "",
    ]


def _odd_text(trail: Trail, facts: TrailFacts, units: Profile) -> list[str]:
    """What is odd about the log."""
    from evenstand.desk.trail_lines import odd_lines

    lines = odd_lines(trail, facts, profile=units)
    return ["  What is odd about this log:", *(wrapped(line, indent="    ") for line in lines), ""] if lines else []


def _faults_text(trail: Trail, facts: TrailFacts, units: Profile) -> list[str]:
    """What the detectors found, and what they looked for."""
    from evenstand.desk.trail_lines import fault_lines

    told = fault_lines(facts.faults, trail, profile=units)
    out = [f"  {told.head}"]
    for f in told.found:
        out.append(wrapped(f"{'!' if f.stop else '·'} {f.says}"))
        out += [wrapped(f"{label}: {text}", indent="      ") for label, text in f.rows]
    if told.looked:
        out.append(wrapped(told.looked))
    return [*out, ""]


def _passes_text(facts: TrailFacts, units: Profile) -> list[str]:
    odd = [p for p in facts.passes if p.exceptions]
    out = [f"  {len(facts.passes)} passes, {len(odd)} with something to look at"]
    for p in odd[:SHOWN_ROWS]:
        notes = "; ".join(f"{e.note} at {shown(e.from_m, 'distance', units)}" for e in p.exceptions[:4])
        more = f"; and {len(p.exceptions) - 4} more" if len(p.exceptions) > 4 else ""
        out.append(wrapped(f"pass {p.number}, {shown(p.length_m, 'distance', units)}: {notes}{more}", indent="    "))
    if len(odd) > SHOWN_ROWS:
        out.append(f"    ... and {len(odd) - SHOWN_ROWS} more (--json lists all)")
    return out
