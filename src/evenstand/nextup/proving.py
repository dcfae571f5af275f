"""Proofs that are missing or have gone stale: catch, distance, width, fan, streams."""

from __future__ import annotations

from collections.abc import Iterator

from evenstand.model import BinPlan, MeterFactor, Step
from evenstand.nextup.facts import Facts, cost

MEASURED = {"catch", "shown-mass", "crank"}


def proving_steps(facts: Facts) -> Iterator[Step]:
    """One step a missing or stale proof, before the first hectare where it can be; none once the job is finished."""
    if facts.finished:
        return
    yield from _catches(facts)
    yield from _width(facts)
    yield from _distance(facts)
    yield from _fan(facts)
    yield from _streams(facts)


def _newest(facts: Facts, b: BinPlan) -> MeterFactor | None:
    mine = [f for f in facts.factors if f.bin == b.bin and f.product == b.product]
    return max(mine, key=lambda f: f.at) if mine else None


def _catches(facts: Facts) -> Iterator[Step]:
    for b in facts.plan.bins:
        known = _newest(facts, b)
        lot = facts.lots.get(b.product)
        name = facts.product_name(b.product)
        if known is None:
            why = "Nothing measured says what a turn of this meter gives with this product."
        elif known.how not in MEASURED:
            why = f"{facts.text(known.kg_turn.value, 'factor')} is {known.how}, not measured; the display calls it right whatever it is."
        elif lot is not None and known.lot and known.lot != lot.key:
            why = f"The last catch was with lot {known.lot}; lot {lot.key} goes in now, and lots differ."
        else:
            continue
        yield Step(
            key=f"catch:{facts.job.key}:{b.bin}",
            do=f"Catch test on bin {b.bin} with {name}.",
            because=why,
            cost_of_waiting=cost(facts, None, [b]),
            confirm_by="Enter the weight; one good catch is enough to start.",
            closes_when=f"a catch of {name} from bin {b.bin} with the lot in use is entered",
            family="proving",
            rank=60.0 if not facts.done_ha else 70.0,
            about=f"bin {b.bin}",
        )


def _width(facts: Facts) -> Iterator[Step]:
    if facts.outfit is None or facts.outfit.widths.true_m is not None:
        return
    yield Step(
        key=f"tape:{facts.outfit.key}",
        do="Tape the tool's width, opener to opener, and add one spacing.",
        because="Width and distance hide behind each other in every area reading; only a tape parts them.",
        cost_of_waiting=cost(facts, None, facts.plan.bins),
        confirm_by="Enter what the tape says.",
        closes_when="a taped width is entered",
        family="proving",
        rank=40.0,
        about="width",
    )


def _distance(facts: Facts) -> Iterator[Step]:
    o = facts.outfit
    if o is None or o.pulse_m is not None or (o.speed_source == "gnss" and o.drive == "motor"):
        return
    yield Step(
        key=f"distance:{o.key}",
        do="Prove the distance: a taped 100 m or more, cart half full, on the soil you will sow.",
        because="One per cent of distance is one per cent of everything sown.",
        cost_of_waiting=cost(facts, None, facts.plan.bins),
        confirm_by="Enter pulses, or the machine's own metres, for the taped distance.",
        closes_when="a distance proof is entered",
        family="proving",
        rank=45.0,
        about="distance",
    )


def _fan(facts: Facts) -> Iterator[Step]:
    o = facts.outfit
    if o is None or o.fan_turns_s is not None:
        return
    yield Step(
        key=f"fan:{o.key}",
        do="Find the fan speed at which every opener blows evenly with product flowing, and write it down.",
        because="No fan alarm can be set from nothing, and no formula replaces this test.",
        cost_of_waiting=cost(facts, None, facts.plan.bins),
        confirm_by="Enter the speed, the load and the day.",
        closes_when="a proven fan speed is entered",
        family="proving",
        rank=35.0,
        about="fan",
    )


def _streams(facts: Facts) -> Iterator[Step]:
    o = facts.outfit
    if o is None or facts.done_ha or len(facts.plan.bins) < 2:
        return
    yield Step(
        key=f"dig:{facts.job.key}",
        do="Dig one opener on each air stream in the first metres.",
        because="No reading can show swapped streams; only the soil does.",
        cost_of_waiting=cost(facts, None, facts.plan.bins),
        confirm_by="Say what lay where.",
        closes_when="sowing has begun and the dig is noted",
        family="proving",
        rank=50.0,
        about="streams",
    )
