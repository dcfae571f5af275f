"""After the field: what came up. The use case of `evenstand stand`, with what the job already tells filled in; nothing is stored."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from evenstand.base.errors import EvenstandError
from evenstand.base.units import Profile, profile_unit, restated
from evenstand.desk.stand_lines import (
    KnownFact,
    answer_sentence,
    cause_rows,
    depth_lines,
    effect_rows,
    job_facts,
    keep_rows,
    merged,
    number_lines,
    publisher_choices,
)
from evenstand.desk.stands import INTERVALS, StandAnswer, StandSaid, answer_stand, typed_share
from evenstand.web.asking import Group, all_fields, asked, bounded, tie
from evenstand.web.forms import Field, Typed
from evenstand.web.naming import job_choices
from evenstand.web.site import site_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from evenstand.agronomy import LateSeeding

router = APIRouter()

WAYS = (("row", "along the row"), ("hoop", "in a hoop, by its width"), ("hoop_round", "in a hoop, by the length round it"))
MOISTURE = (("", "as the job has it"), ("excellent", "excellent"), ("good", "good"), ("dry", "dry"))
PLACES = {
    "COUNTS": "counts", "count ": "counts", "counts": "counts", "--row, --hoop": "size", "--rows": "rows", "--row": "size",
    "--hoop": "size", "--wheel": "wheel", "--depth": "depth", "--plants": "plants", "wanted": "wanted", "moisture": "moisture",
    "distances": "wheel", "plants": "plants", "depth_m": "depth", "window_m": "deepest", "readings": "depth", "sample_area": "size",
    "row_spacing": "spacing", "publisher": "publisher", "days_late": "days_late", "window": "deepest", "crop": "crop",
}  # fmt: skip
NUMBERS = {
    "size": "width", "rows": "count", "spacing": "spacing", "plants": "count", "wanted": "stand", "volunteers": "stand",
    "shallowest": "depth",
    "deepest": "depth", "turn": "depth", "row_fertilizer": "rate", "row_limit": "rate", "days_since": "count", "days_to_emerge": "count",
    "days_late": "count", "confidence": "share",
}  # fmt: skip
OPTIONS = {
    "rows", "spacing", "plants", "crop", "rate", "proven", "tkw", "survival", "wanted", "volunteers", "shallowest", "deepest", "turn",
    "moisture", "row_fertilizer", "row_limit", "days_since", "days_to_emerge", "days_late", "publisher", "confidence",
}  # fmt: skip
WORDS = {
    "tkw": "the kernel weight", "survival": "the share expected to become plants", "wanted": "the stand wanted", "rate": "the rate asked",
    "proven": "the rate as proven", "crop": "the crop, or choose a job", "shallowest": "the shallowest wanted",
    "deepest": "the deepest wanted",
}  # fmt: skip


def groups_for(jobs: tuple[tuple[str, str], ...], profile: Profile) -> tuple[Group, ...]:
    """Fields of the question."""
    rate, depth = profile_unit("rate", profile), profile_unit("depth", profile)
    empty = "Empty: as the job has it."

    def number(name: str, label: str, hint: str = "") -> Field:
        return Field(name=name, label=label, quantity=NUMBERS[name], hint=hint)

    counted = (
        Field(name="job", label="Job", choices=(("", "no job: type what it would tell"), *jobs)),
        Field(name="counts", label="Plants at each place", hint="A number a place: 25 28 22 26 24 27. Six places or more."),
        Field(name="way", label="Counted", choices=WAYS),
        number("size", "Length of row, or the hoop's size", "At every place the same, as 1 m, or 56 cm."),
        number("rows", "Rows counted side by side", "Empty: 1."),
        number("spacing", "Row spacing", empty),
    )
    walked = (
        Field(name="wheel", label="Distance at each place", hint="With semicolons between: 24 m; 26 m. Leave the counts above empty."),
        number("plants", "Plants counted over each distance", "Empty: 150."),
    )
    sown = (
        Field(name="crop", label="Crop", hint=empty),
        Field(name="rate", label=f"Rate asked, {rate}", hint=f"With how sure it is, as 120 ± 3. {empty}"),
        Field(name="proven", label=f"Rate as proven, {rate}", hint="By a catch or a weighed fill, as 117 ± 2."),
        Field(name="tkw", label="A thousand kernels, g", hint=f"As 38 ± 0.5. {empty}"),
        Field(name="survival", label="Share of seeds expected to become plants", hint=f"As 85 % ± 5 %. {empty}"),
        number("wanted", "Stand wanted", empty),
        number("volunteers", "Plants counted that were not sown"),
    )
    dug = (
        Field(
            name="depth", label="Seeds dug", kind="area", width="wide",
            hint=f"One a line, the depth in {depth} first, the rest as far as noted: 42; rank 2; left; track (or: between).",
        ),
        number("shallowest", "Shallowest wanted"),
        number("deepest", "Deepest wanted"),
        number("turn", "Depth that one turn of the setting gives", "Only if you have measured it."),
    )  # fmt: skip
    beside = (
        Field(name="moisture", label="Seedbed at seeding, moisture", choices=MOISTURE),
        number("row_fertilizer", "Nutrient that went into the seed row", f"0 for none. {empty}"),
        number("row_limit", "Its published limit", empty),
        number("days_since", "Days since seeding"),
        number("days_to_emerge", "Days until all are usually up, this spring"),
    )
    again = (
        number("days_late", "Days after the best date a reseeding would go in"),
        Field(
            name="publisher",
            label="Only this publisher",
            choices=(("", "all that speak of the crop"), *publisher_choices()),
        ),
        Field(
            name="interval", label="Interval", choices=tuple((k, k) for k in INTERVALS), hint="The first is right unless you know better."
        ),
        number("confidence", "Confidence of all intervals", "Empty: 95 %."),
    )
    return (
        Group(title="What you counted", fields=counted),
        Group(title="Counted by walking a distance", fields=walked, folded=True),
        Group(title="Seeds dug: depth by wing and rank", fields=dug, folded=True),
        Group(title="What was sown, if it is not as the job has it", fields=sown, folded=True),
        Group(title="Seedbed and days, for the cause of a thin stand", fields=beside, folded=True),
        Group(title="Sow again, intervals", fields=again, folded=True),
    )


@router.get("/after/stand")
def stand(request: Request) -> Response:
    """Counts in; stand, survival, depth, keep or sow again, and causes out."""
    site = site_of(request)
    answer: StandAnswer | None = None
    used: tuple[KnownFact, ...] = ()
    said = StandSaid()
    with site.book() as book:
        profile = book.profile
        groups = groups_for(job_choices(book), profile)
        typed = Typed.of(all_fields(groups), request.query_params, profile)
        bounded(typed, but=("counts", "wheel"))
        if asked(request, "job"):
            given = _given(typed)
            fits = typed.ok
            try:
                job = typed.values.get("job", "") if "job" not in typed.faults else ""
                given, used = merged(given, job_facts(book, job, profile) if job else ())
                said = _said(typed, given)
                answer = answer_stand(said, profile)
            except EvenstandError as error:
                tie(typed, error, PLACES)
            answer = answer if fits and typed.ok else None
    return site.page(
        request, "stand_ask.html", status=200 if typed.ok else 422, typed=typed, groups=groups, used=[f.told for f in used],
        answer=_shown(answer, said, profile) if answer else None,
    )  # fmt: skip


def _given(typed: Typed) -> dict[str, str]:
    """Texts by the names of the use case; every number is looked at, so that all faults show at once."""
    for name in NUMBERS:
        typed.number(name)
    given = {name: typed.text(name) for name in OPTIONS if typed.text(name)}
    if typed.text("size") and "size" not in typed.faults:
        size = typed.number("size")
        given[typed.values.get("way") or "row"] = f"{size!r} m"
    return given


def _said(typed: Typed, given: dict[str, str]) -> StandSaid:
    wheel, counts = _pieces(typed, "wheel", r"[;\n]+"), _pieces(typed, "counts", r"[\s;,]+")
    for piece in counts:
        if not re.fullmatch(r"\d{1,9}", piece):
            typed.faults["counts"] = f"Plants at each place: '{piece[:40]}' is no number of plants. Count whole plants."
    if wheel:
        given = {k: v for k, v in given.items() if k not in {"row", "hoop", "hoop_round"} or typed.text("counts")}
    return StandSaid(
        counts=counts,
        wheel=wheel,
        depth=_pieces(typed, "depth", r"\n+"),
        interval=typed.values.get("interval") or INTERVALS[0],
        given=given,
    )


def _pieces(typed: Typed, name: str, between: str) -> tuple[str, ...]:
    return tuple(p.strip() for p in re.split(between, typed.text(name)) if p.strip())


def _shown(answer: StandAnswer, said: StandSaid, profile: Profile) -> dict[str, object]:
    """Everything the page tells of an answer."""
    sentence, state = answer_sentence(answer, profile, typed_share(said.given, "confidence", 0.95))
    thin, keep, report = answer.thin, answer.keep, answer.depth
    late = keep.late if keep else None
    return {
        "sentence": restated(sentence, profile),
        "state": state,
        "next": thin.settle_by if thin else "",
        "not_claimed": thin.not_claimed if thin else "",
        "numbers": number_lines(answer, said, profile),
        "doubts": [d.said(profile) for d in answer.doubts],
        "depth": depth_lines(answer),
        "advice": (*report.advice, *report.cannot_tell) if report else (),
        "effects": effect_rows(answer, profile),
        "causes": cause_rows(answer, profile),
        "keep": keep_rows(answer),
        "keep_notes": _told((late.note if late else "", keep.note if keep else "")),
        "late": _late(late),
        "missing": [_page_words(text) for text in answer.missing],
    }  # fmt: skip


def _late(late: LateSeeding | None) -> str:
    if late is None or late.loss is None:
        return ""
    return f"{late.publisher}: sown {late.days_late:g} days late loses about {late.loss:.0%} of the yield."


def _told(texts: Sequence[str]) -> list[str]:
    return [t for t in texts if t]


def _page_words(text: str) -> str:
    """'keep or reseed: give --crop' in the page's words. [text]"""
    told = re.sub(r"--([a-z]+)", lambda m: WORDS.get(m.group(1), m.group(1)), text)
    return f"{told[:1].upper()}{told[1:]}.".replace(": give", ": type")
