"""Fan, meter and speed windows: from typed values with no book, or for a job in a book."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from evenstand.base.errors import Fault, InputError, UnitError
from evenstand.base.units import Profile, read_quantity, shown
from evenstand.desk.planning import Said, job_inputs, quick_inputs
from evenstand.machine import (
    AirWindow,
    SaltationOpinion,
    air_density,
    air_viscosity,
    air_window,
    fan_droop,
    geopotential_height,
    mass_flow,
    own_load_exponent,
    puff_test,
    saltation_opinions,
    shared_speed_window,
    standard_pressure,
)
from evenstand.model import BinPlan, FanProof, Finding, Weather
from evenstand.model.finding import State

if TYPE_CHECKING:
    from evenstand.book import Book
    from evenstand.expect import PlanInputs

# typed field: quantity it is read as
AIR_FIELDS: Mapping[str, str] = {
    "fan_set": "fan", "fan_max": "fan", "proven_rate": "rate", "proven_speed": "speed", "proven_width": "width",
    "proven_height": "distance", "proven_temperature": "temperature", "proven_pressure": "barometer", "height": "distance",
    "temperature": "temperature", "pressure": "barometer", "humidity": "share", "split": "share", "proven_split": "share",
    "second_fan": "fan", "second_rate": "rate", "bore": "spacing", "grain": "spacing", "grain_density": "density",
    "puff": "seconds", "silent": "count", "steady": "fan", "under_load": "fan", "at_lift": "fan",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class AirSaid:
    """What was typed about the fan, still as text; "" is not known. The proven speed itself is `Said.fan`.

    proven_product: what ran when it was proven; numbers: text by the names of `AIR_FIELDS`; lines: of the stream, for a look at one
    line; cold: the oil was still cold.
    """

    proven_product: str = ""
    numbers: Mapping[str, str] = field(default_factory=dict)
    lines: int | None = None
    cold: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterWindow:
    """One bin's meter at the working speed. Rates kg/ha, shaft turns/s, speeds m/s; None where not known.

    state: "holds", "does-not-hold" (the working speed lies outside), or "cannot-tell" with what is missing in the claim.
    """

    bin: str
    product: str
    state: State
    claim: str
    rate_kg_ha: float
    factor_kg_turn: float | None
    shaft_turns_s: float | None
    speed_low_m_s: float | None
    speed_high_m_s: float | None
    rate_low_kg_ha: float | None
    rate_high_kg_ha: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Windows:
    """Everything `evenstand window` says.

    state: the worst of all parts that could be told; speed_m_s: working speed; speed_low_m_s, speed_high_m_s: ground speeds that suit
    every meter, None if not known or none does, speed_claim in words; load_kg_s: product per second through all lines; air_kg_m3: air
    now; readings: puff test and droop; opinions: correlations for one line, weak.
    """

    state: State
    fan: AirWindow
    meters: tuple[MeterWindow, ...]
    speed_m_s: float | None
    speed_low_m_s: float | None
    speed_high_m_s: float | None
    speed_claim: str
    load_kg_s: float | None
    air_kg_m3: float | None
    readings: tuple[Finding, ...]
    opinions: tuple[SaltationOpinion, ...]


def typed_windows(said: Said, air: AirSaid, profile: Profile = "si") -> Windows:
    """Windows from typed values alone. [metric]"""
    return _windows(quick_inputs(said, profile), air, profile)


def job_windows(book: Book, job_key: str, air: AirSaid, profile: Profile = "si") -> Windows:
    """Windows of a job in a book; what is typed besides wins over what the book holds. [metric]"""
    return _windows(job_inputs(book, job_key), air, profile)


def windows_of(inputs: PlanInputs, air: AirSaid, profile: Profile = "si") -> Windows:
    """Windows of inputs at hand, such as a job's with another speed tried out. [metric]"""
    return _windows(inputs, air, profile)


def _windows(inputs: PlanInputs, air: AirSaid, profile: Profile) -> Windows:
    from evenstand.expect import plan_for

    read = _read(air, profile)
    plan = plan_for(inputs)
    meters = tuple(_meter(b, plan.speed_m_s, profile) for b in plan.bins)
    asked = sum(a.rate_kg_ha for a in inputs.job.asks)
    load = _load(asked or None, plan.speed_m_s, plan.width_m)
    proof = inputs.outfit.fan_proof if inputs.outfit else FanProof()
    density_now = _density(inputs.job.weather, read, "")
    fan = _fan(inputs, air, read, load, plan.width_m, (_density(proof, read, "proven_"), density_now))
    low, high, claim = _speeds(meters, plan.speed_m_s, profile)
    readings = _readings(read, fan, cold=air.cold)
    return Windows(
        state=_worst((fan.state, *(m.state for m in meters), *(r.state for r in readings))), fan=fan, meters=meters,
        speed_m_s=plan.speed_m_s, speed_low_m_s=low, speed_high_m_s=high, speed_claim=claim, load_kg_s=load, air_kg_m3=density_now,
        readings=readings, opinions=_opinions(read, load, density_now, air.lines),
    )  # fmt: skip


def _read(air: AirSaid, profile: Profile) -> dict[str, float]:
    """Typed texts as metric numbers; every fault at once."""
    found: dict[str, float] = {}
    faults: list[Fault] = []
    for name, text in air.numbers.items():
        if not text.strip():
            continue
        where = name.replace("_", "-")
        try:
            if AIR_FIELDS[name] == "seconds":
                found[name] = read_quantity(text if text.strip()[-1:].isalpha() else f"{text} s", "time", profile, where=where) * 3600
            else:
                found[name] = read_quantity(text, AIR_FIELDS[name], profile, where=where)
        except UnitError as error:
            faults += error.faults
    for name, value in found.items():
        low_open = name not in {"height", "proven_height", "temperature", "proven_temperature", "humidity", "silent", "puff"}
        if low_open and value <= 0:
            where = name.replace("_", "-")
            faults.append(Fault(where=where, what="is not above 0", limit=f"0 < {where}", cure="Correct the value."))
    if air.lines is not None and air.lines < 1:
        faults.append(Fault(where="lines", what=f"{air.lines} lines", limit="1 or more", cure="Correct the value."))
    if faults:
        raise InputError(faults)
    return found


def _load(rate_kg_ha: float | None, speed_m_s: float | None, width_m: float | None) -> float | None:
    """Product per second through all lines. [kg/s]"""
    if rate_kg_ha is None or speed_m_s is None or width_m is None:
        return None
    return mass_flow(rate_kg_ha, speed_m_s, width_m)


def _density(known: FanProof | Weather, read: Mapping[str, float], prefix: str) -> float | None:
    """Air density, from what is typed first, else from the book; None without a temperature and a pressure or height. [kg/m³]"""
    warm = read.get(f"{prefix}temperature", known.temperature_c)
    height = read.get(f"{prefix}height", known.height_m)
    pressure = read.get(f"{prefix}pressure")
    if pressure is None and f"{prefix}height" not in read:
        pressure = known.pressure_pa
    if pressure is None and height is not None:
        pressure = standard_pressure(geopotential_height(height))
    if warm is None or pressure is None:
        return None
    moist = read.get("humidity") if not prefix else None
    return air_density(warm, pressure, moist if moist is not None else known.relative_humidity or 0.0)


def _fan(
    inputs: PlanInputs,
    air: AirSaid,
    read: Mapping[str, float],
    load: float | None,
    width_m: float | None,
    density: tuple[float | None, float | None],
) -> AirWindow:
    outfit = inputs.outfit
    proven = outfit.fan_turns_s if outfit else None
    proof = outfit.fan_proof if outfit else FanProof()
    speed, width = read.get("proven_speed"), read.get("proven_width", width_m)
    then = _load(read.get("proven_rate"), speed, width)
    crop = air.proven_product or proof.crop
    exponent = None
    if "second_fan" in read and "second_rate" in read and proven is not None and "proven_rate" in read:
        exponent = own_load_exponent(proven.value, read["proven_rate"], read["second_fan"], read["second_rate"])
        if not 0 <= exponent <= 1:
            raise InputError(
                f"the two proven speeds go as load to {exponent:.2f}", where="second-fan, second-rate", limit="0 to 1",
                cure="More load cannot ask for less air: look at both tests.",
            )  # fmt: skip
    return air_window(
        proven.value if proven else None,
        proven_solids_kg_s=then if then is not None else proof.load_kg_s,
        solids_kg_s=load,
        proven_density_kg_m3=density[0],
        density_kg_m3=density[1],
        proven_split=read.get("proven_split", read.get("split", 1.0)),
        split=read.get("split", read.get("proven_split", 1.0)),
        proven_product=crop,
        product=inputs.job.crop if crop else "",
        load_exponent=exponent,
        set_rev_s=read.get("fan_set"),
        max_rev_s=read.get("fan_max"),
    )


def _meter(b: BinPlan, speed_m_s: float | None, profile: Profile) -> MeterWindow:
    """One bin's window with its verdict."""
    low, high = b.speed_low_m_s, b.speed_high_m_s
    state: State = "cannot-tell"
    if b.factor_kg_turn is None:
        claim = "Cannot tell: product per turn is not known. Make a catch test."
    elif low is None or high is None:
        claim = "Cannot tell: the range of shaft speeds in which the meter doses evenly, or the width, is not known."
    else:
        span = f"{shown(low, 'speed', profile)} to {shown(high, 'speed', profile)}"
        if speed_m_s is None:
            claim = f"Doses evenly from {span}; the working speed is not known."
        elif low <= speed_m_s <= high:
            state, claim = "holds", f"{shown(speed_m_s, 'speed', profile)} lies within {span}."
        else:
            state = "does-not-hold"
            claim = f"{shown(speed_m_s, 'speed', profile)} lies outside {span}: another speed, roller, gear or rate."
    return MeterWindow(
        bin=b.bin, product=b.product, state=state, claim=claim, rate_kg_ha=b.rate_kg_ha,
        factor_kg_turn=b.factor_kg_turn.value if b.factor_kg_turn else None, shaft_turns_s=b.shaft_turns_s, speed_low_m_s=low,
        speed_high_m_s=high, rate_low_kg_ha=b.rate_low_kg_ha, rate_high_kg_ha=b.rate_high_kg_ha,
    )  # fmt: skip


def _speeds(meters: tuple[MeterWindow, ...], speed_m_s: float | None, profile: Profile) -> tuple[float | None, float | None, str]:
    """Ground speeds that suit every meter whose window is known."""
    spans = {m.bin: (m.speed_low_m_s, m.speed_high_m_s) for m in meters if m.speed_low_m_s is not None and m.speed_high_m_s is not None}
    if not spans:
        return None, None, "Cannot tell: no meter's window is known."
    both, slow, fast = shared_speed_window({key: (low, high) for key, (low, high) in spans.items() if low is not None and high is not None})
    if both is None:
        return None, None, f"No ground speed suits all meters: bin {slow} needs more speed than bin {fast} allows."
    least, most = (shown(value, "speed", profile) for value in both)
    left_out = f" Bin {', '.join(m.bin for m in meters if m.bin not in spans)} is not in it." if len(spans) < len(meters) else ""
    ends = f"bin {slow} sets both ends" if slow == fast else f"bin {slow} sets the slow end, bin {fast} the fast"
    return both[0], both[1], f"{least} to {most} suits every meter; {ends}.{left_out}"


def _readings(read: Mapping[str, float], fan: AirWindow, *, cold: bool) -> tuple[Finding, ...]:
    found: list[Finding] = []
    if "puff" in read or "silent" in read:
        found.append(puff_test(read.get("puff", 0.0), silent=int(read.get("silent", 0)), rev_s=read.get("fan_set")))
    steady = read.get("steady", read.get("fan_set"))
    if "under_load" in read or "at_lift" in read:
        if steady is None:
            raise InputError("the steady speed is missing", where="steady", cure="Give the fan's speed with the tool down and no product.")
        found.append(
            fan_droop(
                steady,
                loaded_rev_s=read.get("under_load"),
                lifted_rev_s=read.get("at_lift"),
                alarm_low_rev_s=fan.alarm_low_rev_s,
                cold_oil=cold,
            )
        )
    return tuple(found)


def _opinions(read: Mapping[str, float], load: float | None, density: float | None, lines: int | None) -> tuple[SaltationOpinion, ...]:
    """What correlations say about one line; nothing unless bore, grain, lines, load and air are all known."""
    if not {"bore", "grain"} <= set(read) or not load or density is None or lines is None:
        return ()
    return saltation_opinions(
        load / lines, read["grain"], density, read["bore"], particle_kg_m3=read.get("grain_density"),
        viscosity_pa_s=air_viscosity(read.get("temperature", 15.0)),
    )  # fmt: skip


def _worst(states: tuple[State, ...]) -> State:
    order: tuple[State, ...] = ("does-not-hold", "doubtful", "holds", "cannot-tell")
    return min(states, key=order.index)
