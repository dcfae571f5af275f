"""The card's lines on the fan: the proven speed carried to today's load and air, its alarms, and the test that proves it."""

from __future__ import annotations

from evenstand.expect.lines import CardFacts, line, shown
from evenstand.expect.sums import alarm_speed
from evenstand.machine import air_density, air_window, mass_flow, standard_pressure
from evenstand.machine.fans import AirWindow
from evenstand.model import CardLine, FanProof, Weather
from evenstand.reference import default, figure

STALE = "load, product, height, hoses, lid seals, splitter"


def fan_window(f: CardFacts) -> AirWindow:
    """The fan's window for this job, from the speed proven on this outfit; without one it says how to prove one. [rev/s]"""
    outfit = f.outfit
    proven = outfit.fan_turns_s if outfit else None
    proof = outfit.fan_proof if outfit else FanProof()
    now = f.job.weather
    return air_window(
        proven.value if proven else None,
        proven_solids_kg_s=proof.load_kg_s,
        solids_kg_s=total_load_kg_s(f),
        proven_density_kg_m3=_density(proof),
        density_kg_m3=_density(now),
        proven_product=proof.crop,
        product=f.job.crop if proof.crop else "",
    )


def total_load_kg_s(f: CardFacts) -> float | None:
    """Product through all lines together at the working speed. [kg/s]"""
    if f.plan.speed_m_s is None or f.plan.width_m is None or not f.plan.bins:
        return None
    return sum(mass_flow(a.rate_kg_ha, f.plan.speed_m_s, f.plan.width_m) for a in f.job.asks)


def _density(air: FanProof | Weather) -> float | None:
    """Air density where a temperature and a pressure or a height are known. [kg/m³]"""
    pressure = air.pressure_pa if air.pressure_pa is not None else None if air.height_m is None else standard_pressure(air.height_m)
    if air.temperature_c is None or pressure is None:
        return None
    return air_density(air.temperature_c, pressure, air.relative_humidity or 0.0)


def fan_lines(f: CardFacts) -> list[CardLine]:
    """Fan speed to set, its two alarms, the speed it comes from, and the puff test."""
    window = fan_window(f)
    proven = f.outfit.fan_turns_s if f.outfit else None
    test = line(
        "puff",
        "fan",
        "Puff test",
        "count",
        role="expect",
        text=f"every opener blows within about {figure('air', 'fan', 'puff-seconds').value:g} s",
        basis="common-practice",
        why="A short burst with product metering. Slower, or one silent: air-starved, plugged or leaking",
        stale=STALE,
    )
    if window.rev_s is None or proven is None:
        return [
            line(
                "fan",
                "fan",
                "Fan speed",
                "fan",
                None,
                ["fan"],
                role="set",
                why="Cannot tell: no speed is proven on this outfit. Do the puff test",
            ),
            line("fan-low", "fan", "Fan alarm, low", "fan", None, ["fan"], role="alarm"),
            line("fan-high", "fan", "Fan alarm, high", "fan", None, ["fan"], role="alarm"),
            test,
        ]
    below, above = default("fan-alarm-low").value, default("fan-alarm-high").value
    mattered = ", ".join(f"{i.name} {i.ratio:.2f} times: {i.factor - 1:+.1%}" for i in window.mattered if abs(i.factor - 1) >= 5e-4)
    mattered = f"From the proven one, {mattered}" if mattered else ""
    day = f.outfit.fan_proof.at[:10] if f.outfit and f.outfit.fan_proof.at else ""
    lines = [
        line(
            "fan",
            "fan",
            "Fan speed",
            "fan",
            window.rev_s,
            role="set",
            low=window.low_rev_s,
            high=window.high_rev_s,
            sd=proven.sd,
            basis=f"proven on this outfit{f', {day}' if day else ''}",
            source=proven.source or "proven",
            why=mattered or "As proven: nothing that matters is known to differ",
            more=(*window.working, *window.notes, *((window.band.text,) if window.band else ())),
            stale=STALE,
            stale_now=window.claim if window.state in {"doubtful", "does-not-hold"} else "",
        ),
        line(
            "fan-low",
            "fan",
            "Fan alarm, low",
            "fan",
            window.alarm_low_rev_s,
            role="alarm",
            basis="common-practice",
            sd=proven.sd,
            shows=shown(alarm_speed, rev_s=window.rev_s, share=-below),
            why=f"{below:.0%} below the setting (common practice)",
            stale="another setting",
        ),
        line(
            "fan-high",
            "fan",
            "Fan alarm, high",
            "fan",
            window.alarm_high_rev_s,
            role="alarm",
            basis="common-practice",
            sd=proven.sd,
            shows=shown(alarm_speed, rev_s=window.rev_s, share=above),
            why=f"{above:.0%} above the setting (common practice)",
            stale="another setting",
        ),
        line("fan-proven", "fan", "Fan speed as proven", "fan", proven, basis="proven", why=_proof(f), stale=STALE),
        test,
    ]
    if window.missing:
        lines.append(
            line(
                "fan-air",
                "fan",
                "Fan speed for this air and load",
                "fan",
                None,
                list(window.missing),
                how="Write it down on the day the fan is proven, and today.",
            )
        )
    return lines


def _proof(f: CardFacts) -> str:
    proof = f.outfit.fan_proof if f.outfit else FanProof()
    parts = [
        f"with {proof.crop}" if proof.crop else "",
        f"{proof.load_kg_s:.2f} kg/s of product" if proof.load_kg_s is not None else "",
        f"at {proof.temperature_c:.0f} °C" if proof.temperature_c is not None else "",
        f"{proof.pressure_pa / 1000:.1f} kPa"
        if proof.pressure_pa is not None
        else f"{proof.height_m:.0f} m up"
        if proof.height_m is not None
        else "",
    ]
    told = ", ".join(p for p in parts if p)
    return f"Proven {told}" if told else "Load and air of that day are not written down"
