"""How the time of a log was used, what went where, and doses in turns and on ground sown again: lines for page and paper."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from evenstand.base.units import Profile, shown

if TYPE_CHECKING:
    from evenstand.trail import TrailFacts
    from evenstand.trail.doses import TurnDose
    from evenstand.trail.labels import Part
    from evenstand.trail.places import Places

MOST_ROWS = 40
MOST_SPOTS = 3
BY_RULE = "by a stated rule on speed and openers"


def time_rows(facts: TrailFacts, *, profile: Profile = "si") -> list[tuple[str, str, str]]:
    """What, how much, how it is known: time by what was done, area an hour, field efficiency against what was published and planned.

    Parameters
    ----------
    facts : TrailFacts
        Of a log. [-]
    profile : str
        Units to show. [-]
    """
    use = facts.time_use
    parts = [
        ("Sowing", use.sowing_s, BY_RULE),
        ("Turning", use.turning_s, BY_RULE),
        ("Filling", use.filling_s, f"{use.fills} times, known by {use.filling_by}"),
        ("Standing otherwise" if use.fills else "Standing", use.idle_s, f"{use.stops} stops of a minute or more in all"),
        ("Moving", use.moving_s, BY_RULE),
        ("Without rows", use.missing_s, "nothing was recorded"),
    ]
    total = max(use.total_s, 1.0)
    rows = [
        (name, f"{shown(s / 3600, 'time', profile)} ({100 * s / total:.0f} %)", how)
        for name, s, how in parts
        if s >= 1 or name in ("Sowing", "Turning")
    ]
    rate = facts.work_rate
    if rate is None:
        return [*rows, ("Area an hour", "not known", "the tool's width is not known, or nothing was sown")]
    rows.append(("Area an hour at work", shown(rate.at_work_ha_h, "capacity", profile), f"by {rate.area_by}"))
    rows.append(("Area an hour over all", shown(rate.over_all_ha_h, "capacity", profile), f"by {rate.area_by}, first to last row at work"))
    published = f"{100 * rate.published_low:.0f} to {100 * rate.published_high:.0f} %"
    rows.append(("Field efficiency", f"{100 * rate.efficiency:.0f} %", f"{rate.against_published} the published {published}"))
    if rate.plan_low_ha_h is not None and rate.plan_high_ha_h is not None:
        low, high = (shown(v, "capacity", profile) for v in (rate.plan_low_ha_h, rate.plan_high_ha_h))
        rows.append(("Against the plan", rate.against_plan, f"the plan took {low} to {high} over all"))
    return rows


def turn_lines(turns: Sequence[TurnDose], *, profile: Profile = "si") -> list[str]:
    """Bends sown with the openers down, in a sentence; nothing where there were none.

    Parameters
    ----------
    turns : sequence of TurnDose
        Of a log. [-]
    profile : str
        Units to show. [-]
    """
    if not turns:
        return []
    worst = min(turns, key=lambda t: t.radius_m)
    area = shown(sum(t.area_m2 for t in turns) / 1e4, "area", profile)
    inner = "stood still or ran backwards" if worst.inner is None else f"got {100 * (worst.inner - 1):+.0f} %"
    count = "1 bend" if len(turns) == 1 else f"{len(turns)} bends"
    return [
        f"Sown in {count}: {area}. In the tightest, radius {shown(worst.radius_m, 'distance', profile)}, the inner end of the tool {inner} "
        f"and the outer end {100 * (worst.outer - 1):+.0f} %."
    ]


def repeat_lines(places: Places, *, profile: Profile = "si") -> list[str]:
    """Where most ground was sown again and what it got, as the controller reported; nothing where none was.

    Parameters
    ----------
    places : Places
        Of a log. [-]
    profile : str
        Units to show. [-]
    """
    out = []
    for spot in places.spots[:MOST_SPOTS]:
        dose = ", ".join(f"{shown(d, 'rate', profile)} of {b}" for b, d in spot.dose_kg_ha.items())
        times = "twice" if spot.times == 2 else f"up to {spot.times} times"
        got = f": {dose}, as the controller reported" if dose else ""
        out.append(f"{shown(spot.area_m2 / 1e4, 'area', profile)} sown {times} at {spot.lat_deg:.5f}, {spot.lon_deg:.5f}{got}.")
    return out


def part_rows(parts: Sequence[Part], *, profile: Profile = "si") -> list[tuple[str, str, str, str, str]]:
    """A row each: name, ground first sown, sown again, not sown, kilograms by bin.

    Parameters
    ----------
    parts : sequence of Part
        Days, zones or parts of a field. [-]
    profile : str
        Units to show. [-]
    """
    return [
        (
            p.name,
            shown(p.covered_m2 / 1e4, "area", profile),
            shown(p.repeat_m2 / 1e4, "area", profile),
            "–" if p.skipped_m2 is None else shown(p.skipped_m2 / 1e4, "area", profile),
            "; ".join(f"{b} {shown(m, 'mass', profile)}" for b, m in p.mass_kg.items()) or "–",
        )
        for p in parts[:MOST_ROWS]
    ]


def bin_rows(
    places: Places, facts: TrailFacts, products: dict[str, str], *, profile: Profile = "si"
) -> list[tuple[str, str, str, str, str, str]]:
    """A row for each bin: letter, product, ground, kilograms, mean asked and reported.

    Parameters
    ----------
    places : Places
        Of a log. [-]
    facts : TrailFacts
        Of the same log. [-]
    products : dict
        Name by bin letter. [-]
    profile : str
        Units to show. [-]
    """
    rates = {r.bin: r for r in facts.rates}
    return [
        (
            p.name,
            products.get(p.name, "not known"),
            shown(p.covered_m2 / 1e4, "area", profile),
            shown(sum(p.mass_kg.values()), "mass", profile),
            shown(rates[p.name].asked_kg_ha if p.name in rates else None, "rate", profile),
            shown(rates[p.name].reported_kg_ha if p.name in rates else None, "rate", profile),
        )
        for p in places.bins
    ]
