"""The card's lines on travel: working speed, distance per pulse by load and soil, stand-in speed, where to switch on and off."""

from __future__ import annotations

from evenstand.base.estimate import Est
from evenstand.expect.lines import CardFacts, line, shown
from evenstand.machine import Lag, flag_test, lag_distance, shared_speed_window, stand_in_dose, switch_point
from evenstand.model import CardLine
from evenstand.reference import default

STALE_PULSE = "tyre, load, soil state, wheel moved"


def speed_lines(f: CardFacts) -> list[CardLine]:
    """Speed with the window all meters share, pulses, the stand-in speed and what leaving it on does, the switch points."""
    return [_speed(f), *_pulses(f), *_stand_in(f), *_switching(f)]


def _speed(f: CardFacts) -> CardLine:
    windows = {
        b.bin: (b.speed_low_m_s, b.speed_high_m_s) for b in f.plan.bins if b.speed_low_m_s is not None and b.speed_high_m_s is not None
    }
    low = high = None
    why = ""
    if windows:
        span, slow, fast = shared_speed_window(windows)
        why = (
            "No speed suits all meters: another roller, gear or rate"
            if span is None
            else f"What all meters follow: bin {slow} sets the slow end, bin {fast} the fast"
        )
        low, high = span if span is not None else (None, None)
    speed = f.plan.speed_m_s
    if speed is not None and low is not None and high is not None and not low <= speed <= high:
        why += ". The working speed lies outside"
    return line(
        "speed",
        "travel",
        "Working speed",
        "speed",
        speed,
        ["speed"],
        role="expect",
        basis="typed",
        low=low,
        high=high,
        why=why,
        stale="another rate or roller",
    )


def _pulses(f: CardFacts) -> list[CardLine]:
    """The pulse in force, and those driven by load and soil."""
    outfit = f.outfit
    pulse = outfit.pulse_m if outfit else None
    tests = outfit.pulses if outfit else ()
    load, soil = default("wheel-loaded-to-empty"), default("wheel-yard-to-field")
    why = "One per cent long sows one per cent heavy, everywhere"
    if not tests:
        why += f". Load moves it {load.low:.0%} to {load.high:.0%}, yard to field {soil.low:.0%} to {soil.high:.0%} (common practice)"
    if outfit is not None and outfit.speed_source == "gnss":
        why = "Only if the wheel takes over from the GNSS. " + why
    lines = [line("pulse", "travel", "Distance per pulse", "pulse", pulse, ["pulse"], role="set", why=why, stale=STALE_PULSE)]
    for i, test in enumerate(tests, 1):
        off = (
            ""
            if pulse is None
            else f"{test.pulse_m.value / pulse.value - 1:+.1%} on the one in force: so much of the dose"
            if test.pulse_m.value != pulse.value
            else "The one in force"
        )
        label = f"Distance per pulse, {', '.join(t for t in (test.load, test.soil) if t)}"
        lines.append(line(f"pulse:{i}", "travel", label, "pulse", test.pulse_m, why=off, stale="tyre or pressure changed"))
    return lines


def _stand_in(f: CardFacts) -> list[CardLine]:
    typed = f.outfit.stand_in_m_s if f.outfit else None
    speed = f.plan.speed_m_s
    value = typed or speed
    lines = [
        line(
            "stand-in",
            "travel",
            "Stand-in speed, if the sensor fails",
            "speed",
            value,
            ["speed"],
            role="set",
            basis="typed",
            why="Check that it is off" if typed else "The working speed; check that it is off",
            stale="another working speed",
        )
    ]
    if value is None or speed is None:
        return lines
    slow, fast = speed * 0.9, speed * 1.1
    dose = stand_in_dose(1.0, value, speed)
    lines.append(
        line(
            "stand-in-on",
            "travel",
            "Dose of what is asked, stand-in speed left on",
            "share",
            dose,
            role="expect",
            low=stand_in_dose(1.0, value, fast),
            high=stand_in_dose(1.0, value, slow),
            shows=shown(stand_in_dose, rate_kg_ha=1.0, typed_m_s=value, true_m_s=speed),
            why="At the working speed; from a tenth faster to a tenth slower",
            stale="another speed",
        )
    )
    return lines


def _switching(f: CardFacts) -> list[CardLine]:
    """Where to switch before the headland line, from the flag test; without one, how to make it."""
    flag = f.outfit.flag if f.outfit else None
    out = []
    for switch, label, ahead in (
        ("on", "Switch on before the line", flag.on_m if flag else None),
        ("off", "Switch off before the line", flag.off_m if flag else None),
    ):
        driven = flag.speed_m_s if flag else None
        lag = _lag(switch, ahead, driven)
        if lag is None or f.plan.speed_m_s is None:
            missing = ["flag-test"] if lag is None else ["speed"]
            usual = default("start-lag" if switch == "on" else "stop-tail")
            why = f"Usually {usual.low:g} to {usual.high:g} s of driving (common practice), so measure it"
            out.append(line(f"switch-{switch}", "travel", label, "distance", None, missing, role="set", why=why))
            continue
        point = switch_point(lag, f.plan.speed_m_s)
        lost = "skipped" if switch == "on" else "sown twice"
        out.append(
            line(
                f"switch-{switch}",
                "travel",
                label,
                "distance",
                point.before_m,
                role="set",
                low=point.low_m,
                high=point.high_m,
                sd=None if lag.sd_s is None else lag.sd_s * f.plan.speed_m_s,
                basis="flag test",
                source=f"flag test{f' of {flag.at[:10]}' if flag and flag.at else ''}",
                shows=shown(lag_distance, lag_s=lag.lag_s, speed_m_s=f.plan.speed_m_s),
                why=f"{lag.lag_s:.1f} s from switch to opener. Switched at the line, so much is {lost}",
                stale="another speed, fan, product or hose",
            )
        )
    return out


def _lag(switch: str, ahead: Est | None, speed_m_s: float | None) -> Lag | None:
    if ahead is None or not speed_m_s:
        return None
    return flag_test([ahead.value], speed_m_s, switch=switch, reading_sd_m=ahead.sd)  # type: ignore[arg-type]
