"""A book from nothing: at most ten typed values become a person's own outfit, products and first job. Unknown stays unknown."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from evenstand.base.clock import Clock, SystemClock, iso
from evenstand.base.errors import EvenstandError, Fault, InputError, RangeError, require_range
from evenstand.base.estimate import Est
from evenstand.base.units import Profile, check_profile, read_quantity, shown, unit_of
from evenstand.desk.recording import free_key, slug
from evenstand.model import Ask, Bin, Job, MeterFactor, Outfit, Product, Widths
from evenstand.model.outfit import DriveKind

if TYPE_CHECKING:
    from evenstand.book import Book

TYPED_CAPACITY_SD = 0.01  # a size typed from a plate or a book, as a share of it: common practice
TYPED_FACTOR_SD = 0.02  # a product per turn typed without its catch test, as a share of it: common practice
_APART = 0.01  # two widths that differ by more than this share are pointed out
_TWO_MEANINGS = frozenset({"bu", "bushel", "bushels", "gal", "gallon", "gallons"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One of the values asked of somebody with an empty folder. quantity: its unit's, "" for words; low, high: its range [metric]."""

    name: str
    label: str
    quantity: str = ""
    hint: str = ""
    low: float = 0.0
    high: float = 0.0


QUESTIONS: tuple[Question, ...] = (
    Question(name="outfit", label="What you call the outfit", hint="Drill and cart, in your own words."),
    Question(name="rows", label="Number of openers", quantity="count", low=1, high=400),
    Question(name="spacing", label="Row spacing", quantity="spacing", low=0.05, high=1.5),
    Question(
        name="width", label="Working width", quantity="width", low=0.5, high=60, hint="Needed only where rows and spacing are not known.",
    ),
    Question(name="speed", label="Working speed", quantity="speed", low=0.3, high=8),
    Question(
        name="bins", label="Bins, front to rear", quantity="volume", low=0.01, high=100,
        hint="Letter, size and content: A 6.2 seed, B 4.6 urea. Letters alone will do.",
    ),
    Question(name="drive", label="What drives the meters", hint="motor or ground."),
    Question(name="crop", label="Crop"),
    Question(
        name="rate", label="Rate", quantity="rate", low=0.1, high=2000, hint="Of seed; further products behind it: 120, urea 80.",
    ),
    Question(name="area", label="Area of the first job", quantity="area", low=0.01, high=20_000),
    Question(
        name="factor", label="Product per turn of the meter", quantity="factor", low=1e-4, high=50, hint="Only if you have caught it.",
    ),
)  # fmt: skip
"""Rows with their spacing, or the width: whoever answers types ten values at most."""
_BY_NAME = {question.name: question for question in QUESTIONS}


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstOutfit:
    """What the answers give. notes: what to look at, in sentences."""

    outfit: Outfit
    job: Job
    products: tuple[Product, ...] = ()
    factors: tuple[MeterFactor, ...] = ()
    notes: tuple[str, ...] = ()


def outfit_from_answers(answers: Mapping[str, str], profile: str = "si", *, season: int = 0, at: str = "") -> FirstOutfit:
    """An outfit, a job and its products from typed answers.

    Parameters
    ----------
    answers : mapping of str to str
        By the names of `QUESTIONS`, as typed; empty or absent is not known. Numbers without a unit are in the profile's. [-]
    profile : str
        "si", "prairie" or "us". [-]
    season : int
        Year of the job. [-]
    at : str
        Time of a product per turn that was typed. [ISO 8601]

    Returns
    -------
    FirstOutfit
        In metric units; what was not answered is None or empty. [metric]

    Raises
    ------
    InputError
        With a fault for each answer that cannot be read or is out of range, `where` being its name.
    """
    read = _Answers(answers, check_profile(profile))
    rows, spacing, width, speed = read.whole("rows"), read.number("spacing"), read.number("width"), read.number("speed")
    area, crop, drive = read.number("area"), read.text("crop").lower(), read.drive()
    contents = read.bins()
    rates = read.rates()
    factors = read.factors(tuple(contents))
    read.done()

    name = read.text("outfit")
    seed = slug(f"{crop} seed") if crop else "seed"
    filled = _filled(contents, rates, seed, crop)
    products = _products(filled, rates, factors, seed, crop)
    key = slug(name) if name else "outfit"
    outfit = Outfit(
        key=key, name=name or "our outfit", drive=drive, rows=rows, row_spacing_m=spacing,
        widths=Widths(rate_m=width), speed_m_s=speed, bins=tuple(_bin(letter, c) for letter, c in contents.items()),
    )  # fmt: skip
    asks = tuple(
        Ask(product=product, rate_kg_ha=rate, bins=tuple(letter for letter, inside in filled.items() if inside == product))
        for product, rate in _named(rates, seed).items()
    )
    job = Job(key=slug(f"{crop} {season or ''}") if crop else "first-job", crop=crop, season=season, outfit=key, area_ha=area, asks=asks)
    known = tuple(
        MeterFactor(
            outfit=key, bin=letter, product=filled.get(letter, seed), at=at, how="typed",
            kg_turn=Est(value=value, sd=TYPED_FACTOR_SD * value, basis="typed", source="typed"),
        )
        for letter, value in factors.items()
    )  # fmt: skip
    return FirstOutfit(outfit=outfit, job=job, products=products, factors=known, notes=_notes(outfit, read.profile))


# reading answers ----------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True, kw_only=True)
class _Content:
    """A bin as typed."""

    volume_m3: float | None
    inside: str


@dataclass(slots=True)
class _Answers:
    """Reads the texts and gathers every fault."""

    answers: Mapping[str, str]
    profile: Profile
    faults: list[Fault] = field(default_factory=list)

    def text(self, name: str) -> str:
        """What was typed, with single spaces."""
        return " ".join(str(self.answers.get(name) or "").split())

    def number(self, name: str) -> float | None:
        """The answer as a number in range; None if not known. [metric]"""
        return self.read(self.text(name), name) if self.text(name) else None

    def whole(self, name: str) -> int | None:
        """The answer as a whole number."""
        value = self.number(name)
        if value is not None and value != int(value):
            self.blame(name, f"'{self.text(name)}' is no whole number", "Count the openers.")
            return None
        return None if value is None else int(value)

    def drive(self) -> DriveKind:
        """motor or ground; unknown where it was not answered."""
        word = self.text("drive").lower()
        if word not in {"", "motor", "ground"}:
            self.blame("drive", f"'{word}' is no drive of a meter", "Type motor (electric or hydraulic) or ground (a wheel).")
        return "ground" if word == "ground" else "motor" if word == "motor" else "unknown"

    def bins(self) -> dict[str, _Content]:
        """'A 6.2 seed, B 4.6 urea', 'A=6.2,B=4.6', 'A, B' or '6.2; 4.6' by letter."""
        found: dict[str, _Content] = {}
        for piece in _pieces(self.text("bins")):
            lettered = re.match(r"^([A-Za-z])(?![A-Za-z])\s*[=:]?\s*(.*)$", piece)
            letter, rest = (lettered.group(1).upper(), lettered.group(2)) if lettered else (chr(ord("A") + len(found)), piece)
            if not lettered and not piece[0].isdigit():
                self.blame("bins", f"'{piece}' begins with no letter", "Write the bin's letter first, as in A 6.2 seed.")
            elif letter in found:
                self.blame("bins", f"bin {letter} stands twice", "Give each bin its own letter.")
            else:
                found[letter] = self._content(rest)
        return found

    def _content(self, rest: str) -> _Content:
        sized = re.match(r"^([-+]?\d[\d.,]*)\s*(.*)$", rest)
        if not sized:
            return _Content(volume_m3=None, inside=rest.lower())
        words = sized.group(2).split()
        count = next((n for n in (2, 1) if len(words) >= n and _is_unit(" ".join(words[:n]), "volume")), 0)
        return _Content(volume_m3=self.read(f"{sized.group(1)} {' '.join(words[:count])}", "bins"), inside=" ".join(words[count:]).lower())

    def rates(self) -> dict[str, float]:
        """'120', '120, urea 80' or 'urea=80' by product; "" is the seed. [kg/ha]"""
        found: dict[str, float] = {}
        for piece in _pieces(self.text("rate")):
            named = re.match(r"^(.+?)\s*=\s*(.+)$", piece) or re.match(r"^([^\d]*[A-Za-z][^\d]*?)[\s:]+([-+]?\d.*)$", piece)
            name, value = (named.group(1).lower(), named.group(2)) if named else ("", piece)
            rate = self.read(value, "rate")
            if name in found:
                self.blame("rate", f"{name or 'the seed'} has two rates", "Give each product one rate, as in 120, urea 80.")
            if rate is not None:
                found[name] = rate
        return found

    def factors(self, letters: tuple[str, ...]) -> dict[str, float]:
        """'1.25' for the first bin, or 'A=1.25, B=1.18'. [kg/turn]"""
        found: dict[str, float] = {}
        for i, piece in enumerate(_pieces(self.text("factor"))):
            lettered = re.match(r"^([A-Za-z])(?![A-Za-z])\s*[=:]?\s*(.+)$", piece)
            letter = lettered.group(1).upper() if lettered else (letters[i] if i < len(letters) else chr(ord("A") + i))
            value = self.read(lettered.group(2) if lettered else piece, "factor")
            if lettered and letters and letter not in letters:
                self.blame("factor", f"there is no bin {letter}", f"The bins are {', '.join(letters)}.")
            elif value is not None:
                found[letter] = value
        return found

    def read(self, text: str, name: str) -> float | None:
        """A number with or without a unit, in the question's range; None and a fault otherwise. [metric]"""
        question = _BY_NAME[name]
        try:
            value = read_quantity(text, question.quantity, self.profile, where=name)
            require_range(name, value, question.low, question.high)
        except RangeError:
            low, high = (shown(limit, question.quantity, self.profile) for limit in (question.low, question.high))
            self.blame(
                name,
                f"'{text.strip()}' is out of range",
                f"Correct it, or write the unit if it is another than {self._unit(name)}.",
                f"{low} to {high}",
            )
            return None
        except EvenstandError as error:
            self.faults += [dataclasses.replace(fault, where=name) for fault in error.faults]
            return None
        return value

    def _unit(self, name: str) -> str:
        return shown(0.0, _BY_NAME[name].quantity, self.profile).lstrip("0. ") or "a plain number"

    def blame(self, name: str, what: str, cure: str, limit: str = "") -> None:
        """Note a fault of an answer."""
        self.faults.append(Fault(where=name, what=what, limit=limit, cure=cure))

    def done(self) -> None:
        """Refuse, if anything is wrong."""
        if self.faults:
            raise InputError(self.faults)


def _pieces(text: str) -> list[str]:
    """Parts of a list; a comma between digits belongs to a number."""
    return [p.strip() for p in re.split(r";|,\s+|,(?=[A-Za-z])", text) if p.strip()]


def _is_unit(text: str, quantity: str) -> bool:
    """Whether words are a unit; those with two meanings count, so that they are refused and not taken for a content."""
    if text.lower() in _TWO_MEANINGS:
        return True
    try:
        unit_of(quantity, text)
    except EvenstandError:
        return False
    return True


# building -----------------------------------------------------------------------------------------------------------
def _bin(letter: str, content: _Content) -> Bin:
    volume = content.volume_m3
    capacity = None if volume is None else Est(value=volume, sd=TYPED_CAPACITY_SD * volume, basis="typed", source="typed")
    return Bin(letter=letter, label=content.inside, capacity_m3=capacity)


def _named(rates: Mapping[str, float], seed: str) -> dict[str, float]:
    """Rates by product key. [kg/ha]"""
    return {slug(name) if name else seed: rate for name, rate in rates.items()}


def _filled(contents: Mapping[str, _Content], rates: Mapping[str, float], seed: str, crop: str) -> dict[str, str]:
    """Which product is in which bin, as far as the answers say so."""
    others = [name for name in rates if name]
    filled: dict[str, str] = {}
    for letter, content in contents.items():
        word = content.inside
        if word in {"seed", crop, f"{crop} seed"} - {""}:
            filled[letter] = seed
        elif word in {"fertilizer", "fertiliser"}:
            if len(others) == 1:
                filled[letter] = slug(others[0])
        elif word:
            filled[letter] = slug(word)
    if len(contents) == 1 and list(rates) == [""]:
        filled.setdefault(next(iter(contents)), seed)
    return filled


def _products(
    filled: Mapping[str, str], rates: Mapping[str, float], factors: Mapping[str, float], seed: str, crop: str
) -> tuple[Product, ...]:
    wanted = dict.fromkeys([*_named(rates, seed), *filled.values(), *(filled.get(letter, seed) for letter in factors)])
    found = []
    for key in wanted:
        if key == seed:
            found.append(Product(key=key, name=f"{crop} seed".strip(), kind="seed", crop=crop))
        else:
            found.append(Product(key=key, name=key.replace("-", " "), kind="inoculant" if "inoculant" in key else "fertilizer"))
    return tuple(found)


def _notes(outfit: Outfit, profile: Profile) -> tuple[str, ...]:
    if not (outfit.rows and outfit.row_spacing_m and outfit.widths.rate_m):
        return ()
    counted, typed = outfit.rows * outfit.row_spacing_m, outfit.widths.rate_m
    if abs(counted / typed - 1) <= _APART:
        return ()
    return (
        f"{outfit.rows} rows x {shown(outfit.row_spacing_m, 'spacing', profile)} is {shown(counted, 'width', profile)}, "
        f"{shown(typed, 'width', profile)} is given as the width. Both are kept; tape the tool to settle it.",
    )


# keeping ------------------------------------------------------------------------------------------------------------
def keep_answers(book: Book, answers: Mapping[str, str], *, clock: Clock | None = None) -> Job:
    """Put what the answers give into an open book, as one change; returns the job.

    Parameters
    ----------
    book : Book
        Open for writing. [-]
    answers : mapping of str to str
        As for `outfit_from_answers`, in the book's units. [-]
    clock : Clock
        Tells season and time; the machine's clock if left out. [-]

    Raises
    ------
    InputError
        With a fault for each answer that is wrong; the book is unchanged.
    """
    return keep_first(book, first_of(book, answers, clock=clock))


def first_of(book: Book, answers: Mapping[str, str], *, clock: Clock | None = None) -> FirstOutfit:
    """The answers read in a book's units and with keys that are free in it."""
    now = (clock or SystemClock()).now()
    first = outfit_from_answers(answers, book.profile, season=now.year, at=iso(now))
    key = free_key(book, Outfit, first.outfit.key)
    return dataclasses.replace(
        first,
        outfit=dataclasses.replace(first.outfit, key=key),
        job=dataclasses.replace(first.job, key=free_key(book, Job, first.job.key), outfit=key),
        factors=tuple(dataclasses.replace(f, outfit=key) for f in first.factors),
    )


def keep_first(book: Book, first: FirstOutfit) -> Job:
    """Put an outfit with its job and products in, as one change. Products that are there already stay as they are."""
    known = {product.key for product in book.all(Product)}
    with book.batch("first values"):
        for product in first.products:
            if product.key not in known:
                book.put(product)
        book.put(first.outfit)
        book.put(first.job)
        for factor in first.factors:
            book.put(factor)
    return first.job


def new_book(
    folder: str | Path,
    *,
    farm: str,
    profile: str = "si",
    answers: Mapping[str, str] | None = None,
    who: str = "",
    clock: Clock | None = None,
) -> FirstOutfit | None:
    """Make a book, with an outfit and a job if there are answers. Wrong answers are refused before anything is written.

    Parameters
    ----------
    folder : str or Path
        Of the book to be. [-]
    farm, profile, who : str
        Name of the farm, its units, and who writes. [-]
    answers : mapping of str to str, or None
        As for `outfit_from_answers`. [-]

    Returns
    -------
    FirstOutfit or None
        What was put in. [metric]
    """
    from evenstand.book import Book

    given = {name: text for name, text in (answers or {}).items() if text and text.strip()}
    outfit_from_answers(given, profile)
    with Book.create(folder, farm=farm, profile=profile, who=who, clock=clock) as book:
        if not given:
            return None
        first = first_of(book, given, clock=clock)
        keep_first(book, first)
        return first


def open_book(folder: str | Path, *, write: bool = False, who: str = "", clock: Clock | None = None) -> Book:
    """Open a book; who writes is the login name unless it is told.

    Parameters
    ----------
    folder : str or Path
        Of the book. [-]
    write : bool
        Take the lock and allow changes. [-]
    """
    from evenstand.book import Book

    return Book.open(folder, write=write, who=who or login_name(), clock=clock)


def login_name() -> str:
    """The name of whoever is logged in; "" where the system does not tell."""
    import getpass

    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return ""
