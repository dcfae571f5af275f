"""A night's treating and the night's bins as lines and sentences to read."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from evenstand.base.units import Profile, rounded, shown
from evenstand.base.worked import Working
from evenstand.expect.lines import line

if TYPE_CHECKING:
    from evenstand.agronomy import TreatChoice, TreatClock
    from evenstand.desk.evenings import NightBin, TreatAnswer
    from evenstand.model import CardLine
    from evenstand.model.finding import State


def treat_sentence(found: TreatAnswer, units: Profile) -> str:
    """What to treat, how likely it runs short and what is left, in a sentence.

    Parameters
    ----------
    found : TreatAnswer
        As answered. [-]
    units : str
        The reader's. [-]
    """
    c = found.choice.choice
    short, left = _chance(c.chance_short), shown(c.left_kg, "mass", units)
    if c.treat_kg <= 0:
        return f"Treat none tonight: what is treated is enough. Chance of running short {short}; about {left} left."
    held = ""
    if found.without_cap is not None:
        other = found.without_cap.choice
        held = f" Your cap on what is left holds it down: without it {_amount(other, units)}, running short {_chance(other.chance_short)}."
    return f"Treat {_amount(c, units)} of {found.seed}. Chance of running short {short}; about {left} left over.{held}"


def _amount(c: TreatChoice, units: Profile) -> str:
    batches = "" if c.batches is None else f"{c.batches} batch{'es' if c.batches != 1 else ''}, "
    return f"{batches}{shown(c.treat_kg, 'mass', units)}"


def _chance(value: float) -> str:
    return "under 1 %" if 0 < value < 0.01 else f"{100 * value:.0f} %"


def treat_note(found: TreatAnswer) -> str:
    """How the amount was chosen; with a cap that holds it down, that. [text]"""
    if found.without_cap is None:
        return found.choice.note
    return "The most that keeps to your cap on what is left, nineteen times in twenty. Without the cap it would be more."


def treat_lines(found: TreatAnswer, units: Profile) -> tuple[CardLine, ...]:
    """The need and what comes of the choice, each with where it comes from. [metric]"""
    t, c = found.choice, found.choice.choice
    low, high = found.overlap
    twice = 1 + (low + high) / 2
    shows = Working(
        name="need", formula="area × (1 + overlap) × rate - treated already", inputs=(), source="definition", where="",
        substituted=f"{rounded(found.area.value)} × {rounded(twice, 3)} × {rounded(found.rate.value)} - {rounded(found.treated.value)}",
        result=found.area.value * twice * found.rate.value - found.treated.value,
    )  # fmt: skip
    spread = [
        f"Rate {shown(found.rate.value, 'rate', units)}, one standard deviation {shown(found.rate.sd, 'rate', units)}.",
        f"Area {shown(found.area.value, 'area', units)}, one standard deviation {shown(found.area.sd, 'area', units)}.",
        f"Overlap {shown(low, 'share', units)} to {shown(high, 'share', units)}, anything between equally likely.",
    ]
    ideal, lack, most = (shown(x, "mass", units) for x in (max(t.ideal_kg, 0.0), c.short_kg, c.left_high_kg))
    feed = ["Left-over treated seed must not be fed or sold as grain."]
    normal = ["The need is taken as normally distributed about its mean."]
    out = [
        line("need", "keep", "Seed still needed", "mass", t.need, why="For what is left, beyond what is treated", shows=shows, more=spread),
        line("treat", "keep", "Treat", "mass", c.treat_kg, why=f"Before rounding to batches {ideal}", more=[treat_note(found)]),
        line(
            "short", "keep", "Chance of running short", "share", c.chance_short, why=f"By {lack} on average over all outcomes", more=normal
        ),
        line("left", "keep", "Left over, to be expected", "mass", c.left_kg, why=f"At most {most} nineteen times in twenty", more=feed),
    ]
    if c.cost is not None:
        out.append(line("cost", "keep", "Cost to be expected", "money", c.cost, why="A stop and a shortage weighed against what is left"))
    return tuple(out)


def choice_rows(found: TreatAnswer, units: Profile) -> list[tuple[str, str, str, str, str]]:
    """One batch less, the choice, one more: amount, chance of running short, left to be expected, at most, cost. [text]"""
    t = found.choice
    rows = sorted((*t.beside, t.choice), key=lambda c: c.treat_kg)
    return [_choice_row(c, units, chosen=c is t.choice) for c in rows]


def _choice_row(c: TreatChoice, units: Profile, *, chosen: bool) -> tuple[str, str, str, str, str]:
    what = shown(c.treat_kg, "mass", units) + ("" if c.batches is None else f" ({c.batches})")
    return (
        f"{what}{', chosen' if chosen else ''}",
        _chance(c.chance_short),
        shown(c.left_kg, "mass", units),
        shown(c.left_high_kg, "mass", units),
        "" if c.cost is None else rounded(c.cost, 0),
    )


CLOCK_STATES: dict[str, State] = {"past": "does-not-hold", "short": "doubtful", "in-time": "holds", "cannot-tell": "cannot-tell"}


def clock_rows(found: TreatAnswer, units: Profile) -> list[tuple[State, str, str]]:
    """The label's clocks: state, sentence, note. [text]"""
    out = []
    for clock, what in ((found.clock_now, "What is treated already"), (found.clock_tonight, "All of it, if treated now")):
        if clock is not None:
            out.append((CLOCK_STATES[clock.state], _clock_sentence(clock, what, found, units), clock.note))
    return out


def _clock_sentence(clock: TreatClock, what: str, found: TreatAnswer, units: Profile) -> str:
    due = datetime.fromisoformat(clock.due).astimezone() if clock.due else None
    by = f"{due.day} {due:%B}, {due:%H:%M}" if due else "not known"
    text = f"{what}: sow it by {by} ({found.label_hours:g} h by its label{found.label})."
    if clock.hours_left is not None and clock.hours_left >= 0:
        text += f" {shown(clock.hours_left, 'time', units)} left."
    if clock.late_kg:
        text += f" At this outfit's pace {shown(clock.late_kg, 'mass', units)} would come too late."
    return text


def short_name(name: str) -> str:
    """An outfit's name without what stands behind a colon. [text]"""
    return name.partition(":")[0].strip() or name


def night_sentence(found: tuple[NightBin, ...], names: dict[str, str]) -> tuple[str, State]:
    """Which bins to empty, in a sentence, and the worst state.

    Parameters
    ----------
    found : tuple of NightBin
        The worst first. [-]
    names : dict of str to str
        Outfit names by key; named only where there are several. [-]
    """
    if not found:
        return "No bin holds fertilizer tonight.", "holds"
    several = len({b.outfit for b in found}) > 1

    def called(b: NightBin) -> str:
        return f"bin {b.bin}{f' of {short_name(names.get(b.outfit, b.outfit))}' if several else ''} ({' and '.join(b.products)})"

    must = [called(b) for b in found if b.keeping.state == "does-not-hold"]
    better = [called(b) for b in found if b.keeping.state == "doubtful"]
    stay = [called(b) for b in found if b.keeping.state == "holds"]
    unknown = [called(b) for b in found if b.keeping.state == "cannot-tell"]
    parts = [
        (must, "Empty tonight"),
        (better, "Better empty too" if must else "Better empty tonight"),
        (stay, "May stay"),
        (unknown, "Cannot tell of"),
    ]
    text = " ".join(f"{head}: {', '.join(items)}." for items, head in parts if items)
    return text, found[0].keeping.state


def night_lines(found: tuple[NightBin, ...]) -> tuple[CardLine, ...]:
    """Critical humidity of each bin with its publisher, and the hours above it. [-]"""
    out = []
    for b in found:
        k = b.keeping
        what = " and ".join(b.products)
        key, label = f"humid:{b.outfit}:{b.bin}", f"{what} takes up water from"
        if k.critical is None:
            needs = ["its critical relative humidity"]
            out.append(line(key, "keep", label, "share", None, needs, bin=b.bin, how="Ask the supplier and type it below."))
            continue
        when = f" from {b.from_hour:02d}:00" if b.from_hour is not None else ""
        above = f"{k.hours_above:g} of {k.hours:g} hours above{when}" if k.hours_above and k.hours else "No hour above" if k.hours else ""
        top = f"highest forecast {k.highest:.0%}" if k.highest is not None else "no forecast is typed"
        why = f"{above}; {top}" if above else f"{top[:1].upper()}{top[1:]}"
        basis, by = ("common-practice", "common-practice") if k.seen == "practice" else (k.seen, b.source)
        low, high = k.critical, k.critical_high
        out.append(
            line(
                key,
                "keep",
                label,
                "share",
                k.critical,
                low=low,
                high=high,
                bin=b.bin,
                basis=basis,
                source=by,
                why=why,
                more=[b.note],
            )
        )
    return tuple(out)
