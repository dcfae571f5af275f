"""Proving an outfit: what must be measured before the first hectare, the band each is held against, and when it is due again.

Bands are common practice: outside one means "find out why", not "broken".
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from evenstand.base.units import Profile, shown, shown_value
from evenstand.model import Bin, Outfit
from evenstand.reference import default, figure

ProofState = Literal["open", "inside", "outside", "noted", "due"]
Phase = Literal["as-delivered", "as-found"]
Moment = Literal["yard", "first-metres"]
STATE_WORDS: Mapping[str, str] = {
    "open": "not measured yet",
    "inside": "inside its band",
    "outside": "outside: find out why",
    "noted": "noted",
    "due": "due again",
}
CAUTIONS = (
    "Fan off and pressure gone before a lid, a hose or a door is opened; nobody stands at the openers during a puff test.",
    "Drive stopped and locked before hands go near meters or rollers; nobody under a raised tool that is not locked.",
    "Look up before the tool is folded or unfolded. Manuals, labels and local codes come first.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One thing to be measured. key: with a bin, stream behind a colon; quantity: key of the units table, "" for words; low, high: the
    band [metric], None where there is none; good: words that are as they should be, choices: all words to choose from; band_from: what
    the band rests on; stale: what makes it due again, in words; watch: values of the outfit whose change makes it due; each_season: due
    again with the year."""

    key: str
    title: str
    how: str
    quantity: str = ""
    low: float | None = None
    high: float | None = None
    good: tuple[str, ...] = ()
    choices: tuple[str, ...] = ()
    band_from: str = ""
    stale: str = ""
    watch: tuple[str, ...] = ()
    each_season: bool = True
    moment: Moment = "yard"

    def band(self, profile: Profile) -> str:
        """The band in the reader's units, or the words that are as they should be. [text]"""
        if not self.quantity:
            return " or ".join(self.good)
        if self.low is not None and self.high is not None:
            if self.low == self.high:
                return shown(self.low, self.quantity, profile)
            return f"{shown_value(self.low, self.quantity, profile)} to {shown(self.high, self.quantity, profile)}"
        if self.high is not None:
            return f"at most {shown(self.high, self.quantity, profile)}"
        return f"at least {shown(self.low, self.quantity, profile)}" if self.low is not None else ""

    def fits(self, value: float | None, text: str) -> bool | None:
        """Whether something measured lies in the band; None where nothing says. [-]"""
        if self.quantity:
            if value is None or (self.low is None and self.high is None):
                return None
            slack = 1e-9 * max(abs(value), 1.0)
            return (self.low is None or value >= self.low - slack) and (self.high is None or value <= self.high + slack)
        return text.strip().lower() in {g.lower() for g in self.good} if self.good else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What was measured for an item [metric unit of the item], or found in words. at: ISO time or day; by: who, or where it stands."""

    item: str
    value: float | None = None
    text: str = ""
    phase: Phase = "as-found"
    at: str = ""
    by: str = ""
    note: str = ""

    def said(self, item: Item, profile: Profile) -> str:
        """What was found, in the reader's units. [text]"""
        return shown(self.value, item.quantity, profile) if item.quantity and self.value is not None else self.text


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of the record. latest: what was measured last; delivered: what it was when the outfit was delivered; due: why it is due;
    since: when it went stale, ISO time or day, "" where it has not or nobody knows."""

    item: Item
    state: ProofState
    latest: Measured | None = None
    delivered: Measured | None = None
    due: str = ""
    since: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofFacts:
    """A snapshot of an outfit. factors: product per turn typed, by bin [kg/turn]; products: what each bin is
    to hold, by name; measured: all that was, oldest first; changed: when a
    watched value last changed, by its name; today: local date."""

    outfit: Outfit
    factors: Mapping[str, float] = field(default_factory=dict)
    products: Mapping[str, str] = field(default_factory=dict)
    measured: Sequence[Measured] = ()
    changed: Mapping[str, str] = field(default_factory=dict)
    today: date | None = None


def record_lines(facts: ProofFacts) -> tuple[Line, ...]:
    """Every item of an outfit with what is known of it.

    Parameters
    ----------
    facts : ProofFacts
        The outfit and all that was measured on it. [metric]

    Returns
    -------
    tuple of Line
        In the order of the work: tape, distance, meters, air, heads and runs, soil. [-]
    """
    return tuple(_line(item, facts) for item in items(facts))


def _line(item: Item, facts: ProofFacts) -> Line:
    mine = sorted((m for m in facts.measured if m.item == item.key), key=lambda m: m.at)
    if not mine:
        return Line(item=item, state="open")
    latest = mine[-1]
    delivered = next((m for m in mine if m.phase == "as-delivered"), None)
    (moved, since), old = _moved(item, latest, facts), _old(item, latest, facts)
    fits = item.fits(latest.value, latest.text)
    state: ProofState = "due" if moved else "outside" if fits is False else "due" if old else "inside" if fits else "noted"
    return Line(item=item, state=state, latest=latest, delivered=delivered, due=moved or old, since=since)


def _moved(item: Item, latest: Measured, facts: ProofFacts) -> tuple[str, str]:
    """What it rests on and has changed first since it was measured, and when; the band may have moved with it. ("", "") if nothing has."""
    after = [(facts.changed[n], n) for n in item.watch if latest.at and facts.changed.get(n, "") > latest.at]
    if not after:
        return "", ""
    since, name = min(after)
    return f"{watched_name(name)} on {since[:10]}", since


def watched_name(name: str) -> str:
    """A change as a person says it: 'the roller changed'. [text]"""
    key = name.partition(":")[0]
    return NOTED.get(key) or ("a catch was made" if key == "caught" else f"{_WATCHED.get(key, name)} changed")


def _old(item: Item, latest: Measured, facts: ProofFacts) -> str:
    """Whether it is of an earlier season."""
    if item.each_season and facts.today is not None and latest.at[:4].isdigit() and int(latest.at[:4]) < facts.today.year:
        return f"measured in {latest.at[:4]}: once each season"
    return ""


NOTED: Mapping[str, str] = {
    "tyres": "tyres or their pressure changed",
    "soil": "other soil",
    "receiver": "radar or receiver changed",
    "oil": "tractor, oil flow or priority changed",
    "hoses": "hoses changed",
    "points": "points changed or the tool levelled",
    "lids": "a lid or seal changed",
    "sensors": "run sensors changed",
}
"""Changes no value of the outfit shows; somebody has to say them."""

_WATCHED = {
    "lot": "the lot",
    "treatment": "the treatment",
    "speed_source": "the speed source",
    "speed_m_s": "the working speed",
    "rows": "the number of openers",
    "row_spacing_m": "the row spacing",
    "widths_rate_m": "the typed width",
    "pulse_m": "the distance per pulse",
    "wheel_m": "the wheel",
    "meter_roller": "the roller",
    "meter_setting": "the meter's setting",
    "factor": "the typed product per turn",
    "runs": "the run map",
    "heads": "a head",
    "fan_turns_s": "the fan speed",
}


def items(facts: ProofFacts) -> Iterator[Item]:
    """What must be measured on an outfit, each with its band. [metric]"""
    yield from _widths(facts)
    yield _distance()
    for b in facts.outfit.bins:
        yield from _of_bin(b, facts)
    yield from _air(facts)
    yield from _heads(facts.outfit)
    yield from _soil(facts.outfit)


def _around(value: float | None, share: float) -> tuple[float | None, float | None]:
    return (None, None) if value is None else (value * (1 - share), value * (1 + share))


def _widths(facts: ProofFacts) -> Iterator[Item]:
    o = facts.outfit
    counted = o.rows * o.row_spacing_m if o.rows and o.row_spacing_m else None
    low, high = _around(counted, figure("commissioning", "bands", "width").value)
    yield Item(
        key="width",
        title="True width, taped",
        how="First opener to last by tape, openers down, then add one row spacing.",
        quantity="width",
        low=low,
        high=high,
        band_from="openers times spacing; common practice",
        stale="openers, wings or spacing changed",
        watch=("rows", "row_spacing_m"),
    )
    taped = next((m.value for m in reversed(list(facts.measured)) if m.item == "width" and m.value is not None), None)
    low, high = _around(taped or counted, figure("commissioning", "bands", "typed-width").value)
    yield Item(
        key="typed-width",
        title="Width typed for the rate",
        how="Read it on the display, digit by digit, with its unit.",
        quantity="width",
        low=low,
        high=high,
        band_from="the taped width; common practice",
        stale="somebody types another",
        watch=("widths_rate_m",),
    )


def _distance() -> Item:
    low, high = _around(1.0, figure("commissioning", "bands", "distance").value)
    return Item(
        key="distance",
        title="Distance counted over a taped one",
        how="100 to 150 m by tape, bins half full, on the soil to be sown: counted over taped, as 100.4 %.",
        quantity="share",
        low=low,
        high=high,
        band_from="common practice",
        stale="tyres, wheel, radar or receiver changed",
        watch=("pulse_m", "wheel_m", "speed_source", "tyres", "soil", "receiver"),
    )


def _of_bin(b: Bin, facts: ProofFacts) -> Iterator[Item]:
    name = f"bin {b.letter}" + (f" ({b.label})" if b.label else "")
    low, high = _around(facts.factors.get(b.letter), figure("commissioning", "bands", "catch").value)
    yield Item(
        key=f"catch:{b.letter}",
        title=f"Catch, {name}" + (f", {facts.products[b.letter]}" if b.letter in facts.products else ""),
        how="Roll the meter full, tare the bag, turn long; all segments, or say how many.",
        quantity="factor",
        low=low,
        high=high,
        band_from="the product per turn typed; common practice",
        stale="lot, treatment, roller or setting changed",
        watch=tuple(f"{n}:{b.letter}" for n in ("factor", "meter_roller", "meter_setting", "lot", "treatment")),
    )
    roller = b.meter.roller
    yield Item(
        key=f"roller:{b.letter}",
        title=f"Roller, {name}",
        how="Look at it, and at its wear and seals; write down what is in.",
        good=(roller,) if roller else (),
        choices=(roller,) if roller else (),
        band_from="the outfit as it is on record" if roller else "",
        stale="roller changed",
        watch=(f"meter_roller:{b.letter}",),
    )
    yield Item(
        key=f"lid:{b.letter}",
        title=f"Lid and seals, {name}",
        how="Soapy water at lid, seals and hoses with the fan running: no bubbles.",
        good=("tight",),
        choices=("tight", "leaks"),
        band_from="no bubbles",
        stale="lid or seal changed",
        watch=("lids",),
    )
    yield Item(
        key=f"door:{b.letter}",
        title=f"Catch door and shut-off, {name}",
        how="Shut it, turn the meter, look under the cart for a pile.",
        good=("tight",),
        choices=("tight", "leaks"),
        band_from="nothing on the ground",
        stale="after each catch",
        watch=(f"caught:{b.letter}",),
    )


def _air(facts: ProofFacts) -> Iterator[Item]:
    yield Item(
        key="puff",
        title="Puff test, slowest opener",
        how="A short burst with product: seconds until the last opener blows.",
        quantity="seconds",
        high=figure("air", "fan", "puff-seconds").value,
        band_from="common practice",
        stale="product, rate, hoses or lids changed",
        watch=("runs", "fan_turns_s", "hoses", "lids"),
    )
    yield Item(
        key="fan-idle",
        title="Fan speed without product",
        how="Oil warm, tool down, meters off.",
        quantity="fan",
        stale="oil flow, tractor or fan changed",
        watch=("oil",),
    )
    idle = next((m.value for m in reversed(list(facts.measured)) if m.item == "fan-idle" and m.value is not None), None)
    droop = figure("air", "fan", "load-droop").high / 60
    yield Item(
        key="fan-load",
        title="Fan speed with product",
        how="The same, meters on at the rate of the job.",
        quantity="fan",
        low=None if idle is None else idle - droop,
        high=idle,
        band_from="the speed without product; common practice",
        stale="product, rate or oil flow changed",
        watch=("oil", "fan_turns_s"),
    )
    yield Item(
        key="fan-lift",
        title="Sag of the fan when the tool is lifted",
        how="Lowest speed in the seconds after the lift, less the speed before.",
        quantity="fan",
        high=figure("air", "fan", "lift-sag").high / 60,
        band_from="common practice",
        stale="tractor or oil priority changed",
        watch=("oil",),
    )


def _heads(o: Outfit) -> Iterator[Item]:
    open_runs = [r for r in o.runs if not r.shut]
    count = float(len(open_runs)) if open_runs else (float(o.rows) if o.rows else None)
    yield Item(
        key="runs",
        title="Runs walked to their opener",
        how="Hose by hose from head to opener: how many lead where the run map says.",
        quantity="count",
        low=count,
        high=count,
        band_from="the run map",
        stale="a hose or head changed",
        watch=("runs", "hoses"),
    )
    sensed = float(sum(1 for r in o.runs if r.sensor is not None)) if o.runs else None
    if sensed != 0:
        yield Item(
            key="sensors",
            title="Run sensors that answer",
            how="Count those the display knows; tap one in ten and see that it is the right one.",
            quantity="count",
            low=sensed,
            high=sensed,
            band_from="the run map",
            stale="a sensor or hose changed",
            watch=("runs", "sensors", "hoses"),
        )
    yield Item(
        key="hoses",
        title="Hoses like for like",
        how="Bore and length alike within a head; no dents, no sags.",
        good=("like for like",),
        choices=("like for like", "not alike"),
        band_from="alike within a head",
        stale="a hose replaced",
        watch=("runs", "hoses"),
    )
    if o.heads:
        yield Item(
            key="heads",
            title="Best head over worst",
            how="Bag every head over the same turns: largest over smallest per outlet, less one.",
            quantity="share",
            low=0.0,
            high=figure("commissioning", "bands", "heads").value,
            band_from="common practice",
            stale="segments, heads or runs changed",
            watch=("heads", "runs"),
        )


def _soil(o: Outfit) -> Iterator[Item]:
    yield Item(
        key="level",
        title="Between the mean depths of ranks and wings",
        how="Dig a few seeds in each rank, wing and wheel track; mean of each.",
        quantity="depth",
        low=0.0,
        high=figure("commissioning", "lengths", "depth-means").value,
        band_from="common practice",
        stale="tool levelled, points changed, other soil",
        watch=("points", "soil"),
        moment="first-metres",
    )
    speed = o.speed_m_s
    for key, title, name in (("flag-on", "Flag to first seed", "start-lag"), ("flag-off", "Flag to last seed", "stop-tail")):
        lag = default(name)
        yield Item(
            key=key,
            title=title,
            how="A flag where the switch went; dig for the seed; tape between.",
            quantity="width",
            low=None if speed is None else lag.low * speed,
            high=None if speed is None else lag.high * speed,
            band_from="usual seconds times the working speed; common practice" if speed is not None else "",
            stale="speed, fan, hoses changed",
            watch=("speed_m_s", "fan_turns_s", "hoses"),
            moment="first-metres",
        )
    for s in o.streams:
        where = {"seed-row": "in the seed row", "side-band": "in the side band", "mid-row": "in the mid row"}.get(s.placement or "", "")
        yield Item(
            key=f"stream:{s.key}",
            title=f"Where {s.label or s.key} ends",
            how="Dig one opener on each stream in the first metres.",
            good=(where,) if where else (),
            choices=("in the seed row", "in the side band", "in the mid row"),
            band_from="the outfit as it is on record" if where else "",
            stale="diverters, hoses or openers changed",
            watch=("runs", "hoses", "points"),
            moment="first-metres",
        )
