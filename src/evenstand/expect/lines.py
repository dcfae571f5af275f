"""What a line of the value card is made of, and what all parts of the card share."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from evenstand.base.estimate import Est
from evenstand.base.worked import Working, working
from evenstand.expect.needs import need
from evenstand.model import Bin, BinPlan, CardLine, Drive, Job, LineRole, Lot, MeterFactor, Outfit, Plan, Product

GROUPS: tuple[tuple[str, str], ...] = (
    ("bin", "Bins and meters"),
    ("travel", "Travel"),
    ("width", "Widths"),
    ("fan", "Fan"),
    ("head", "Heads and lines"),
    ("row", "Seed row"),
    ("stand", "Seed and stand"),
    ("keep", "Treatment and keeping"),
    ("job", "The job"),
    ("time", "Time and cost"),
)
"""Groups of the card in the order they are needed in the cab, with their titles."""

SURE_95 = 1.96  # standard deviations on either side that hold 95 % of a normal distribution


@dataclass(frozen=True, slots=True, kw_only=True)
class CardFacts:
    """What the card is written from: the job, the outfit, the plan so far, products and lots by key, all factors of the outfit, the
    line to drive, the longest round [ha], and the day or moment it is made for (ISO, "" where not known)."""

    job: Job
    outfit: Outfit | None
    plan: Plan
    products: dict[str, Product]
    lots: dict[str, Lot]
    factors: tuple[MeterFactor, ...] = ()
    drive: Drive | None = None
    longest_round_ha: float | None = None
    now: str = ""
    notes: dict[str, str] = field(default_factory=dict)

    def name(self, product: str) -> str:
        """The product's name, or its key where nothing more is known. [-]"""
        return self.products[product].name if product in self.products else product

    def bin(self, letter: str) -> Bin | None:
        """The bin of that letter, None if the outfit has none such. [-]"""
        return next((b for b in self.outfit.bins if b.letter == letter), None) if self.outfit else None

    def kind(self, product: str) -> str:
        """Kind of a product; what nothing is known of counts as seed. [-]"""
        return self.products[product].kind if product in self.products else "seed"

    def feeding_m(self, b: BinPlan) -> float | None:
        """Width fed by a bin's meter: its own where it feeds a part, else the tool's. [m]"""
        own = self.bin(b.bin)
        return (own.meter.feeding_m if own else None) or self.plan.width_m


def line(
    key: str,
    group: str,
    label: str,
    quantity: str,
    value: float | Est | None = None,
    missing: Sequence[str] = (),
    *,
    role: LineRole = "know",
    low: float | None = None,
    high: float | None = None,
    sd: float | None = None,
    bin: str = "",
    product: str = "",
    basis: str = "",
    source: str = "",
    why: str = "",
    stale: str = "",
    stale_now: str = "",
    shows: Working | None = None,
    set_by: str = "",
    text: str = "",
    how: str = "",
    more: Iterable[str] = (),
    over: bool = False,
) -> CardLine:
    """A known line, or one that says what it needs.

    Parameters
    ----------
    value : float, Est or None
        In the quantity's metric unit; an estimate brings its spread, basis and source, and its 95 % range where no other is given.
    missing : sequence of str
        Keys of `NEEDS`, or plain words, for a value that is not known. [-]
    text : str
        The answer of a line that is no number. [-]
    how : str
        How to get what is missing, where `missing` are plain words. [-]

    Other arguments as the fields of `CardLine`.
    """
    common = {
        "key": key,
        "group": group,
        "label": label,
        "quantity": quantity,
        "bin": bin,
        "product": product,
        "why": why,
        "role": role,
        "stale": stale,
        "stale_now": stale_now,
        "set_by": set_by,
        "more": tuple(more),
        "over": over,
    }
    if value is None and not text:
        needs, get = need(*missing)
        return CardLine(**common, state="needs", needs=needs or ("a value",), how=how or get or "Write it in.")  # type: ignore[arg-type]
    number = value.value if isinstance(value, Est) else value
    if isinstance(value, Est):
        sd = value.sd if sd is None else sd
        basis = basis or value.basis
        source = source or (value.source if value.basis != "computed" else "")
        if low is None and high is None and value.sd > 0:
            low, high = value.interval(SURE_95)
    if low is not None and high is not None and math.isclose(low, high, rel_tol=1e-9):
        low = high = None
    basis = basis or "computed"
    if basis == "typed":
        sd, source = 0.0 if sd is None else sd, source or "typed"
    if shows is not None and (number is None or not math.isclose(shows.result, number, rel_tol=1e-6, abs_tol=1e-12)):
        shows = None  # a working stands only beside the value it gives
    source = source or (shows.source if shows is not None else "definition" if basis == "computed" else basis)
    if sd is None and low is None and high is None and number is not None:
        sd = 0.0
    return CardLine(
        **common,  # type: ignore[arg-type]
        state="typed" if basis == "typed" else "known",
        value=number,
        low=low,
        high=high,
        sd=sd,
        basis=basis,
        source=source,
        working=shows,
        text=text,
    )


def shown(function: Callable[..., float], **values: float | Est | None) -> Working | None:
    """The working of a formula when all its inputs are known."""
    known = {k: v.value if isinstance(v, Est) else v for k, v in values.items() if v is not None}
    return working(function, **known) if len(known) == len(values) else None


def gaps(**values: object) -> list[str]:
    """Keys of what is not known, dashes for underscores: `gaps(speed=None, width=16.3)` is ["speed"]."""
    return [name.replace("_", "-") for name, value in values.items() if value is None]


def sentences(parts: Iterable[str]) -> str:
    """Sentences joined, each ended. [text]"""
    return " ".join(f"{p.strip().rstrip('.')}." for p in parts if p.strip())
