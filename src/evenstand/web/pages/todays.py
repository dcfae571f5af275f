"""The machine: fan, meters and ground speed for one day. The use case of `evenstand window` on a job of the book; nothing is stored."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from evenstand.base.errors import EvenstandError, MissingError
from evenstand.base.units import Profile, restated
from evenstand.desk.window_lines import DaySaid, DayWindows, day_windows, mattered_rows, opinion_rows, proof_known
from evenstand.desk.windows import AIR_FIELDS, AirSaid
from evenstand.model import Job, Outfit
from evenstand.web.asking import Group, all_fields, asked, bounded, tie
from evenstand.web.forms import Field, Typed
from evenstand.web.naming import job_choices
from evenstand.web.site import site_of

if TYPE_CHECKING:
    from evenstand.book import Book

router = APIRouter()

LABELS = {
    "temperature": ("Air temperature today", ""),
    "height": ("Height of the place above the sea", "Or the pressure, if you have it."),
    "pressure": ("Air pressure at the place", "As a barometer shows it there, not reduced to sea level."),
    "humidity": ("Relative humidity", "Matters little."),
    "fan_set": ("Fan set to now", "To hold it against the limits."),
    "fan_max": ("Fastest the maker allows", ""),
    "puff": ("Puff test: seconds until the last opener blew", ""),
    "silent": ("Puff test: openers that never blew", ""),
    "steady": ("Fan steady, tool down, no product", "Empty: what it is set to."),
    "under_load": ("Fan once product flows", ""),
    "at_lift": ("Lowest while the tool is lifted", ""),
    "proven_rate": ("All product through the air that day", ""),
    "proven_speed": ("Ground speed that day", ""),
    "proven_width": ("Width that day, if it was another", ""),
    "proven_temperature": ("Air temperature that day", ""),
    "proven_height": ("Height of that place", ""),
    "proven_pressure": ("Air pressure that day", ""),
    "proven_split": ("Share of the fan's air this stream got then", ""),
    "split": ("Share it gets now", ""),
    "second_fan": ("A second proven speed, at another load", "It replaces the published power by your outfit's own."),
    "second_rate": ("All product through the air then", "Same ground speed and width."),
    "bore": ("Inside diameter of a line", ""),
    "grain": ("Diameter of the grain", ""),
    "grain_density": ("Density of the grain itself", ""),
}
TODAY = ("temperature", "height", "pressure", "humidity", "fan_set", "fan_max")
READINGS = ("puff", "silent", "steady", "under_load", "at_lift")
PROVEN = ("proven_rate", "proven_speed", "proven_width", "proven_temperature", "proven_height", "proven_pressure")
MORE = ("second_fan", "second_rate", "proven_split", "split")
OPINIONS = ("bore", "grain", "grain_density")
PLACES = {
    "second-fan, second-rate": "second_fan", "lines": "lines", "loaded_rev_s": "under_load", "lifted_rev_s": "at_lift",
    "steady_rev_s": "steady", "slowest_s": "puff", "silent": "silent", "temperature_c": "temperature", "height_m": "height",
    "pressure_pa": "pressure", "relative_humidity": "humidity", "split": "split", "proven_split": "proven_split", "set_rev_s": "fan_set",
    "max_rev_s": "fan_max", "proven_product": "proven_product", "product": "proven_product", "particle_m": "grain", "bore_m": "bore",
    "particle_kg_m3": "grain_density", "proven_solids": "proven_rate", "alarm_low_rev_s": "fan_set", "proven_rev_s": "fan",
    "proven_density": "proven_temperature", "speed_m_s": "speed", "speed": "speed", "fan": "fan",
}  # fmt: skip


def groups_for(jobs: tuple[tuple[str, str], ...]) -> tuple[Group, ...]:
    """Fields of the question."""

    def number(name: str) -> Field:
        label, hint = LABELS[name]
        quantity = AIR_FIELDS[name]
        if quantity == "seconds":
            return Field(name=name, label=label, hint=hint or "In seconds.")
        return Field(name=name, label=label, quantity=quantity, hint=hint)

    job = Field(name="job", label="Job", choices=jobs or (("", "no job with this outfit yet"),))
    speed = Field(name="speed", label="Working speed", quantity="speed", hint="Empty: as job or outfit have it.")
    cold = Field(name="cold", label="Oil", choices=(("", "warm"), ("yes", "still cold")))
    fan = Field(
        name="fan",
        label="Fan speed proven anew",
        quantity="fan",
        hint="Of that day type the rest here too: the book's own no longer belongs to it.",
    )
    product = Field(name="proven_product", label="Crop that ran then")
    lines = Field(name="lines", label="Lines of this air", quantity="count")
    return (
        Group(title="Today", fields=(job, speed, *map(number, TODAY))),
        Group(title="Readings at the fan", fields=(*map(number, READINGS), cold), folded=True),
        Group(
            title="Another proven speed than the book's", fields=(fan, product, *map(number, PROVEN)), folded=True,
            hint="Proven: with product flowing at that rate, every opener blew in the puff test.",
        ),
        Group(title="A second proven speed, air shared between streams", fields=tuple(map(number, MORE)), folded=True),
        Group(
            title="Published opinions on one line", fields=(lines, *map(number, OPINIONS)), folded=True,
            hint="Weak for seed: they never set a fan.",
        ),
    )  # fmt: skip


@router.get("/machine/{key}/today")
def today(request: Request, key: str) -> Response:
    """The windows of one day."""
    site = site_of(request)
    found: DayWindows | None = None
    with site.book() as book:
        outfit, profile = _the(book, key), book.profile
        mine = {j.key for j in book.all(Job) if j.outfit == key}
        groups = groups_for(tuple(c for c in job_choices(book) if c[0] in mine))
        typed = Typed.of(all_fields(groups), request.query_params, profile)
        bounded(typed)
        if asked(request) and typed.values.get("job", next(iter(mine), "")):
            said, fits = _said(typed, sorted(mine)), typed.ok
            try:
                found = day_windows(book, said, profile) if said.job in mine else None
            except EvenstandError as error:
                tie(typed, error, PLACES | {"a drooping speed": "under_load" if typed.values.get("under_load") else "at_lift"})
            found = found if fits and typed.ok else None
        known = proof_known(outfit, profile)
    return site.page(
        request, "today.html", status=200 if typed.ok else 422, outfit=outfit, typed=typed, groups=groups, known=known,
        has_jobs=bool(mine), answer=_shown(found, profile) if found else None,
    )  # fmt: skip


def _the(book: Book, key: str) -> Outfit:
    found = next((o for o in book.all(Outfit) if o.key == key), None)
    if found is None:
        raise MissingError(f"no outfit '{key}'", where="outfit", cure="Choose one on The machine.")
    return found


def _said(typed: Typed, jobs: list[str]) -> DaySaid:
    """What was typed; texts go to the use case as they are, so that it names its own faults."""
    lines, fan, speed = typed.number("lines"), _above(typed, "fan"), _above(typed, "speed")
    if lines is not None and lines != round(lines):
        typed.faults["lines"] = f"Lines of this air: {lines:g} is no whole number. Count them."
    numbers = {name: typed.text(name) for name in LABELS if typed.text(name)}
    air = AirSaid(
        proven_product=typed.text("proven_product"), numbers=numbers, lines=None if lines is None else round(lines),
        cold=typed.text("cold") == "yes",
    )  # fmt: skip
    return DaySaid(job=typed.values.get("job") or jobs[0], fan_rev_s=fan, speed_m_s=speed, air=air)


def _above(typed: Typed, name: str) -> float | None:
    """A number above nought; anything else is a fault, and the rest is still looked at."""
    value = typed.number(name)
    if value is not None and value <= 0:
        label = next(f.label for f in typed.fields if f.name == name)
        typed.faults[name] = f"{label}: {typed.values[name]} is not above 0. Correct the value."
        return None
    return value


def _shown(found: DayWindows, profile: Profile) -> dict[str, object]:
    """Everything the page tells of an answer."""
    w = found.windows
    return {
        "sentence": _sentence(found, profile),
        "state": w.fan.state,
        "speed": w.speed_claim,
        "fan": found.fan,
        "missing": w.fan.missing,
        "mattered": mattered_rows(w),
        "readings": w.readings,
        "meters": [(m.state, f"Bin {m.bin}, {found.names.get(m.bin, m.product)}", m.claim) for m in w.meters],
        "lines": found.meters,
        "names": found.names,
        "notes": (w.fan.band.text,) if w.fan.band else (),
        "opinions": opinion_rows(w, profile),
    }


def _sentence(found: DayWindows, profile: Profile) -> str:
    from evenstand.base.units import shown, shown_value

    fan = found.windows.fan
    if fan.rev_s is None or fan.state == "does-not-hold" or fan.alarm_low_rev_s is None or fan.alarm_high_rev_s is None:
        return restated(fan.claim, profile)
    low, high = shown_value(fan.alarm_low_rev_s, "fan", profile), shown(fan.alarm_high_rev_s, "fan", profile)
    word = "Set the fan to" if fan.state == "holds" else "Set the fan to about"
    again = "" if fan.state == "holds" else " Prove it again."
    return f"{word} {shown(fan.rev_s, 'fan', profile)}; alarms at {low} and {high}.{again}"
