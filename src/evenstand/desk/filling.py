"""The fill check with a book: what is on record is offered, what a person types comes before it, and earlier fills sharpen the answer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from evenstand.base.clock import Clock, iso
from evenstand.base.errors import Fault, MissingError
from evenstand.base.estimate import Est
from evenstand.base.units import Profile, rounded, shown
from evenstand.check import FillTaken, fill_check, fill_series
from evenstand.check.calls import level_spread
from evenstand.desk.fill_bins import BinNow
from evenstand.model import Finding, HowKnown, Reading
from evenstand.reference import default, fill_sd
from evenstand.tally import conveyor_mass

if TYPE_CHECKING:
    from evenstand.book import Book

Look = Literal["", "light", "empty", "quarter", "half", "three-quarters"]
LOOKS: dict[str, float] = {"quarter": 0.25, "half": 0.5, "three-quarters": 0.75}
HOW_TEXT = {
    "ticket": "a ticket", "truck-scale": "a truck scale", "pads": "weigh pads", "cart-scale": "the cart's own scale", "tote": "totes",
    "brim": "the brim", "conveyor": "the conveyor's time", "glance": "a glance", "share": "a share of a ticket",
}  # fmt: skip
"""Ways of knowing what went in, behind "known by"."""
COUNTER_SD_HA = 0.05
"""Displays show an area to a tenth of a hectare: common practice. [ha]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class FillSaid:
    """What a person says at the fill; None or "" for what was not said. area_ha since the fill, counter_ha the counter itself now [ha];
    put_kg and put_how; before_kg in the bin before it; look: what the bin looks like; left_kg in it now and left_how ("glance", "light",
    "weighed", "empty") [kg]; dose_kg_ha asked [kg/ha]; new_ground_only: the area leaves out ground sown twice; light_at_ha: the counter
    when the low-level light came on, where the check is then made [ha]; ran_s: how long the conveyor ran [s], delivery_kg_s what it
    delivers [kg/s]; load: key of the truck load or delivery the fill came out of."""

    area_ha: float | None = None
    counter_ha: float | None = None
    put_kg: float | None = None
    put_how: str = ""
    before_kg: float | None = None
    look: str = ""
    left_kg: float | None = None
    left_how: str = "glance"
    dose_kg_ha: float | None = None
    new_ground_only: bool = False
    light_at_ha: float | None = None
    ran_s: float | None = None
    delivery_kg_s: float | None = None
    load: str = ""

    @property
    def conveyed(self) -> bool:
        """Whether what went in is to come from the conveyor's time."""
        return self.put_kg is None and self.ran_s is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Total:
    """The running total. fills taken together; change: used over asked, less one [-]; sd: of it, by what was weighed and seen alone [-];
    more: fills like these until an error of 2 % can be seen, 0 now, None never; finding: the total held against the rate asked."""

    fills: int
    change: float
    sd: float
    more: int | None
    finding: Finding


@dataclass(frozen=True, slots=True, kw_only=True)
class FillAnswer:
    """finding: the sentence; total: over earlier fills too; taken: what was used that nobody typed, in words; area_ha, put_kg, before_kg,
    left_kg, left_how: what was reckoned with [ha, kg]."""

    finding: Finding
    total: Total
    taken: tuple[str, ...]
    area_ha: float
    put_kg: float
    before_kg: float
    left_kg: float
    left_how: str


def answer_fill(now: BinNow | None, said: FillSaid, *, profile: Profile = "si") -> FillAnswer:
    """The fill check from what was said and what is on record; what was said comes first.

    Parameters
    ----------
    now : BinNow or None
        The bin as the book knows it; None: nothing but what was said. [kg, ha, kg/ha]
    said : FillSaid
        As much as is known. [kg, ha, kg/ha]
    profile : str
        Units of the sentences. [-]

    Returns
    -------
    FillAnswer
        The sentence, and the running total. [-]

    Raises
    ------
    MissingError
        Naming each number that is still missing and how to get it.
    RangeError
        As `fill_check` does.
    """
    faults: list[Fault] = []
    taken: list[str] = []
    area = _area(now, said, faults, taken, profile)
    before, before_sd = _before(now, said, taken, profile)
    put, put_sd = _put(now, said, before, faults, taken, profile)
    left, left_how, left_sd = _left(now, said, put + before, faults, taken, profile)
    dose = said.dose_kg_ha if said.dose_kg_ha is not None else now.dose_kg_ha if now else None
    if dose is None:
        faults.append(Fault(where="dose", what="the rate asked is missing", cure="Type it, or choose the bin."))
    if faults or dose is None:
        raise MissingError(faults)
    letters = now.letters if now else ()
    dose_sd = now.dose_sd if now else default("factor-in-a-day").value
    overlap = (0.0, default("overlap-sections").high) if said.new_ground_only else (0.0, 0.0)
    bin_, product = (letters[0] if len(letters) == 1 else ""), (now.name if now else "")
    finding = fill_check(
        area, put, left, dose, level_before_kg=before, level_before_sd_kg=before_sd, put_sd_kg=put_sd, level_sd_kg=left_sd,
        dose_sd=dose_sd, overlap=overlap, profile=profile, bin=bin_, product=product,
    )  # fmt: skip
    how = "conveyor" if said.conveyed else said.put_how or (now.put_how if now is not None and said.put_kg is None else "")
    last = FillTaken(area_ha=area, put_kg=put, put_sd_kg=put_sd, level_kg=left, level_sd_kg=left_sd, how=how)
    total = _total(now, last, dose, before, before_sd, dose_sd, overlap, profile)
    return FillAnswer(
        finding=finding, total=total, taken=tuple(taken), area_ha=area, put_kg=put, before_kg=before, left_kg=left, left_how=left_how
    )


def _area(now: BinNow | None, said: FillSaid, faults: list[Fault], taken: list[str], profile: Profile) -> float:
    counter = said.counter_ha
    if said.light_at_ha is not None:
        if said.area_ha is not None or counter is not None or said.left_kg is not None or said.look not in ("", "light"):
            cure = "The check is made where the light came on: leave area, counter and what is in the bin now empty."
            faults.append(Fault(where="light_at", what="the light and another look cannot both end the check", cure=cure))
            return 1.0
        counter = said.light_at_ha
    if said.area_ha is not None:
        return said.area_ha
    if counter is None:
        faults.append(Fault(where="area", what="the area since the fill is missing", cure="Type it, or what the counter shows now."))
        return 1.0
    if now is None or now.counter_ha is None:
        faults.append(
            Fault(where="counter", what="the counter at that fill is not on record", cure="Type the area since the fill instead.")
        )
        return 1.0
    area = counter - now.counter_ha
    if area <= 0:
        at = shown(now.counter_ha, "area", profile)
        where = "counter" if said.light_at_ha is None else "light_at"
        faults.append(Fault(where=where, what="the counter stands before the fill", limit=f"above {at}", cure="Read it again."))
        return 1.0
    taken.append(f"{shown(area, 'area', profile)} since that fill: the counter stood at {shown(now.counter_ha, 'area', profile)}.")
    return area


def _before(now: BinNow | None, said: FillSaid, taken: list[str], profile: Profile) -> tuple[float, float]:
    full = now.full_kg if now else None
    if said.before_kg is not None:
        return said.before_kg, level_spread("glance", said.before_kg, full or 0.0) if said.before_kg and full else 0.0
    if now is not None and now.before_kg is not None:
        taken.append(f"{shown(now.before_kg, 'mass', profile)} was in before it, on record.")
        return now.before_kg, now.before_sd_kg or 0.0
    taken.append("Nothing was in before it: no level is on record.")
    return 0.0, 0.0


def _put(now: BinNow | None, said: FillSaid, before: float, faults: list[Fault], taken: list[str], profile: Profile) -> tuple[float, float]:
    full = now.full_kg if now else None
    how = said.put_how or (now.put_how if now and now.put_how != "all" else "") or "ticket"
    if said.put_kg is not None:
        if not said.put_how:
            taken.append(f"{shown(said.put_kg, 'mass', profile)} is taken as known by {HOW_TEXT.get(how, how)}: nothing else was said.")
        return said.put_kg, fill_sd(how, said.put_kg, bin_full_kg=full)
    if said.conveyed and said.ran_s is not None:
        return _conveyed(now, said, said.ran_s, faults, taken, profile)
    if said.put_how == "brim" and full is not None:
        taken.append(f"Brim-full is {shown(full, 'mass', profile)}.")
        return max(full - before, 0.0), fill_sd("brim", full)
    if now is None or now.put_kg is None or now.put_sd_kg is None:
        cure = "Type it" + (", or say brim-full." if full is not None else ".")
        faults.append(Fault(where="put", what="what was put in is missing", cure=cure))
        return 0.0, 0.0
    one = f"was put in, known by {HOW_TEXT.get(how, how)}" if now.put_how != "all" else f"was put in with {now.fills} fills"
    taken.append(f"{shown(now.put_kg, 'mass', profile)} {one}, on record.")
    return now.put_kg, now.put_sd_kg if not said.put_how or now.put_how == "all" else fill_sd(how, now.put_kg, bin_full_kg=full)


def _conveyed(
    now: BinNow | None, said: FillSaid, ran_s: float, faults: list[Fault], taken: list[str], profile: Profile
) -> tuple[float, float]:
    """What the conveyor put in, at the delivery typed, else at the one learned."""
    typed = said.delivery_kg_s
    delivery = Est(value=typed, basis="typed", source="typed") if typed is not None else now.conveyor if now is not None else None
    if delivery is None:
        cure = "Type it. Or weigh one fill and note the minutes with it: from then on it is known."
        faults.append(Fault(where="delivery", what="what the conveyor delivers is not known", cure=cure))
        return 0.0, 0.0
    found = conveyor_mass(ran_s, delivery)
    mass, rate = shown(found.value, "mass", profile), shown(delivery.value, "mass_flow", profile)
    known = "as typed" if typed is not None else "learned from weighed fills"
    taken.append(f"{mass} (± {shown(1.96 * found.sd, 'mass', profile)}) by {rounded(ran_s / 60, 1)} min of conveyor at {rate}, {known}.")
    return found.value, found.sd


def _left(
    now: BinNow | None, said: FillSaid, most: float, faults: list[Fault], taken: list[str], profile: Profile
) -> tuple[float, str, float]:
    full = (now.full_kg if now else None) or most
    if said.left_kg is not None:
        return said.left_kg, said.left_how, level_spread(said.left_how, said.left_kg, full)
    if said.look == "light" or said.light_at_ha is not None:
        return _light(now, taken, profile)
    if said.look == "empty":
        rest = default("left-after-empty")
        level = (rest.low + rest.high) / 2 * (len(now.letters) if now else 1)
        taken.append(f"Run empty still leaves about {shown(level, 'mass', profile)} on slopes and in corners (common practice).")
        return level, "empty", (rest.high - rest.low) / math.sqrt(12)
    if said.look in LOOKS and now is not None and now.full_kg is not None:
        level = LOOKS[said.look] * now.full_kg
        taken.append(f"{said.look.replace('-', ' ').capitalize()} full is about {shown(level, 'mass', profile)}.")
        return level, "glance", level_spread("glance", level, full)
    cure = "Say what the bin looks like, or type what is in it."
    if said.look in LOOKS:
        cure = "What this bin holds when full is not known: type about how much is in it."
    faults.append(Fault(where="left", what="what is in the bin now is missing", cure=cure))
    return 0.0, "glance", 0.0


def _light(now: BinNow | None, taken: list[str], profile: Profile) -> tuple[float, str, float]:
    if now is not None and now.light_kg is not None:
        taken.append(f"The low-level light comes on at {shown(now.light_kg, 'mass', profile)}.")
        return now.light_kg, "light", now.light_sd_kg or level_spread("light", now.light_kg, now.full_kg or 0.0)
    usual = default("low-light")
    level = (usual.low + usual.high) / 2
    low, high = shown(usual.low, "mass", profile), shown(usual.high, "mass", profile)
    taken.append(f"When this light comes on has not been learned: {low} to {high} is usual (common practice).")
    return level, "light", (usual.high - usual.low) / math.sqrt(12)


def _total(
    now: BinNow | None, last: FillTaken, dose: float, before: float, before_sd: float, dose_sd: float, overlap: tuple[float, float],
    profile: Profile,
) -> Total:  # fmt: skip
    """All fills the counter joins."""
    taken = [*(now.earlier if now else ()), last]
    joined = now is not None and len(taken) > 1
    start = (now.earlier_before_kg or 0.0) if joined and now else before
    start_sd = now.earlier_before_sd_kg if joined and now else before_sd
    product, bin_ = (now.name if now else ""), (now.letters[0] if now and len(now.letters) == 1 else "")
    finding = fill_series(
        taken,
        dose,
        level_before_kg=start,
        level_before_sd_kg=start_sd,
        dose_sd=dose_sd,
        overlap=overlap,
        bin=bin_,
        product=product,
        profile=profile,
    ).finding
    return total_of(taken, dose, before_kg=start, before_sd_kg=start_sd, overlap=overlap, finding=finding)


def total_of(
    fills: Sequence[FillTaken],
    dose_kg_ha: float,
    *,
    before_kg: float = 0.0,
    before_sd_kg: float = 0.0,
    overlap: tuple[float, float] = (0.0, 0.0),
    finding: Finding,
) -> Total:
    """The running total: how well it is known rests on what was weighed and seen alone, not on the typed product per turn.

    Parameters
    ----------
    fills : sequence of FillTaken
        In order; the last one with a level. [kg, ha]
    dose_kg_ha : float
        Rate asked. [kg/ha]
    before_kg, before_sd_kg : float
        In the bin before the first of them. [kg]
    overlap : (float, float)
        Ground sown twice, as shares. [-]
    finding : Finding
        The total held against the rate asked. [-]
    """
    seen = fill_series(fills, dose_kg_ha, level_before_kg=before_kg, level_before_sd_kg=before_sd_kg, dose_sd=0.0, overlap=overlap)
    middle = 1 + sum(overlap) / 2
    return Total(fills=len(fills), change=seen.ratio / middle - 1, sd=seen.sd, more=seen.more_fills, finding=finding)


def total_text(total: Total) -> str:
    """The running total in one sentence, and how many more fills until 2 % can be seen. [text]

    Parameters
    ----------
    total : Total
        From `answer_fill`. [-]
    """
    side = "more" if total.change > 0 else "less"
    off = f"{rounded(abs(total.change) * 100, 1)} % {side} than asked, known to ± {rounded(196 * total.sd, 1)} %"
    over = f"Over {total.fills} fills together: {off}" if total.fills > 1 else f"This fill alone: {off}"
    if total.more is None:
        return f"{over}. Fills known like this will never show an error of 2 %: weigh one, or run down to the low-level light."
    if total.more == 0:
        return f"{over}. An error of 2 % can be seen."
    these = "these" if total.fills > 1 else "this"
    return f"{over}. {total.more} more fill{'s' if total.more > 1 else ''} like {these} until 2 % can be seen."


def keep_check(book: Book, now: BinNow, said: FillSaid, answer: FillAnswer, *, clock: Clock) -> tuple[str, ...]:
    """Keep what was typed: the fill if it was not on record, the level, the counter. What the book knew already is not kept twice.

    Parameters
    ----------
    book : Book
        Open for writing. [-]
    now, said, answer
        As the check was made. [kg, ha]
    clock : Clock
        When. [UTC]

    Returns
    -------
    tuple of str
        What was kept, in words; empty where nothing was typed that can be kept. [text]
    """
    from evenstand.desk.fill_entry import enter_fill, name_load
    from evenstand.desk.recording import record_reading

    at, kept = iso(clock.now()), []
    counter = said.counter_ha
    if counter is None and now.counter_ha is not None:
        counter = now.counter_ha + answer.area_ha
    letter = now.letters[0]
    with book.batch("fill check"):
        new = (said.put_kg is not None or said.conveyed) and (now.put_kg is None or abs(now.put_kg - answer.put_kg) > 0.5)
        if new and len(now.letters) == 1:
            began = None if counter is None else max(counter - answer.area_ha, 0.0)
            how: HowKnown = "conveyor" if said.conveyed else said.put_how or "ticket"  # type: ignore[assignment]
            enter_fill(
                book, job=now.job, bin=letter, put_kg=said.put_kg, how=how, area_ha=began, level_before_kg=said.before_kg, load=said.load,
                ran_s=said.ran_s, delivery_kg_s=said.delivery_kg_s, clock=clock,
            )  # fmt: skip
            kept.append("the fill")
        elif said.load and len(now.letters) == 1 and name_load(book, job=now.job, bin=letter, load=said.load):
            kept.append("the load it came out of")
        if len(now.letters) == 1:
            sd = level_spread(answer.left_how, answer.left_kg, now.full_kg or answer.put_kg + answer.before_kg)
            sd = now.light_sd_kg or sd if answer.left_how == "light" else sd
            seen = {"light": "low-light", "empty": "emptied"}.get(answer.left_how, answer.left_how)
            level = Reading(quantity=f"level:{letter}", value=answer.left_kg, sd=sd, at=at, instrument=seen)
            record_reading(book, job=now.job, reading=level, clock=clock)
            kept.append("the level")
        if counter is not None:
            area = Reading(quantity="area_counter", value=counter, sd=COUNTER_SD_HA, at=at, instrument="display", derived_from=("W", "V"))
            record_reading(book, job=now.job, reading=area, clock=clock)
            kept.append("the area counter")
    return tuple(kept)
