"""A day in the field into findings: looks and fills into intervals, the trail into distances and runs, all of it into a check.

`check_day` sees what a farm sees. What a simulated day really was is put beside the findings only when they are made.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any, cast

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import InputError
from evenstand.base.estimate import Est
from evenstand.base.units import Profile
from evenstand.check import BinDay, Checked, Look, PutIn, RunLoss, check_readings, run_findings, run_losses
from evenstand.model import BinPlan, Event, Fill, Finding, Outfit, Plan, Reading, Trail

if TYPE_CHECKING:
    from evenstand.desk.demo_farm import DemoFarm
    from evenstand.simulate import Day, FaultSpec

FloatArray = npt.NDArray[np.float64]

_STOP_S = 480.0  # a stop at least this long could have been a fill
_STILL_M_S = 0.25
_AREA_SLACK_HA = 0.02
_TRAIL_DISTANCE_SD = 0.004
_MIN_SOWN_M = 500.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """How the machine's own mass of one bin grew. area_ha (n,), t_s (n,), machine_kg (n,), all rising; by: what it repeats."""

    area_ha: FloatArray
    t_s: FloatArray
    machine_kg: FloatArray
    by: tuple[str, ...]

    def at_area(self, area_ha: float) -> float:
        """Machine mass when the area counter stood at `area_ha`. [kg]"""
        return float(np.interp(area_ha, self.area_ha, self.machine_kg))

    def at_time(self, second: float) -> float:
        """Machine mass at a second from the start. [kg]"""
        return float(np.interp(second, self.t_s, self.machine_kg))

    def end(self) -> float:
        """Machine mass at the end. [kg]"""
        return float(self.machine_kg[-1])


def check_day(
    outfit: Outfit,
    plan: Plan,
    *,
    readings: Sequence[Reading],
    fills: Sequence[Fill] = (),
    events: Sequence[Event] = (),
    typed: Mapping[str, float] | None = None,
    trail: Trail | None = None,
    kinds: Mapping[str, str] | None = None,
    profile: Profile = "si",
) -> tuple[Finding, ...]:
    """Findings of a day: causes, what holds, what cannot be told yet.

    Parameters
    ----------
    outfit : Outfit
        As hitched. [-]
    plan : Plan
        Rates asked by bin. [kg/ha]
    readings : sequence of Reading
        At the end of the day. [metric]
    fills, events : sequences
        As entered, and what happened at the bins. [kg]
    typed : mapping or None
        Values in force: "W" [m], "F:A" [kg/turn], "rate:A" [kg/ha].
    trail : Trail or None
        The log, where there is one. [-]
    kinds : mapping or None
        Kind of product by bin. [-]
    profile : str
        Units of the sentences. [-]

    Returns
    -------
    tuple of Finding
        What does not hold first. [-]
    """
    checked = checked_day(
        outfit, plan, readings=readings, fills=fills, events=events, typed=typed, trail=trail, kinds=kinds, profile=profile
    )
    order = {"does-not-hold": 0, "doubtful": 1, "cannot-tell": 2, "holds": 3}
    return tuple(sorted((*run_part(outfit, trail), *checked.findings), key=lambda f: order[f.state]))


def checked_day(
    outfit: Outfit,
    plan: Plan,
    *,
    readings: Sequence[Reading],
    fills: Sequence[Fill] = (),
    events: Sequence[Event] = (),
    typed: Mapping[str, float] | None = None,
    trail: Trail | None = None,
    kinds: Mapping[str, str] | None = None,
    profile: Profile = "si",
    believe: float | None = None,
) -> Checked:
    """The part of a day's check that rests on masses, areas and distances; arguments as for `check_day`. [metric]"""
    typed = dict(typed or {})
    asked = {b.bin: b.rate_kg_ha for b in plan.bins}
    every = [*readings, *_from_trail(outfit, trail, readings)]
    losses = run_losses(trail, outfit) if trail is not None else ()
    found = tuple(d for a in asked if (d := bin_day(a, asked[a], every, fills, events, typed, trail)) is not None)
    days = tuple(replace(d, dead=_dead_heads(d, outfit, losses, asked, every, typed, trail)) for d in found)
    return check_readings(
        every,
        outfit=outfit,
        asked=asked,
        typed=typed,
        bin_days=days,
        kinds=kinds,
        profile=profile,
        believe=believe,
    )


def _dead_heads(
    day: BinDay,
    outfit: Outfit,
    losses: Sequence[RunLoss],
    asked: Mapping[str, float],
    readings: Sequence[Reading],
    typed: Mapping[str, float],
    trail: Trail | None,
) -> tuple[tuple[float, float], ...]:
    """Heads of this bin's stream that the sensors say are plugged: since which machine mass, and which share of the rows."""
    rows = sum(1 for r in outfit.runs if not r.shut)
    own = next((b.stream for b in outfit.bins if b.letter == day.bin), None)
    course = course_of(day.bin, asked[day.bin], {r.quantity: r for r in readings}, typed, trail)
    out = []
    for finding in run_findings(losses, outfit, trail):
        head = next((h for h in outfit.heads if (f"head:{h.letter}",) in finding.suspects), None)
        if head is None or course is None or not rows or finding.place.since_s is None:
            continue
        if head.stream is None or own is None or head.stream == own:
            out.append((course.at_time(finding.place.since_s), head.outlets / rows))
    return tuple(out)


def run_part(outfit: Outfit, trail: Trail | None) -> tuple[Finding, ...]:
    """Findings about runs and heads: plugged ones, that all were seen, or that nothing can see them. [-]"""
    if trail is None or trail.run_present is None or not trail.runs:
        return (
            Finding(
                claim="Plugged runs cannot be told: no run sensor is on record.",
                state="cannot-tell",
                settle_by="walk behind the tool, dig, or pull hoses over a bucket",
                about="runs",
            ),
        )
    losses = run_losses(trail, outfit)
    if losses:
        return run_findings(losses, outfit, trail)
    blind = sum(1 for r in outfit.runs if not r.shut) - len(trail.runs)
    rest = f"; {blind} runs have no sensor" if blind > 0 else ""
    return (
        Finding(
            claim=f"All {len(trail.runs)} watched runs were seen all day{rest}.",
            state="holds",
            worth_stopping=False,
            about="runs",
            not_claimed="How much each run gave: a sensor says flow or no flow, and a partial plug may pass.",
        ),
    )


def bin_day(
    bin: str,
    rate_kg_ha: float,
    readings: Sequence[Reading],
    fills: Sequence[Fill],
    events: Sequence[Event] = (),
    typed: Mapping[str, float] | None = None,
    trail: Trail | None = None,
) -> BinDay | None:
    """Looks and fills of one bin in order of what the machine says it has sown; None if no level or no area is known.

    Parameters
    ----------
    bin : str
        Letter. [-]
    rate_kg_ha : float
        Rate asked; the rate in force is taken from `typed` or the readings where known. [kg/ha]
    readings : sequence of Reading
        At the end of the day. [metric]
    fills, events : sequences
        As entered; what happened at the bins. [kg]
    typed : mapping or None
        Values in force. [metric]
    trail : Trail or None
        For turns and stops between fills. [-]
    """
    known = {r.quantity: r for r in readings}
    course = course_of(bin, rate_kg_ha, known, typed or {}, trail)
    level = known.get(f"level:{bin}")
    if course is None:
        return None
    mine = sorted((f for f in fills if f.bin == bin), key=lambda f: (f.area_ha or 0.0, f.at))
    start_ms = int(trail.t_ms[0]) if trail is not None and trail.n else None
    looks = [*_looks_at_fills(mine, course, start_ms), *_light_looks(bin, events, course)]
    puts = _puts(mine, course, start_ms)
    if not puts and f"put:{bin}" in known:
        put = known[f"put:{bin}"]
        puts = [PutIn(machine_kg=0.0, put_kg=put.value, put_sd_kg=put.sd, how=put.instrument or "ticket")]
    looks += _last_look(level, looks, puts, course)
    looks = [k for k in looks if k.machine_kg > 1e-6]
    if not looks or not puts:
        return None
    first = next((f for f in mine if (f.area_ha or 0.0) <= _AREA_SLACK_HA and f.level_before_kg is not None), None)
    stops = unexplained_stops(trail, fills, start_ms) if trail is not None else ()
    return BinDay(
        bin=bin,
        looks=tuple(looks),
        puts=tuple(puts),
        start_kg=(first.level_before_kg or 0.0) if first is not None else 0.0,
        start_sd_kg=(first.level_before_sd_kg or 0.0) if first is not None else 0.0,
        by=course.by,
        stops_s=stops,
        stops_known=trail is not None and trail.n > 60,
    )


def course_of(bin: str, rate_kg_ha: float, known: Mapping[str, Reading], typed: Mapping[str, float], trail: Trail | None) -> Course | None:
    """The machine's mass over the day: from recorded turns, else the mass shown spread over the area counter, else rate times area.

    Parameters
    ----------
    bin : str
        Letter. [-]
    rate_kg_ha : float
        Rate asked. [kg/ha]
    known : mapping
        Readings by quantity. [metric]
    typed : mapping
        Values in force. [metric]
    trail : Trail or None
        With turns and the area counter, where it has them. [-]
    """
    factor = typed.get(f"F:{bin}")
    by = (f"F:{bin}", f"turns:{bin}")
    if trail is not None and trail.revs is not None and trail.area_ha is not None and bin in trail.bins and factor:
        revs = trail.revs[:, trail.bins.index(bin)]
        good = np.isfinite(revs) & np.isfinite(trail.area_ha)
        if good.sum() > 2:
            t = (trail.t_ms[good] - trail.t_ms[0]) / 1000.0
            return Course(area_ha=_rising(trail.area_ha[good]), t_s=t, machine_kg=_rising(revs[good] - revs[good][0]) * factor, by=by)
    counter, shown = known.get("area_counter"), known.get(f"shown_mass:{bin}")
    if counter is None:
        return None
    in_force = typed.get(f"rate:{bin}") or (known[f"typed_rate:{bin}"].value if f"typed_rate:{bin}" in known else None)
    mass = shown.value if shown is not None else (in_force or rate_kg_ha) * counter.value
    repeats = by if shown is not None else ((f"rate:{bin}", "W", "V") if in_force else (f"asked:{bin}", "W", "V"))
    end_s = (trail.t_ms[-1] - trail.t_ms[0]) / 1000.0 if trail is not None and trail.n > 1 else 1.0
    return Course(area_ha=np.array([0.0, counter.value]), t_s=np.array([0.0, float(end_s)]), machine_kg=np.array([0.0, mass]), by=repeats)


def _rising(values: FloatArray) -> FloatArray:
    return np.asarray(np.maximum.accumulate(values), dtype=np.float64)


def _second(fill: Fill, start_ms: int | None) -> float | None:
    if start_ms is None or not fill.at:
        return None
    return datetime.fromisoformat(fill.at.replace("Z", "+00:00")).timestamp() - start_ms / 1000.0


def _looks_at_fills(mine: Sequence[Fill], course: Course, start_ms: int | None) -> list[Look]:
    """The level seen before each fill; an entry that repeats another's hectares and level is the same look."""
    out, seen = [], set()
    for fill in mine:
        key = (fill.area_ha, fill.level_before_kg)
        if fill.area_ha is None or fill.level_before_kg is None or key in seen:
            continue
        seen.add(key)
        sd = fill.level_before_sd_kg if fill.level_before_sd_kg is not None else 0.1 * max(fill.put_kg, 1.0)
        out.append(
            Look(machine_kg=course.at_area(fill.area_ha), level_kg=fill.level_before_kg, level_sd_kg=sd, at_s=_second(fill, start_ms))
        )
    return out


def _light_looks(bin: str, events: Sequence[Event], course: Course) -> list[Look]:
    lights = [e for e in events if e.bin == bin and e.kind == "low-light"]
    return [
        Look(machine_kg=course.at_time(e.at_s), level_kg=e.value, level_sd_kg=e.sd, light=True, at_s=e.at_s)
        for e in lights
        if len(course.t_s) > 2
    ]


def _puts(mine: Sequence[Fill], course: Course, start_ms: int | None) -> list[PutIn]:
    """Fills on record. An entry with the same mass at the same hectares as an earlier one is marked as a twin."""
    out, seen = [], set()
    for fill in mine:
        key = (round(fill.put_kg, 3), fill.area_ha)
        at = course.at_area(fill.area_ha) if fill.area_ha is not None else 0.0
        out.append(
            PutIn(
                machine_kg=at,
                put_kg=fill.put_kg,
                put_sd_kg=fill.put_sd_kg,
                how=fill.how,
                twin=key in seen and fill.area_ha is not None,
                at_s=_second(fill, start_ms),
            )
        )
        seen.add(key)
    return out


def _last_look(level: Reading | None, looks: Sequence[Look], puts: Sequence[PutIn], course: Course) -> list[Look]:
    """The level at the end; one reckoned on from the low-level light adds nothing to the light itself."""
    if level is None:
        return []
    last_put = max((p.machine_kg for p in puts), default=0.0)
    lit = any(k.light and k.machine_kg >= last_put - 1e-9 for k in looks)
    if level.instrument == "low-light" and lit:
        return []
    return [Look(machine_kg=course.end(), level_kg=level.value, level_sd_kg=level.sd, at_s=float(course.t_s[-1]))]


def unexplained_stops(trail: Trail, fills: Sequence[Fill], start_ms: int | None) -> tuple[tuple[float, float], ...]:
    """Stops long enough for a fill at which no fill is on record, (from, to). [s]

    Parameters
    ----------
    trail : Trail
        Positions, or speed. [-]
    fills : sequence of Fill
        All bins. [-]
    start_ms : int or None
        Time of the first row. [ms]
    """
    if trail.n < 60:
        return ()
    t = (trail.t_ms - trail.t_ms[0]) / 1000.0
    still = trail.speed_m_s < _STILL_M_S if trail.speed_m_s is not None else _still(trail)
    edge = np.flatnonzero(np.diff(np.concatenate([[0], still.astype(np.int8), [0]])))
    filled = _filled_at(fills, start_ms)
    out = []
    for a, z in zip(edge[::2], edge[1::2], strict=True):
        low, high = float(t[a]), float(t[min(z, trail.n - 1)])
        if high - low < _STOP_S or low < 60 or high > t[-1] - 60:
            continue
        if not any(low - 180 <= s <= high + 60 for s in filled):
            out.append((low, high))
    return tuple(out)


def _filled_at(fills: Sequence[Fill], start_ms: int | None) -> list[float]:
    """When something was put in; a second entry of the same fill is no second fill."""
    seen: set[tuple[str, float, float | None]] = set()
    out = []
    for fill in sorted(fills, key=lambda f: f.at):
        key, second = (fill.bin, round(fill.put_kg, 3), fill.area_ha), _second(fill, start_ms)
        if key not in seen and second is not None:
            out.append(second)
        seen.add(key)
    return out


def _still(trail: Trail) -> npt.NDArray[np.bool_]:
    step = np.hypot(np.diff(trail.xy_m[:, 0]), np.diff(trail.xy_m[:, 1]))
    seconds = np.maximum(np.diff(trail.t_ms) / 1000.0, 1e-3)
    return np.concatenate([[False], step / seconds < _STILL_M_S])


def _from_trail(outfit: Outfit, trail: Trail | None, readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """The machine's distance against the recorded positions, where those do not feed it and were not read already."""
    if trail is None or trail.step_m is None or outfit.speed_source == "gnss" or any(r.quantity == "distance_gnss" for r in readings):
        return ()
    moved = np.hypot(np.diff(trail.xy_m[:, 0]), np.diff(trail.xy_m[:, 1]))
    counted = trail.step_m[1:]
    use = np.isfinite(moved) & np.isfinite(counted) & (counted > 0)
    if trail.lifted is not None:
        use &= ~trail.lifted[1:] & ~trail.lifted[:-1]
    total = float(moved[use].sum())
    if total < _MIN_SOWN_M:
        return ()
    ratio = float(counted[use].sum()) / total
    return (Reading(quantity="distance_trail", value=ratio, sd=_TRAIL_DISTANCE_SD * ratio, instrument="recorded positions"),)


def demo_plan(farm: DemoFarm, job_key: str) -> Plan:
    """A plan of a demo job without a line to drive: bins, rates, factors and full bins. [metric]"""
    job = farm.job(job_key)
    outfit = farm.outfit(job.outfit)
    bins = []
    for ask in job.asks:
        product = farm.product(ask.product)
        lot = next((x for x in farm.lots if x.key == ask.lot), None)
        density = (lot.density_kg_m3 if lot is not None else None) or product.density_kg_m3
        for letter in ask.bins:
            own = outfit.bin(letter)
            factor = next((f.kg_turn for f in farm.factors if (f.outfit, f.bin, f.product) == (outfit.key, letter, ask.product)), None)
            full = own.capacity_m3.value * own.fill_share * density.value if own.capacity_m3 is not None and density is not None else None
            bins.append(
                BinPlan(
                    bin=letter,
                    product=ask.product,
                    rate_kg_ha=ask.rate_kg_ha / len(ask.bins),
                    factor_kg_turn=factor,
                    full_kg=Est(value=full, sd=0.03 * full, basis="computed", source="demo farm") if full else None,
                    need_kg=ask.rate_kg_ha * (job.area_ha or 0.0) / len(ask.bins),
                    stream=own.stream,
                )
            )
    return Plan(
        job=job.key, crop=job.crop, outfit=outfit.key, field_name=job.field_key, area_ha=job.area_ha, width_m=outfit.width_m,
        speed_m_s=outfit.speed_m_s, in_work_ha_h=None, efficiency_low=None, efficiency_high=None, low_ha_h=None, high_ha_h=None,
        hours_in_work=None, hours_low=None, hours_high=None, bins=tuple(bins),
    )  # fmt: skip


def kinds_of(farm: DemoFarm, plan: Plan) -> dict[str, str]:
    """Kind of product in each bin of a plan. [-]"""
    return {b.bin: farm.product(b.product).kind for b in plan.bins}


def demo_run(
    seed: int,
    faults: Iterable[str] = (),
    *,
    job_key: str = "",
    outfit_key: str = "A",
    world: str = "nominal",
    max_area_ha: float | None = None,
    optional: str = "sometimes",
    fill_how: str | None = None,
    level_how: str | None = None,
    profile: Profile = "si",
) -> dict[str, Any]:
    """A simulated day on the demo farm, checked; the truth is put beside the findings when they are made.

    Parameters
    ----------
    seed : int
        The same seed gives the same day. [-]
    faults : iterable of str
        Such as "factor:A=6", "distance=4", "width=0.254", "fill-missed:D=1900", "slip:D=1.12", "run=37", "head=C". [-]
    job_key, outfit_key : str
        Which demo job; "" is the outfit's first. [-]
    world : str
        "still", "nominal" or "rough". [-]
    max_area_ha : float or None
        Stop after so much. [ha]
    optional, fill_how, level_how : str or None
        Which readings there are: see `simulate_day`. [-]
    profile : str
        Units of the sentences. [-]

    Returns
    -------
    dict
        seed, truth (kind, where, size of each fault), findings. [plain data]

    Raises
    ------
    InputError
        If a fault is unknown or does not fit the outfit.
    """
    day, plan, outfit, kinds = demo_day(
        seed, faults, job_key=job_key, outfit_key=outfit_key, world=world, max_area_ha=max_area_ha, optional=optional, fill_how=fill_how,
        level_how=level_how,
    )  # fmt: skip
    seen = {"readings": day.readings, "fills": day.fills, "events": day.events, "typed": day.typed, "trail": day.trail}
    findings = check_day(outfit, plan, kinds=kinds, profile=profile, **cast("dict[str, Any]", seen))
    return {
        "seed": seed,
        "truth": [truth_line(f, day) for f in day.truth.faults],
        "findings": [finding_dict(f) for f in findings],
    }


def demo_day(
    seed: int, faults: Iterable[str] = (), *, job_key: str = "", outfit_key: str = "A", world: str = "nominal",
    max_area_ha: float | None = None, optional: str = "sometimes", fill_how: str | None = None, level_how: str | None = None,
) -> tuple[Day, Plan, Outfit, dict[str, str]]:  # fmt: skip
    """A simulated day with its plan, outfit and product kinds; arguments as for `demo_run`. [metric]"""
    from evenstand.desk.demo_farm import demo_farm
    from evenstand.simulate import SimulationError, simulate_day

    farm = demo_farm()
    key = job_key or next((j.key for j in farm.jobs if j.outfit == outfit_key), "")
    try:
        plan, outfit = demo_plan(farm, key), farm.outfit(farm.job(key).outfit)
    except KeyError:
        jobs = ", ".join(j.key for j in farm.jobs)
        raise InputError(f"'{key}' is no job of the demo farm", where="job", cure=f"Jobs: {jobs}.") from None
    try:
        day = simulate_day(
            outfit, plan, seed=seed, faults=tuple(faults), world=world, max_area_ha=max_area_ha, optional=cast("Any", optional),
            fill_how=cast("Any", fill_how), level_how=cast("Any", level_how),
        )  # fmt: skip
    except SimulationError as error:
        raise InputError(str(error), where="fault") from None
    return day, plan, outfit, kinds_of(farm, plan)


def truth_line(fault: FaultSpec, day: Day) -> dict[str, Any]:
    """One fault as plain data; a run or head with the second and pass from which it was plugged. [-]"""
    line: dict[str, Any] = {"kind": fault.kind, "where": fault.where, "size": fault.size}
    if fault.cause in day.truth.since_s:
        line["since_s"] = round(day.truth.since_s[fault.cause], 1)
        line["since_pass"] = day.truth.since_pass.get(fault.cause)
    return line


def finding_dict(finding: Finding) -> dict[str, Any]:
    """A finding as plain data, in the shape of `docs/schemas/check.json`. [-]"""
    size = finding.size
    return {
        "claim": finding.claim,
        "state": finding.state,
        "suspects": [list(group) for group in finding.suspects],
        "size": None
        if size is None
        else {"value": size.value, "sd": size.sd, "unit": finding.size_unit, "low": finding.low, "high": finding.high},
        "place": {
            "since_pass": finding.place.since_pass,
            "since_s": finding.place.since_s,
            "until_s": finding.place.until_s,
            "area_ha": finding.place.area_ha,
            "runs": list(finding.place.runs),
            "earliest_s": finding.low if finding.place.runs else None,
            "latest_s": finding.high if finding.place.runs else None,
        },
        "evidence": list(finding.evidence),
        "settle_by": finding.settle_by,
        "worth_stopping": finding.worth_stopping,
        "confirm_by": finding.confirm_by,
        "not_claimed": finding.not_claimed,
        "about": finding.about,
    }
