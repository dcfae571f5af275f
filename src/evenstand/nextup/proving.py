"""Proofs that are missing or have gone stale: catch, distance, width, fan, streams."""

from __future__ import annotations

from collections.abc import Iterator

from evenstand.model import BinPlan, MeterFactor, Step
from evenstand.nextup.facts import Facts, Saying, cost
from evenstand.reference import default

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
    usual = default("factor-between-lots").high
    for b in facts.plan.bins:
        say, known = Saying(facts.profile), _newest(facts, b)
        why = _why_catch(facts, b, known, say)
        if not why:
            continue
        name = facts.product_name(b.product)
        yield Step(
            key=f"catch:{facts.job.key}:{b.bin}",
            do=f"Catch test on bin {b.bin} with {name}.",
            because=why,
            cost_of_waiting=cost(facts, usual, [b], usual=True, say=say),
            confirm_by="Enter the weight; one good catch is enough to start.",
            closes_when=f"a catch of {name} from bin {b.bin} with the lot in use is entered",
            family="proving",
            rank=60.0 if not facts.done_ha else 70.0,
            about=f"bin {b.bin}",
            evidence=_known_by(known, say),
            stated=say.stated,
        )


def _why_catch(facts: Facts, b: BinPlan, known: MeterFactor | None, say: Saying) -> str:
    """Why a meter must be caught, "" where it need not. [text]"""
    lot = facts.lots.get(b.product)
    if known is None:
        return "Nothing measured says what a turn of this meter gives with this product."
    if known.how not in MEASURED:
        return f"{say(known.kg_turn.value, 'factor')} is {known.how}, not measured; the display calls it right whatever it is."
    if lot is not None and known.lot and known.lot != lot.key:
        return f"The last catch was with lot {known.lot}; lot {lot.key} goes in now, and lots differ."
    return b.stale_now


def _known_by(known: MeterFactor | None, say: Saying) -> tuple[str, ...]:
    if known is None:
        return ()
    when = f" of {known.at[:10]}" if known.at else ""
    lot = f", lot {known.lot}" if known.lot else ""
    return (f"{say(known.kg_turn.value, 'factor')}, {known.how}{when}{lot}",)


def _width(facts: Facts) -> Iterator[Step]:
    if facts.outfit is None or facts.outfit.widths.true_m is not None:
        return
    say = Saying(facts.profile)
    yield Step(
        key=f"tape:{facts.outfit.key}",
        do="Tape the tool's width, opener to opener, and add one spacing.",
        because="Width and distance hide behind each other in every area reading; only a tape parts them.",
        cost_of_waiting=cost(facts, None, facts.plan.bins, say=say),
        confirm_by="Enter what the tape says.",
        closes_when="a taped width is entered",
        family="proving",
        rank=40.0,
        about="width",
        stated=say.stated,
    )


def _distance(facts: Facts) -> Iterator[Step]:
    o = facts.outfit
    if o is None or o.pulse_m is not None or (o.speed_source == "gnss" and o.drive == "motor"):
        return
    say = Saying(facts.profile)
    yield Step(
        key=f"distance:{o.key}",
        do="Prove the distance: a taped 100 m or more, cart half full, on the soil you will sow.",
        because="One per cent of distance is one per cent of everything sown.",
        cost_of_waiting=cost(facts, default("wheel-yard-to-field").high, facts.plan.bins, usual=True, say=say),
        confirm_by="Enter pulses, or the machine's own metres, for the taped distance.",
        closes_when="a distance proof is entered",
        family="proving",
        rank=45.0,
        about="distance",
        stated=say.stated,
    )


def _fan(facts: Facts) -> Iterator[Step]:
    o = facts.outfit
    if o is None:
        return
    stale = next((x.stale_now for x in facts.plan.card if x.key == "fan"), "") if o.fan_proof.load_kg_s is not None else ""
    if o.fan_turns_s is not None and not stale:  # what was never written down cannot be called stale
        return
    say = Saying(facts.profile)
    yield Step(
        key=f"fan:{o.key}" if o.fan_turns_s is None else f"fan:{o.key}:{facts.job.key}",
        do="Find the fan speed at which every opener blows evenly with product flowing, and write it down.",
        because=stale if o.fan_turns_s is not None else "No fan alarm can be set from nothing, and no formula replaces this test.",
        cost_of_waiting=cost(facts, None, facts.plan.bins, say=say),
        confirm_by="Enter the speed, the load and the day.",
        closes_when="a fan speed proven for this load and product is entered",
        family="proving",
        rank=35.0,
        about="fan",
        stated=say.stated,
    )


def _streams(facts: Facts) -> Iterator[Step]:
    """Until sowing has begun, or the dig stands on the outfit's record."""
    o = facts.outfit
    dug = facts.proofs is not None and not any(p.step == "dig" for p in facts.proofs)
    if o is None or facts.done_ha or len(facts.plan.bins) < 2 or dug:
        return
    say = Saying(facts.profile)
    yield Step(
        key=f"dig:{facts.job.key}",
        do="Dig one opener on each air stream in the first metres.",
        because="No reading can show swapped streams; only the soil does.",
        cost_of_waiting=cost(facts, None, facts.plan.bins, say=say),
        confirm_by="Say what lay where.",
        closes_when="the dig is noted, or sowing has begun",
        family="proving",
        rank=50.0,
        about="streams",
        by_word=True,
        stated=say.stated,
    )
