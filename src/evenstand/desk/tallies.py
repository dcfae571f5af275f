"""The tally of each bin in a book: what is left, what its meter truly gives, where and when it runs low."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from evenstand.base.errors import EvenstandError
from evenstand.base.estimate import Est
from evenstand.base.units import Profile, restated, rounded, shown, shown_value
from evenstand.desk.in_turn import in_turn_steps
from evenstand.model import BinPlan, Fill, Job, MeterFactor, Outfit, Plan, Product
from evenstand.reference import default
from evenstand.tally import (
    BinPrior,
    BinStep,
    BinTally,
    DrivePlace,
    RunOut,
    field_factor,
    learned_ratio,
    place_at,
    product_ratio,
    run_out,
    run_out_of,
    tally_bin,
)
from evenstand.tally.run_outs import BinUse

if TYPE_CHECKING:
    from evenstand.book import Book

SWEPT_SD_KG = 5.0
"""How well an empty bin is known to be empty. [kg]"""
OPEN_SD = 0.15
"""Spread of a factor about which nothing is believed beforehand: more than lots differ by. [-]"""
UNNAMED = "lot not named"
LIGHT_SD_KG = 10.0
_SEEN = ("low-light", "run-empty", "weighed", "level")
"""How well a low-level light repeats. [kg]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class BinRow:
    """One bin and product over a season.

    outfit, bin, product: as the owner calls them; job: key of the last job; left [kg]; factor: product per turn now, typed: as typed
    [kg/turn]; factors: by lot and setting [kg/turn]; light, rest: mass at the low-level light and when it runs empty [kg]; settling: how
    much more a fresh fill gives [-]; ratio: field over standing, learned for the product [-]; to_light, to_empty: from now on [ha, h];
    place: where on the planned drive it runs empty; looks, chi2, p, worst_z, holds: whether the looks came out as expected; odd: numbers
    that do not fit, in sentences; notes: what is missing; tally: all of it, None where nothing can be told;
    in_turn: it runs before or after another bin of its product.
    """

    outfit: str
    bin: str
    product: str
    job: str
    left: Est | None
    typed: Est | None
    factor: Est | None
    factors: dict[str, Est]
    light: Est | None
    rest: Est | None
    settling: Est | None
    ratio: Est
    to_light: RunOut | None
    to_empty: RunOut | None
    place: DrivePlace | None
    looks: int
    chi2: float | None
    p: float | None
    worst_z: float | None
    holds: bool | None
    odd: tuple[str, ...]
    notes: tuple[str, ...]
    tally: BinTally | None = None
    turns_ha: float | None = None
    in_turn: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductRow:
    """Several bins on one product: where the first of them (together) or the last of them (in turn) runs empty. bins: letters."""

    outfit: str
    product: str
    bins: tuple[str, ...]
    use: str
    left: Est
    to_empty: RunOut


def bin_rows(book: Book) -> tuple[BinRow, ...]:
    """The tally of every bin that was filled, by outfit, bin and product. [kg]

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    """
    fills = book.all(Fill)
    keys = sorted({(f.outfit, f.bin, f.product) for f in fills})
    jobs, plans = {j.key: j for j in book.all(Job)}, dict[str, Plan | None]()
    return tuple(_row(book, key, [f for f in fills if (f.outfit, f.bin, f.product) == key], jobs, plans) for key in keys)


def product_rows(rows: Sequence[BinRow], *, in_turn: Sequence[str] = ()) -> tuple[ProductRow, ...]:
    """Bins of one outfit that carry the same product in the same job, taken together.

    Parameters
    ----------
    rows : sequence of BinRow
        From `bin_rows`. [-]
    in_turn : sequence of str
        Names of products whose bins run one after the other, beside those whose job says so. [-]
    """
    out = []
    for key in dict.fromkeys((r.outfit, r.product, r.job) for r in rows):
        mine = [r for r in rows if (r.outfit, r.product, r.job) == key and r.tally is not None and r.turns_ha is not None]
        if len(mine) < 2:
            continue
        tallies, turns = [r.tally for r in mine if r.tally], [r.turns_ha for r in mine if r.turns_ha]
        one_by_one = key[1] in in_turn or all(r.in_turn for r in mine)
        use: BinUse = "in-turn" if one_by_one else "together"
        try:
            found = run_out_of(tallies, turns, use=use)
        except EvenstandError:
            continue
        left = Est(value=sum(t.left.value for t in tallies), sd=math.sqrt(sum(t.left.sd**2 for t in tallies)), basis="computed")
        out.append(ProductRow(outfit=key[0], product=key[1], bins=tuple(r.bin for r in mine), use=use, left=left, to_empty=found))
    return tuple(out)


def _row(book: Book, key: tuple[str, str, str], fills: Sequence[Fill], jobs: dict[str, Job], plans: dict[str, Plan | None]) -> BinRow:
    outfit_key, letter, product_key = key
    outfit, product = book.get(Outfit, outfit_key), book.get(Product, product_key)
    factors = [f for f in book.all(MeterFactor, outfit=outfit_key) if f.bin == letter and f.product == product_key]
    order = sorted(fills, key=lambda f: (f.at, f.area_ha or 0.0))
    last_job = order[-1].job
    for job in {f.job for f in order}:
        if job not in plans:
            plans[job] = _plan(book, job) if job in jobs else None
    known = plans.get(last_job)
    empty = BinRow(
        outfit=outfit.name if outfit else outfit_key, bin=letter, product=product.name if product else product_key, job=last_job,
        left=None, typed=None, factor=None, factors={}, light=None, rest=None, settling=None, ratio=product_ratio([]), to_light=None,
        to_empty=None, place=None, looks=0, chi2=None, p=None, worst_z=None, holds=None, odd=(), notes=(),
        in_turn=known is not None and any(b.bin == letter and b.in_turn for b in known.bins),
    )  # fmt: skip
    steps, notes, turns_ha, done_ha, typed = _steps(book, letter, order, plans, outfit)
    if not steps or typed is None:
        return replace(empty, notes=notes)
    try:
        ratios = _ratios(steps, _prior(order, steps, factors, {}, typed, outfit, letter), factors)
        tally = tally_bin(steps, _prior(order, steps, factors, ratios, typed, outfit, letter))
    except EvenstandError as error:
        return replace(empty, typed=typed, notes=(*notes, str(error)))
    drawn = f"{last_job}|drive"
    if drawn not in plans:
        plans[drawn] = _plan(book, last_job, drive=True) if plans.get(last_job) is not None else None
    plan = plans[drawn]
    return _told(replace(empty, typed=typed, notes=notes, ratio=product_ratio(list(ratios.values()))), tally, turns_ha, done_ha, plan)


def _plan(book: Book, job: str, *, drive: bool = False) -> Plan | None:
    """The plan, without its line to drive unless asked for: that takes longest."""
    from evenstand.desk.planning import job_inputs
    from evenstand.expect import plan_for

    try:
        return plan_for(replace(job_inputs(book, job), drive=drive))
    except EvenstandError:
        return None


def _told(row: BinRow, tally: BinTally, turns_ha: float | None, done_ha: float, plan: Plan | None) -> BinRow:
    light, out, place = None, None, None
    if turns_ha:
        pace = None if row.in_turn else _pace(plan)
        try:
            light = run_out(tally, turns_ha, what="light", pace_ha_h=pace)
            out = run_out(tally, turns_ha, pace_ha_h=pace)
            known = plan is not None and plan.drive is not None and not row.in_turn  # in turn nobody knows when it is its turn
            place = place_at(plan.drive, done_ha + out.ha) if known and plan is not None and plan.drive is not None else None
        except EvenstandError as error:
            row = replace(row, notes=(*row.notes, str(error)))
    words = {"fill": "the fill", "level": "the look", "unrecorded": "something that came or went unrecorded"}
    odd = tuple(
        f"Step {t.step + 1}: {words[t.kind]} is off by about {rounded(t.size_kg, 0)} kg (± {rounded(1.96 * t.sd_kg, 0)} kg)"
        + (f"; {len(t.rivals)} other number{'s' if len(t.rivals) > 1 else ''} would explain it as well." if t.rivals else ".")
        for t in tally.bad_tickets
    )
    return replace(
        row, left=tally.left, factor=tally.factor, factors=dict(tally.factors), light=tally.light, rest=tally.rest,
        settling=tally.settling, to_light=light, to_empty=out, place=place, looks=tally.test.n, chi2=tally.test.chi2, p=tally.test.p,
        worst_z=tally.test.worst, holds=tally.test.holds and not tally.bad_tickets, odd=odd, tally=tally, turns_ha=turns_ha,
    )  # fmt: skip


def _pace(plan: Plan | None) -> Est | None:
    """Hectares an hour with stops, from the plan's range."""
    if plan is None or plan.low_ha_h is None or plan.high_ha_h is None:
        return None
    middle = (plan.low_ha_h + plan.high_ha_h) / 2
    return Est(value=middle, sd=max((plan.high_ha_h - plan.low_ha_h) / math.sqrt(12), 0.02 * middle), basis="computed", source="plan")


def _standing(factors: Sequence[MeterFactor], meter: str) -> Est | None:
    """The newest standing catch of the lot that a meter's name begins with. [kg/turn]"""
    lot = meter.partition(" / ")[0].replace(UNNAMED, "")
    return next((f.kg_turn for f in reversed(factors) if f.lot == lot and f.how == "catch"), None)


def _ratios(steps: Sequence[BinStep], prior: BinPrior, factors: Sequence[MeterFactor]) -> dict[str, Est]:
    """Field over standing of each lot that was caught and has run: the field's factor by the looks alone, whatever the catch said."""
    open_minded = {k: Est(value=f.value, sd=OPEN_SD * f.value, basis=f.basis, source=f.source) for k, f in prior.factors.items()}
    found = tally_bin(steps, replace(prior, factors=open_minded)).factors
    out = {}
    for name, field in found.items():
        standing = _standing(factors, name)
        if standing is not None and standing.value > 0 and field.value > 0 and field.relative_sd < OPEN_SD / 3:
            out[name] = learned_ratio(standing, field)
    return out


def _prior(
    fills: Sequence[Fill],
    steps: Sequence[BinStep],
    factors: Sequence[MeterFactor],
    ratios: dict[str, Est],
    typed: Est,
    outfit: Outfit | None,
    letter: str,
) -> BinPrior:
    """What is believed before the first fill; a lot's own ratio of field to standing is left to its looks, the others' serve it."""
    first = fills[0]
    before = first.level_before_kg
    unknown = default("left-after-empty").high
    mass_sd = SWEPT_SD_KG if before is not None and not first.level_before_sd_kg else (first.level_before_sd_kg or unknown)
    known = next((b for b in outfit.bins if b.letter == letter), None) if outfit is not None else None
    believed = {}
    for name in dict.fromkeys(s.meter for s in steps):
        lot = name.partition(" / ")[0].replace(UNNAMED, "")
        others = [f.kg_turn for f in factors if f.lot != lot and f.how == "catch"]
        ratio = product_ratio([r for k, r in ratios.items() if k != name])
        believed[name] = field_factor(_standing(factors, name), ratio=ratio, other_lots=others, typed=typed) or typed
    return BinPrior(mass_kg=before or 0.0, mass_sd_kg=mass_sd, factors=believed, light=known.low_light_kg if known is not None else None)


def _steps(
    book: Book, letter: str, fills: Sequence[Fill], plans: dict[str, Plan | None], outfit: Outfit | None
) -> tuple[list[BinStep], tuple[str, ...], float | None, float, Est | None]:
    """Stretches of a bin, what is missing, turns in a hectare now, hectares done in the last job, product per turn typed."""
    from evenstand.book import JobReading

    steps: list[BinStep] = []
    notes: list[str] = []
    turns_ha, done, typed = None, 0.0, None
    setting = _setting(outfit, letter)
    known = next((x.low_light_kg for x in outfit.bins if x.letter == letter), None) if outfit is not None else None
    light = known.value if known is not None else None
    for job in dict.fromkeys(f.job for f in fills):
        latest = {r.reading.quantity: r.reading for r in book.all(JobReading, job=job)} if job else {}
        plan = plans.get(job)
        b = next((x for x in plan.bins if x.bin == letter), None) if plan is not None else None
        if b is None or b.factor_kg_turn is None:
            notes.append(f"Job {job or 'not named'}: no product per turn is known, so nothing joins fills and looks. Catch or type one.")
            continue
        if b.in_turn:
            made, note = in_turn_steps([f for f in fills if f.job == job], latest, letter, lambda lot: _named(lot, setting))
            steps, notes = [*steps, *made], [*notes, f"Job {job}: {note}"] if note else notes
            typed, turns_ha = (b.factor_kg_turn, _turns_ha(b, latest.get(f"typed_rate:{letter}"))) if made else (typed, turns_ha)
            continue
        typed, turns_ha = b.factor_kg_turn, _turns_ha(b, latest.get(f"typed_rate:{letter}"))
        mine = [f for f in fills if f.job == job]
        blind = sum(1 for f in mine if f.area_ha is None)
        if blind:
            notes.append(f"Job {job}: {blind} fill(s) without the hectares on the counter; taken to be at the last ones known.")
        marks, lost = _marks(book, job, letter) if job else ([], 0)
        if lost:
            notes.append(f"Job {job}: {lost} look(s) with a time but no hectares; a log would tell them.")
        done = _of_job(steps, mine, turns_ha, setting, light, marks)
        counter, level = latest.get("area_counter"), latest.get(f"level:{letter}")
        if counter is not None and counter.value > done:
            steps.append(
                BinStep(turns=(counter.value - done) * turns_ha, meter=steps[-1].meter if steps else _named(mine[-1].lot, setting))
            )
            done = counter.value
        if level is not None and counter is not None and steps:
            steps.append(BinStep(turns=0.0, level_kg=level.value, level_sd_kg=max(level.sd, 1.0), meter=steps[-1].meter))
    return steps, tuple(notes), turns_ha, done, typed


def _of_job(
    steps: list[BinStep], fills: Sequence[Fill], turns_ha: float, setting: str, light_kg: float | None, marks: Sequence[_Mark]
) -> float:
    """Add the stretches of one job; hectares on the counter at its last fill or mark. [ha]"""
    at, meter = 0.0, steps[-1].meter if steps else _named(fills[0].lot, setting)
    waiting = sorted(marks, key=lambda m: m.area_ha)

    def on_to(area: float, **look: Any) -> None:
        nonlocal at
        if area > at or look:
            steps.append(BinStep(turns=max(area - at, 0.0) * turns_ha, meter=meter, **look))
            at = max(at, area)

    for f in fills:
        here = f.area_ha if f.area_ha is not None else at
        while waiting and waiting[0].area_ha <= here:
            mark = waiting.pop(0)
            on_to(mark.area_ha, **mark.look)
        if f.low_light_at_ha is not None and at < f.low_light_at_ha <= here:
            on_to(f.low_light_at_ha, event="low-light", level_sd_kg=LIGHT_SD_KG)
        on_to(here)
        before = f.level_before_kg
        if before is not None and steps:
            by_light = light_kg is not None and abs(before - light_kg) < 0.5  # what the light was learned at, not a look of its own
            if not by_light:
                steps.append(BinStep(turns=0.0, level_kg=before, level_sd_kg=max(f.level_before_sd_kg or 0.0, SWEPT_SD_KG), meter=meter))
            elif not any(s.event for s in steps[-2:]):
                steps.append(BinStep(turns=0.0, event="low-light", level_sd_kg=LIGHT_SD_KG, meter=meter))
        meter = _named(f.lot, setting)
        shared = f.put_sd_kg if f.how == "brim" else 0.0
        own = 0.0 if shared else f.put_sd_kg
        steps.append(BinStep(turns=0.0, put_kg=f.put_kg, put_sd_kg=own, put_shared_kg=shared, meter=meter))
    for mark in waiting:
        on_to(mark.area_ha, **mark.look)
    return at


@dataclass(frozen=True, slots=True, kw_only=True)
class _Mark:
    """Something seen at a bin between fills. area_ha: on the counter [ha]; look: as fields of a step."""

    area_ha: float
    look: dict[str, Any]


def _marks(book: Book, job: str, letter: str) -> tuple[list[_Mark], int]:
    """What was seen of a bin at times for which the log tells the hectares, and how many things it does not tell."""
    from evenstand.book import JobEvent
    from evenstand.desk.checking import newest_trail

    events = [e.event for e in book.all(JobEvent, job=job) if e.event.bin == letter and e.event.kind in _SEEN]
    trail = newest_trail(book, job) if events else None
    if trail is None or trail.area_ha is None or trail.n < 2:
        return [], len(events)
    import numpy as np

    seconds, area = (trail.t_ms - trail.t_ms[0]) / 1000.0, trail.area_ha
    good = np.isfinite(area)
    out = []
    for e in events:
        at = float(np.interp(e.at_s, seconds[good], np.maximum.accumulate(area[good])))
        event = e.kind in ("low-light", "run-empty")
        look = {"event": e.kind, "level_sd_kg": LIGHT_SD_KG} if event else {"level_kg": e.value, "level_sd_kg": max(e.sd, 1.0)}
        out.append(_Mark(area_ha=at, look=look))
    return out, 0


def _setting(outfit: Outfit | None, letter: str) -> str:
    meter = next((b.meter for b in outfit.bins if b.letter == letter), None) if outfit is not None else None
    return ", ".join(dict.fromkeys(x for x in (meter.roller, meter.setting) if x)) if meter is not None else ""


def _named(lot: str, setting: str) -> str:
    """A meter's lot and setting as one name."""
    return f"{lot or UNNAMED} / {setting}" if setting else lot or UNNAMED


def _turns_ha(b: BinPlan, rate: object) -> float:
    """Turns of the shaft in a hectare of the counter: rate in force over typed factor. [turns/ha]"""
    in_force = getattr(rate, "value", None) or b.rate_kg_ha
    assert b.factor_kg_turn is not None
    return float(in_force / b.factor_kg_turn.value)


def bin_lines(row: BinRow, profile: Profile) -> tuple[str, ...]:
    """A bin's tally in sentences. [text]

    Parameters
    ----------
    row : BinRow
        From `bin_rows`. [metric]
    profile : str
        Units. [-]
    """
    out = []
    if row.left is not None and row.factor is not None:
        out.append(_left(row.left, profile))
        change = "" if row.typed is None else f", {_change(row.factor.value / row.typed.value - 1)} typed"
        out.append(f"a turn gives {shown(row.factor.value, 'factor', profile)} ± {rounded(196 * row.factor.relative_sd, 1)} %{change}")
    if row.to_empty is not None:
        alone = " while it runs" if row.in_turn else ""
        out.append(f"runs empty after {_span(row.to_empty, profile)}{alone}{_pass(row.place)}")
    if row.to_light is not None:
        if row.to_light.high_ha == 0:
            out.append("its low-level light should be on")
        elif row.to_light.ha == 0:
            out.append("its low-level light may be on already")
        else:
            out.append(f"low-level light after {_span(row.to_light, profile)}" + (" while it runs" if row.in_turn else ""))
    if row.holds is not None and row.looks:
        looks = "one look" if row.looks == 1 else f"{row.looks} looks"
        out.append(f"{looks} came out as expected" if row.holds else f"not all of {looks} came out as expected")
    return (*out, *(restated(t, profile) for t in row.odd), *row.notes)


def product_lines(groups: Sequence[ProductRow], profile: Profile) -> tuple[str, ...]:
    """Bins on one product in sentences. [text]

    Parameters
    ----------
    groups : sequence of ProductRow
        From `product_rows`. [metric]
    profile : str
        Units. [-]
    """
    out = []
    for g in groups:
        if g.use == "together":
            first = f"the first of them, most likely bin {g.bins[g.to_empty.bin]}, is empty"
        else:
            first = "the last of them is empty"
        out.append(f"{g.outfit}, bins {' and '.join(g.bins)} on {g.product}: {first} after {_span(g.to_empty, profile)}.")
    return tuple(out)


def _change(share: float) -> str:
    return "as" if abs(share) < 0.0005 else f"{rounded(abs(share) * 100, 1)} % {'more' if share > 0 else 'less'} than"


def _span(out: RunOut, profile: Profile) -> str:
    high = "no end in sight" if out.high_ha is None else shown(out.high_ha, "area", profile)
    hours = "" if out.hours is None else f", in about {_hours(out.hours)}"
    return f"{shown(out.ha, 'area', profile)} more ({shown_value(out.low_ha, 'area', profile)} to {high}){hours}"


def _hours(hours: float) -> str:
    """Hours, or minutes by fives under one and a half. [text]"""
    return f"{rounded(hours, 1)} h" if hours >= 1.5 else f"{max(5, 5 * round(12 * hours))} min"


def _left(left: Est, profile: Profile) -> str:
    """What is left with its range; where that reaches down to nothing, the range alone. [text]"""
    reach = 1.96 * left.sd
    if left.value - reach <= 0:
        return f"left: anything up to {shown(max(left.value + reach, 0.0), 'mass', profile)}; look, or weigh the next fill"
    return f"left {shown(left.value, 'mass', profile)} ± {shown(reach, 'mass', profile)}"


def _pass(place: DrivePlace | None) -> str:
    if place is None:
        return ""
    return ", not on this job any more" if place.beyond else f", on pass {place.pass_id}, {rounded(place.along_m, 0)} m along"
