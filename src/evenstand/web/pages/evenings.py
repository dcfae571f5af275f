"""The shed in the evening: how much seed to treat, and which bins to empty. Questions stand in the address; nothing is stored."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from evenstand.base.clock import iso
from evenstand.base.errors import EvenstandError
from evenstand.base.units import Profile
from evenstand.desk.evening_lines import (
    choice_rows,
    clock_rows,
    night_lines,
    night_sentence,
    short_name,
    treat_lines,
    treat_note,
    treat_sentence,
)
from evenstand.desk.evenings import (
    NightBins,
    NightSaid,
    TreatAnswer,
    TreatSaid,
    bins_of_night,
    bins_to_empty,
    hours_of,
    treat_for_job,
)
from evenstand.model import Product
from evenstand.web.asking import Group, all_fields, asked, bounded, tie
from evenstand.web.forms import Field, Typed
from evenstand.web.naming import job_choices
from evenstand.web.site import site_of

if TYPE_CHECKING:
    from evenstand.desk.evenings import NightBin

router = APIRouter()

TREAT_PLACES = {
    "area_ha": "area", "rate_kg_ha": "rate", "treated_kg": "treated", "overlap": "overlap_high", "batch_kg": "batch", "cost_stop": "chance",
    "cost_short_kg": "cost_short", "cost_left_kg": "cost_left", "chance_short": "chance", "most_left_kg": "most_left",
    "label_hours": "label_hours", "treated_at": "treated_at", "now": "treated_at",
}  # fmt: skip


def treat_groups(jobs: tuple[tuple[str, str], ...]) -> tuple[Group, ...]:
    """Fields of the question."""
    job = "Empty: as the job has it."
    first = (
        Field(name="job", label="Job", choices=jobs or (("", "no job yet"),)),
        Field(name="area", label="Left to sow", quantity="area", required=True),
        Field(name="treated", label="Treated already, not yet sown", quantity="mass"),
        Field(name="batch", label="Seed in one batch", quantity="mass", hint="Empty: any amount."),
        Field(name="chance", label="Largest chance of running short", quantity="share", hint="As 10 %. Or type costs below instead."),
        Field(name="most_left", label="No more than this left over", quantity="mass", hint="A cap; it goes before the rest."),
    )
    costs = (
        Field(name="cost_stop", label="What a stop costs", quantity="money", hint="Running short once: the stop, treating again."),
        Field(name="cost_short", label="What is short costs besides", quantity="price_mass"),
        Field(name="cost_left", label="What is left over costs", quantity="price_mass", hint="It cannot be fed or sold as grain."),
    )
    clock = (
        Field(name="treated_at", label="When it was treated", hint="As 2027-05-09 21:00. Empty: as the lot has it."),
        Field(
            name="label_hours",
            label="Hours the label gives until it must be sown",
            quantity="time",
            hint="Off the label. Empty: as the lot has it.",
        ),
    )
    sure = (
        Field(name="area_sd", label="How far off the area may be, one standard deviation", quantity="area"),
        Field(name="rate", label="Rate of treated seed", quantity="rate", hint=job),
        Field(
            name="rate_sd",
            label="How sure the rate is, one standard deviation",
            quantity="rate",
            hint="Empty: as product per turn is known.",
        ),
        Field(name="overlap_low", label="Sown twice, at least", quantity="share", hint="Empty: as the outfit has it."),
        Field(name="overlap_high", label="Sown twice, at most", quantity="share", hint="Empty: as the outfit has it."),
        Field(name="treated_sd", label="How far off what is treated may be, one standard deviation", quantity="mass"),
    )
    return (
        Group(title="Tonight", fields=first),
        Group(title="What running short and left-overs cost", fields=costs, folded=True),
        Group(title="The label's clock", fields=clock, folded=True),
        Group(title="How sure the numbers are", fields=sure, folded=True),
    )


@router.get("/shed/treat")
def treat(request: Request) -> Response:
    """How much to treat tonight."""
    site = site_of(request)
    found: TreatAnswer | None = None
    with site.book() as book:
        profile = book.profile
        groups = treat_groups(job_choices(book))
        typed = Typed.of(all_fields(groups), request.query_params, profile)
        bounded(typed)
        if asked(request, "job"):
            said, fits = _treat_said(typed), typed.ok
            if said is not None and said.job:
                try:
                    found = treat_for_job(book, said, now=iso(site.clock.now()))
                except EvenstandError as error:
                    tie(typed, error, TREAT_PLACES)
            elif said is not None:
                typed.faults["job"] = "Job: there is none yet. The rate comes from a job."
            found = found if fits and typed.ok else None
    return site.page(
        request, "treat_ask.html", status=200 if typed.ok else 422, typed=typed, groups=groups,
        answer=_treat_shown(found, profile) if found else None,
    )  # fmt: skip


def _treat_said(typed: Typed) -> TreatSaid | None:
    """What was typed; None while the area is missing."""
    numbers = {f.name: typed.number(f.name) for f in typed.fields if f.quantity}
    for name in ("area_sd", "rate_sd", "treated_sd"):
        value = numbers[name]
        if value is not None and value < 0:
            label = next(f.label for f in typed.fields if f.name == name)
            typed.faults[name] = f"{label}: {typed.values[name]} is below 0. Correct it."
    area = numbers["area"]
    if area is None or not typed.ok:
        return None
    return TreatSaid(
        job=typed.text("job"),
        area_ha=area,
        area_sd_ha=numbers["area_sd"] or 0.0,
        rate_kg_ha=numbers["rate"],
        rate_sd_kg_ha=numbers["rate_sd"],
        overlap_low=numbers["overlap_low"],
        overlap_high=numbers["overlap_high"],
        treated_kg=numbers["treated"] or 0.0,
        treated_sd_kg=numbers["treated_sd"] or 0.0,
        batch_kg=numbers["batch"],
        cost_stop=numbers["cost_stop"],
        cost_short_kg=numbers["cost_short"],
        cost_left_kg=numbers["cost_left"],
        chance_short=numbers["chance"],
        most_left_kg=numbers["most_left"],
        treated_at=typed.text("treated_at"),
        label_hours=numbers["label_hours"],
    )


def _treat_shown(found: TreatAnswer, profile: Profile) -> dict[str, object]:
    return {
        "sentence": treat_sentence(found, profile),
        "lines": treat_lines(found, profile),
        "choices": choice_rows(found, profile),
        "clocks": clock_rows(found, profile),
        "note": treat_note(found),
        "told": found.told,
    }


def night_groups(night: Sequence[NightBins], products: Sequence[Product]) -> tuple[Group, ...]:
    """Fields of the question: the forecast, what lies in each bin, what a supplier said."""
    names = tuple((p.key, p.name) for p in products)
    forecast = (
        Field(
            name="humidity", label="Relative humidity tonight, hour by hour, in %", width="wide", required=True,
            hint="With blanks between: 70 74 81 86 88 84. One number will do.",
        ),
        Field(name="first", label="First of these hours, on the clock", quantity="count", hint="As 20."),
        Field(name="temperature", label="Air temperature, hour by hour, in °C", hint="May stay empty."),
    )  # fmt: skip
    groups = [Group(title="The forecast", fields=forecast)]
    for outfit in night:
        fields = tuple(
            Field(
                name=f"bin:{outfit.outfit}:{letter}",
                label=f"Bin {letter}{f', {outfit.labels[letter]}' if outfit.labels[letter] else ''}",
                choices=(("", "empty, or seed"), *names),
            )
            for letter in outfit.bins
        )
        also = tuple(
            Field(name=f"also:{outfit.outfit}:{letter}", label=f"Bin {letter}, mixed with", choices=(("", "nothing"), *names))
            for letter in outfit.bins
        )
        groups += [
            Group(title=f"In the bins of {outfit.name}", fields=fields),
            Group(title=f"Mixed with something else, {outfit.name}", fields=also, folded=True),
        ]
    own = tuple(Field(name=f"own:{p.key}", label=f"Critical humidity of {p.name}", quantity="share") for p in products)
    return (*groups, Group(title="Critical humidity by the supplier", fields=own, folded=True))


@router.get("/shed/bins")
def bins(request: Request) -> Response:
    """Which bins to empty tonight."""
    site = site_of(request)
    found: tuple[NightBin, ...] | None = None
    with site.book() as book:
        profile = book.profile
        night = bins_of_night(book)
        products = [p for p in book.all(Product) if p.kind == "fertilizer"]
        groups = night_groups(night, products)
        typed = Typed.of(all_fields(groups), request.query_params, profile)
        bounded(typed, but=("humidity", "temperature"))
        if not asked(request):
            typed.values |= {f"bin:{o.outfit}:{b}": held[0] for o in night for b, held in o.bins.items() if held}
        else:
            said, fits = _night_said(typed, night), typed.ok
            try:
                found = bins_to_empty(book, said)
            except EvenstandError as error:
                tie(typed, error, {"humidity": "humidity", "temperature_c": "temperature", **_own_places(typed)})
            found = found if fits and typed.ok else None
    return site.page(
        request, "bins_ask.html", status=200 if typed.ok else 422, typed=typed, groups=groups,
        answer=_night_shown(found, night) if found is not None else None,
    )  # fmt: skip


def _own_places(typed: Typed) -> dict[str, str]:
    own = [f.name for f in typed.fields if f.name.startswith("own:")]
    return {f"critical humidity of {name.removeprefix('own:')}": name for name in own}


def _night_said(typed: Typed, night: Sequence[NightBins]) -> NightSaid:
    first = typed.number("first")
    if first is not None and (first != round(first) or not 0 <= first <= 23):
        typed.faults["first"] = f"First of these hours, on the clock: {typed.values['first']} is no hour. Write 0 to 23."
        first = None
    own = {f.name.removeprefix("own:"): typed.number(f.name) for f in typed.fields if f.name.startswith("own:")}
    held = {
        (o.outfit, b): tuple(dict.fromkeys(k for n in ("bin", "also") for k in [typed.values.get(f"{n}:{o.outfit}:{b}", "")] if k))
        for o in night
        for b in o.bins
    }
    return NightSaid(
        humidity=_hours(typed, "humidity", share=True),
        temperature_c=_hours(typed, "temperature", share=False),
        bins=held,
        own={k: v for k, v in own.items() if v is not None},
        first_hour=None if first is None else round(first),
    )


def _hours(typed: Typed, name: str, *, share: bool) -> tuple[float, ...]:
    text = typed.text(name)
    try:
        return hours_of(text, where=name, share=share) if text else ()
    except EvenstandError as error:
        tie(typed, error, {name: name})
        return ()


def _night_shown(found: tuple[NightBin, ...], night: Sequence[NightBins]) -> dict[str, object]:
    names = {o.outfit: o.name for o in night}
    sentence, _ = night_sentence(found, names)
    lines = night_lines(found)
    return {
        "sentence": sentence,
        "bins": [
            (b.bin, short_name(names.get(b.outfit, b.outfit)), " and ".join(b.products), b.sentence, x)
            for b, x in zip(found, lines, strict=True)
        ],
        "several": len({b.outfit for b in found}) > 1,
    }
