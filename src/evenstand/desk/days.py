"""A day in the field into findings: looks and fills into intervals, the trail into distances and runs, all of it into a check.

`check_day` sees what a farm sees. What a simulated day really was is put beside the findings only when they are made.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, cast

from evenstand.base.errors import InputError
from evenstand.base.estimate import Est
from evenstand.base.units import Profile
from evenstand.check import BinDay, Checked, RunLoss, check_readings, logged_findings, placement_finding, run_findings, run_losses, with_log
from evenstand.desk.looks import bin_day, course_of, distance_by_trail
from evenstand.expect.bins import factor_of
from evenstand.model import BinPlan, Event, Fill, Finding, Outfit, Plan, Reading, Trail

if TYPE_CHECKING:
    from evenstand.desk.demo_farm import DemoFarm
    from evenstand.simulate import Day, FaultSpec


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
    scales: Mapping[str, float] | None = None,
    share_done: float | None = None,
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
    scales : mapping or None
        What past days have taught: see `check.learned_scales`. [-]
    share_done : float or None
        Looking again and again: how much of the day is done. [share]

    Returns
    -------
    tuple of Finding
        What does not hold first. [-]
    """
    return day_and_check(
        outfit, plan, readings=readings, fills=fills, events=events, typed=typed, trail=trail, kinds=kinds, profile=profile, scales=scales,
        share_done=share_done,
    )[0]  # fmt: skip


def day_and_check(
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
    scales: Mapping[str, float] | None = None,
    share_done: float | None = None,
) -> tuple[tuple[Finding, ...], Checked]:
    """Findings of a day, and the check they come from for whoever learns from it; arguments as for `check_day`. [metric]"""
    losses = run_losses(trail, outfit) if trail is not None else ()
    checked = checked_day(
        outfit, plan, readings=readings, fills=fills, events=events, typed=typed, trail=trail, kinds=kinds, profile=profile, losses=losses,
        scales=scales, share_done=share_done,
    )  # fmt: skip
    order = {"does-not-hold": 0, "doubtful": 1, "cannot-tell": 2, "holds": 3}
    logged = logged_findings(trail, outfit, profile=profile)
    read = with_log(checked.findings, trail, outfit, profile=profile)
    found = (*run_part(outfit, trail, losses, profile=profile), *logged, *read, *placement_finding(outfit))
    return tuple(sorted(found, key=lambda f: order[f.state])), checked


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
    losses: tuple[RunLoss, ...] | None = None,
    scales: Mapping[str, float] | None = None,
    share_done: float | None = None,
) -> Checked:
    """The part of a day's check that rests on masses, areas and distances; arguments as for `check_day`. [metric]"""
    typed = dict(typed or {})
    asked = {b.bin: b.rate_kg_ha for b in plan.bins}
    every = [*readings, *distance_by_trail(outfit, trail, readings)]
    if losses is None:
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
        scales=scales,
        share_done=share_done,
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


def run_part(
    outfit: Outfit, trail: Trail | None, losses: tuple[RunLoss, ...] | None = None, *, profile: Profile = "si"
) -> tuple[Finding, ...]:
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
    if losses is None:
        losses = run_losses(trail, outfit)
    if losses:
        return run_findings(losses, outfit, trail, profile=profile)
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
            own_factors = tuple(f for f in farm.factors if f.outfit == outfit.key)
            factor = factor_of(own, product, lot, own_factors).kg_turn
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
    findings = findings_of(day, plan, outfit, kinds, profile=profile)
    return {
        "seed": seed,
        "truth": [truth_line(f, day) for f in day.truth.faults],
        "findings": [finding_dict(f) for f in findings],
    }


def findings_of(day: Day, plan: Plan, outfit: Outfit, kinds: Mapping[str, str], *, profile: Profile = "si") -> tuple[Finding, ...]:
    """What the check finds in what a simulated day leaves behind; its truth is not looked at. [-]

    Parameters
    ----------
    day, plan, outfit, kinds
        As `demo_day` gives them. [-]
    profile : str
        Units of the sentences. [-]
    """
    return check_day(
        outfit,
        plan,
        readings=day.readings,
        fills=day.fills,
        events=day.events,
        typed=day.typed,
        trail=day.trail,
        kinds=kinds,
        profile=profile,
    )


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
