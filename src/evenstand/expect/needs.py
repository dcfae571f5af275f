"""What a line of the card needs when it is not known, and how a person gets it. Sentences only, no numbers computed."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """One thing that is missing: its name as a person says it, and how to get it."""

    what: str
    how: str


NEEDS: dict[str, Need] = {
    "area": Need(what="the area", how="Type it, or give the field's outline."),
    "rate": Need(what="a rate", how="Type it, or give target plants, kernel weight and survival."),
    "width": Need(what="the working width", how="Tape from the first opener to the last and add one spacing, or count openers x spacing."),
    "speed": Need(what="the working speed", how="Type the speed you sow at."),
    "factor": Need(
        what="product per turn of the meter",
        how="Catch test: turn the meter a counted number of turns into a tared bag, weigh, divide. Fan off, hands away from rollers.",
    ),
    "capacity": Need(what="the bin's size", how="From the outfit's plate or papers, in cubic metres or bushels."),
    "density": Need(
        what="the product's bulk density", how="Fill a box of known size level, weigh it, divide; or take the lot's test weight."
    ),
    "tkw": Need(what="the kernel weight", how="Weigh a thousand kernels of the lot as sown (treated, if it is treated)."),
    "survival": Need(what="survival", how="Type the share of seeds you expect to become plants, or use what was counted on this field."),
    "spacing": Need(what="the row spacing", how="Tape across ten openers and divide by ten."),
    "spread": Need(what="the width an opener spreads seed and fertilizer", how="Dig across one furrow and tape the band."),
    "analysis": Need(what="the fertilizer's analysis", how="From its label."),
    "placement": Need(what="where each air stream ends in the soil", how="Dig one opener on each stream before the first hectare."),
    "guideline": Need(what="soil texture and a guideline", how="Name the texture (light, medium, heavy) and the publisher."),
    "meter-range": Need(what="the shaft speeds the meter doses evenly at", how="From the outfit's papers."),
    "tape": Need(what="a taped width", how="Two people, a tape, tool down on level ground."),
    "guidance-width": Need(what="the width typed for guidance", how="Read it off the guidance settings."),
    "rate-width": Need(what="the width typed for the rate", how="Read it off the settings."),
    "pulse": Need(
        what="distance per pulse",
        how="Drive 100 m or more by tape with the cart half full, on the soil you will sow; divide by the pulses.",
    ),
    "fan": Need(
        what="a proven fan speed",
        how="Cannot tell without. Do the puff test: product metering at the highest rate, a short burst must come out of every opener at "
        "once, nobody standing there; write that speed down with load, air and day.",
    ),
    "outline": Need(what="the field's outline", how="Give a boundary file (GeoJSON, Shapefile or GeoPackage)."),
    "low-light": Need(
        what="what is left when the low-level light comes on",
        how="Weigh or catch what is left once when it comes on; it stays the same for that bin and product.",
    ),
    "rate-step": Need(what="the step of the rate key", how="Press it once and read by how much the asked rate moves."),
    "roller": Need(what="roller and setting", how="Read the roller's name and the gear off the meter."),
    "flutes": Need(what="pockets around the roller", how="Count them once around; rows that are staggered side by side count apart."),
    "flag-test": Need(
        what="a flag test",
        how="Set a flag where the switch went, dig for the first seed (on) or the last (off), tape from flag to seed; note the speed.",
    ),
    "heads": Need(what="the heads and their outlets", how="Walk the hoses once, head by head, and write them into the run map."),
    "label-hours": Need(
        what="the hours its label gives from treating to sowing", how="Read them off the label and type them with the lot."
    ),
    "treated-at": Need(what="when it was treated", how="Type the day, or day and hour, with the lot."),
    "start": Need(what="the day work starts", how="Type it with the job."),
    "workable": Need(
        what="the share of days on which work is possible",
        how="From your own years, or a published place chosen by name; no place is taken for yours.",
    ),
    "prices": Need(what="prices, fuel and wages", how="Type prices with the products, fuel and wages with the outfit."),
    "row-order": Need(what="which bin feeds which stream", how="Follow the hoses once and write it in the run map."),
}


def need(*keys: str) -> tuple[tuple[str, ...], str]:
    """Names of what is missing, and how to get each.

    Parameters
    ----------
    *keys : str
        Keys of `NEEDS`; any other text is what is missing, in words. [-]

    Returns
    -------
    tuple
        (what is missing, how to get it). [-]
    """
    return tuple(NEEDS[k].what if k in NEEDS else k for k in keys), " ".join(NEEDS[k].how for k in keys if k in NEEDS)
