"""Before the field: which products for a need. The command's question, asked for a job; it stands in the address, nothing is stored."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from evenstand.base.clock import iso
from evenstand.base.errors import EvenstandError
from evenstand.base.units import Profile, profile_unit, shown, shown_value
from evenstand.desk.blend_jobs import TAKEN, BinUse, JobBlend, JobBlendSaid, bins_of_job, blend_for_job, fertilizers, needs_of_job
from evenstand.desk.blend_lines import (
    PLACES,
    binding_rows,
    blend_sentence,
    conflict_words,
    next_rows,
    nutrient_lines,
    placed_words,
    proof_sentence,
    rate_lines,
    row_lines,
    seed_row_sentence,
)
from evenstand.desk.planning import job_inputs
from evenstand.web.asking import Group, all_fields, asked, bounded, tie
from evenstand.web.forms import Field, Typed
from evenstand.web.naming import job_name
from evenstand.web.site import site_of

if TYPE_CHECKING:
    from evenstand.expect import PlanInputs
    from evenstand.model import Product

router = APIRouter()

NUTRIENTS = ("N", "P2O5", "K2O", "S")
MOST_LINES = 30  # products or limits typed on a page; the command takes a file


def groups_for(inputs: PlanInputs, products: Sequence[Product], bins: Sequence[BinUse], profile: Profile) -> tuple[Group, ...]:
    """Fields of the question, as the job stands."""
    unit = profile_unit("rate", profile)
    needs = [Field(name=f"need:{n}", label=f"{n}, {unit}") for n in NUTRIENTS]
    prices = [
        Field(
            name=f"price:{p.key}", label=f"Price of {p.name}", quantity="price_mass",
            hint="Not in the book yet." if p.price_kg is None else f"Empty: {shown(p.price_kg, 'price_mass', profile)}, as in the book.",
        )
        for p in products
    ]  # fmt: skip
    stock = [Field(name=f"stock:{p.key}", label=f"{p.name} on the yard", hint=f"A mass, as 2 t, or as 40 {unit}.") for p in products]
    use = [Field(name=f"use:{p.key}", label=p.name, choices=(("", "may be used"), ("no", "leave it out"))) for p in products]
    ends = (*PLACES.items(), ("seed-row or side-band", "seed row or side band"), (TAKEN, "not free"))
    places = [
        Field(
            name=f"bin:{b.letter}",
            label=f"Bin {b.letter}{f', {b.label}' if b.label else ''}",
            choices=(("", f"as the job has it: {'not free' if b.use == TAKEN else PLACES[b.use]}"), *ends),
            hint=f"{b.why[:1].upper()}{b.why[1:]}.",
        )
        for b in bins
    ]
    most = Field(name="most", label="Products at most", quantity="count", hint="Empty: as many as there are free bins." if bins else "")
    more = Field(
        name="more", label="Other products", kind="area", width="wide",
        hint="One a line: potash 0-0-60=540/t; stock 40 kg/ha; into side-band",
    )  # fmt: skip
    own = Field(
        name="limits",
        label="Limits of your own",
        kind="area",
        width="wide",
        hint="One a line: seed-row N+K2O <= 30, or side-band mass at most 250",
    )
    return (
        Group(
            title="What the crop needs", fields=tuple(needs),
            hint="At least so much, as 80, or from least to most, as 10-20. It begins with what the job's own fertilizers bring.",
        ),
        Group(title="Prices", fields=tuple(prices)),
        Group(title="Bins and number of products", fields=(*places, most), folded=True),
        Group(title="On the yard, left out, other products, limits of your own", fields=(*stock, *use, more, own), folded=True),
    )  # fmt: skip


@router.get("/before/{key}/blend")
def blend(request: Request, key: str) -> Response:
    """The blend question of a job, and its answer."""
    site = site_of(request)
    found: JobBlend | None = None
    with site.book() as book:
        inputs, profile = job_inputs(book, key, now=iso(site.clock.now())), book.profile
        products = fertilizers(book)
        groups = groups_for(inputs, products, bins_of_job(inputs), profile)
        sent = asked(request)
        typed = Typed.of(all_fields(groups), request.query_params, profile)
        if not sent:
            typed.values |= {f"need:{n}": shown_value(v, "rate", profile) for n, v in needs_of_job(inputs).items() if n in NUTRIENTS}
        else:
            bounded(typed)
            said, fits = _said(typed, products), typed.ok
            try:
                found = blend_for_job(book, key, said, profile)  # also where a field is wrong already: all faults at once
            except EvenstandError as error:
                tie(typed, error, _places(products), but=("--need",))
            found = found if fits else None
    name = job_name(inputs.job, {inputs.boundary.key: inputs.boundary} if inputs.boundary else {})
    return site.page(
        request, "blend_ask.html", status=200 if typed.ok else 422, inputs=inputs, typed=typed, groups=groups, name=name,
        answer=_shown(found, profile) if found else None,
    )  # fmt: skip


def _said(typed: Typed, products: Sequence[Product]) -> JobBlendSaid:
    """What was typed, as the use case takes it."""
    most = typed.number("most")
    if most is not None and (most != round(most) or most < 1):
        typed.faults["most"] = f"Products at most: {most:g} is no number of products. Write 1 or more."
    if not any(typed.text(f"need:{n}") for n in NUTRIENTS):
        typed.faults["need:N"] = "What the crop needs: nothing is typed. Write one nutrient at least, as 80."
    more, limits = _lines(typed, "more"), _lines(typed, "limits")
    return JobBlendSaid(
        needs={n: typed.text(f"need:{n}") for n in NUTRIENTS},
        prices={p.key: typed.text(f"price:{p.key}") for p in products},
        stocks={p.key: typed.text(f"stock:{p.key}") for p in products},
        left_out=frozenset(p.key for p in products if typed.text(f"use:{p.key}") == "no"),
        more=more,
        bins={f.name.removeprefix("bin:"): typed.text(f.name) for f in typed.fields if f.name.startswith("bin:")},
        most=None if most is None else max(1, min(round(most), len(products) + len(more))),
        limits=limits,
    )


def _lines(typed: Typed, name: str) -> tuple[str, ...]:
    lines = tuple(x.strip() for x in typed.text(name).splitlines() if x.strip())
    if len(lines) > MOST_LINES:
        label = next(f.label for f in typed.fields if f.name == name)
        typed.faults[name] = f"{label}: {len(lines)} lines. At most {MOST_LINES} here; the command evenstand blend takes a file."
    return lines


def _places(products: Sequence[Product]) -> dict[str, str]:
    """Where each fault of the use case belongs on this page."""
    out = {f"--need {n}": f"need:{n}" for n in NUTRIENTS}
    for p in products:
        out |= {f"product:{p.key}, stock": f"stock:{p.key}", f"product:{p.key},": f"price:{p.key}"}
        out[f"product:{p.key}"] = f"price:{p.key}"
    first = f"price:{products[0].key}" if products else "more"
    return {
        **out, "--need": "need:N", "--product": "more", "--limit": "limits", "--bin": "most", "--max-products": "most", "price_kg": first,
        "--products": "more", "products": "more", "max_products": "most", "limits": "limits", "needs": "need:N", "--area": "stock:area",
    }  # fmt: skip


def _shown(found: JobBlend, profile: Profile) -> dict[str, object]:
    """Everything the page tells of an answer."""
    sentence, state = blend_sentence(found, profile)
    return {
        "sentence": sentence,
        "beside": seed_row_sentence(found),
        "state": state,
        "conflict": conflict_words(found, profile),
        "rates": rate_lines(found, profile),
        "nutrients": nutrient_lines(found, profile),
        "row": row_lines(found),
        "refused": found.verdict.refused if found.verdict else (),
        "binding": binding_rows(found, profile),
        "next": next_rows(found, profile),
        "proof": proof_sentence(found, profile),
        "notes": [placed_words(n) for n in dict.fromkeys((*found.notes, *found.report.notes))],
    }
