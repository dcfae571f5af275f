"""Fan, meters and speed of an outfit for one day: what was typed over what the book holds, and the answer as lines to read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from evenstand.base.errors import require_range
from evenstand.base.estimate import Est
from evenstand.base.units import Profile, rounded, shown
from evenstand.base.worked import Working
from evenstand.desk.planning import job_inputs
from evenstand.desk.windows import AirSaid, Windows, windows_of
from evenstand.expect import plan_for
from evenstand.expect.lines import line
from evenstand.expect.lines import shown as laid_open
from evenstand.machine import air_density, mass_flow
from evenstand.model import FanProof

if TYPE_CHECKING:
    from evenstand.book import Book
    from evenstand.expect import PlanInputs
    from evenstand.model import CardLine, Outfit

METER_KINDS = ("shaft", "window", "rates")
PRACTICE = "common-practice"


@dataclass(frozen=True, slots=True, kw_only=True)
class DaySaid:
    """What was typed for a day. job: whose rates; fan_rev_s: a fan speed proven anew, with which that day's other values in `air` belong
    and those of the book no longer do, None keeps the book's [turns/s]; speed_m_s: another working speed [m/s]; air: the rest as text."""

    job: str
    fan_rev_s: float | None = None
    speed_m_s: float | None = None
    air: AirSaid = field(default_factory=AirSaid)


@dataclass(frozen=True, slots=True, kw_only=True)
class DayWindows:
    """The answer. windows: as the command gives them; fan, meters: lines to read; names: product names by bin letter; inputs: of the job
    with what was tried out."""

    windows: Windows
    fan: tuple[CardLine, ...]
    meters: tuple[CardLine, ...]
    names: Mapping[str, str]
    inputs: PlanInputs


def day_windows(book: Book, said: DaySaid, units: Profile = "si") -> DayWindows:
    """Windows of a job for one day.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    said : DaySaid
        What was typed. [see the class]
    units : str
        Profile in which bare numbers are read. [-]

    Returns
    -------
    DayWindows
        Nothing is stored. [metric]

    Raises
    ------
    InputError
        Naming what is not understood.
    RangeError
        If a speed is not above 0.
    MissingError
        If there is no such job.
    """
    for name, value in (("fan_rev_s", said.fan_rev_s), ("speed_m_s", said.speed_m_s)):
        if value is not None:
            require_range(name, value, 0, low_open=True)
    inputs = job_inputs(book, said.job)
    outfit, job = inputs.outfit, inputs.job
    if said.fan_rev_s is not None and outfit is not None:
        typed = Est(value=said.fan_rev_s, sd=0.0, basis="typed", source="typed")
        outfit = replace(outfit, fan_turns_s=typed, fan_proof=FanProof())
    if said.speed_m_s is not None:
        job = replace(job, speed_m_s=said.speed_m_s)
    inputs = replace(inputs, outfit=outfit, job=job)
    windows = windows_of(inputs, said.air, units)
    plan = plan_for(inputs)
    kept = {f"{kind}:{b.bin}" for kind in METER_KINDS for b in plan.bins}
    names = {b.bin: inputs.products[b.product].name if b.product in inputs.products else b.product for b in plan.bins}
    return DayWindows(
        windows=windows,
        fan=_fan_lines(windows, inputs, units, plan.width_m),
        meters=tuple(x for x in plan.card if x.key in kept),
        names=names,
        inputs=inputs,
    )


def _fan_lines(w: Windows, inputs: PlanInputs, units: Profile, width_m: float | None) -> tuple[CardLine, ...]:
    """Setting, alarms, and what they are reckoned from. [metric]"""
    fan = w.fan
    if fan.rev_s is None:
        return ()
    shows = None
    if fan.working:
        shows = Working(
            name="fan speed", formula=fan.working[0], inputs=(), substituted=fan.working[1], result=fan.rev_s, source="fan-laws-trade",
            where="flow as the speed; the rest is our scaling from it",
        )  # fmt: skip
    what = "What to set" if fan.state == "holds" else "About"
    out = [
        line("fan-set", "fan", what, "fan", fan.rev_s, low=fan.low_rev_s, high=fan.high_rev_s, shows=shows, basis="computed",
             why="From the proven speed, by load, air and product; the span is by rule", more=fan.notes),
        line("fan-low", "fan", "Alarm, low", "fan", fan.alarm_low_rev_s, basis=PRACTICE, why="Below the setting"),
        line("fan-high", "fan", "Alarm, high", "fan", fan.alarm_high_rev_s, basis=PRACTICE, why="Above the setting"),
        line("fan-proven", "fan", "Proven", "fan", fan.proven_rev_s, basis="typed", source="outfit, or typed", why="Where it starts"),
    ]  # fmt: skip
    if w.load_kg_s is not None and w.speed_m_s is not None and width_m is not None:
        asked = sum(a.rate_kg_ha for a in inputs.job.asks)
        shows = laid_open(mass_flow, rate_kg_ha=asked, speed_m_s=w.speed_m_s, width_m=width_m)
        why = f"All products of the job, {shown(asked, 'rate', units)}, at {shown(w.speed_m_s, 'speed', units)}"
        out.append(line("load", "fan", "Product through all lines", "mass_flow", w.load_kg_s, why=why, shows=shows))
    if w.air_kg_m3 is not None:
        against = w.air_kg_m3 / air_density(15.0, 101_325.0)
        more = [f"{w.air_kg_m3:.3f} kg/m³, by temperature, pressure or height, and humidity."]
        out.append(line("air", "fan", "Air now, against sea level at 15 °C", "share", against, why="Thin air carries less", more=more))
    return tuple(out)


def mattered_rows(w: Windows) -> list[tuple[str, str, str, str]]:
    """What moved the fan speed: which, now over then, its effect, and per cent of speed for one per cent of it. [text]"""
    return [
        (f"{i.name[:1].upper()}{i.name[1:]}", f"{rounded(i.ratio)} times", f"{i.factor - 1:+.1%}", f"{i.slope:+.2f} %")
        for i in w.fan.mattered
    ]


def opinion_rows(w: Windows, units: Profile) -> list[tuple[str, str, str]]:
    """Published correlations for one line: method, speed, what to mind. [text]"""
    return [(o.method, shown(o.speed_m_s, "air_speed", units), o.warning) for o in w.opinions]


def proof_known(outfit: Outfit, units: Profile) -> list[str]:
    """What the book holds of the proven fan speed, a sentence each; what is missing is named too. [text]"""
    fan, proof = outfit.fan_turns_s, outfit.fan_proof
    if fan is None:
        return ["No fan speed is proven on this outfit: type one below, or keep it on the outfit's own page."]
    rows = [
        ("air", proof.temperature_c, "temperature"),
        ("height", proof.height_m, "distance"),
        ("product through all lines", proof.load_kg_s, "mass_flow"),
    ]
    known = [f"{what} {shown(value, quantity, units)}" for what, value, quantity in rows if value is not None]
    known += [f"crop {proof.crop}"] if proof.crop else []
    gaps = [what for what, value, _ in rows if value is None] + ([] if proof.crop else ["crop"])
    beside = f" with {', '.join(known)}" if known else ""
    out = [f"Proven: {shown(fan.value, 'fan', units)}{beside}."]
    return out + ([f"Not on record for that day: {', '.join(gaps)}."] if gaps else [])
