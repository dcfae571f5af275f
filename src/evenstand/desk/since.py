"""What changed since it last held: the book is taken back change by change in a copy, and the check is asked after each."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from evenstand.base.errors import EvenstandError
from evenstand.base.units import Profile
from evenstand.desk.changes import ChangeLine, change_lines
from evenstand.desk.checking import check_job
from evenstand.model import Finding, Job, Product

if TYPE_CHECKING:
    from evenstand.book import Book, Entry

MOST_LOOKS = 60
"""After so many checks of earlier days the search ends, and says so."""
_RELEVANT = frozenset(
    {"Outfit", "MeterFactor", "Product", "Lot", "Job", "Boundary", "Fill", "JobReading", "JobEvent", "CatchRecord", "TrailRecord", "Load"}
)
_OF_A_JOB = frozenset({"Fill", "JobReading", "JobEvent", "TrailRecord"})
_VALUES = frozenset({"Outfit", "MeterFactor", "Product", "Lot", "Job", "Boundary", "CatchRecord"})
Before = Literal["held", "could-not-be-told", "nothing-read", "not-found"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SinceHeld:
    """What lies between the last time a finding held and now. before: how it was then ("not-found": it never was otherwise as far as was
    looked); turned: when the change was made after which it no longer held; lines: all changes from that one on, in words; looked: how
    many earlier states were checked."""

    finding: Finding
    before: Before
    turned: str
    lines: tuple[ChangeLine, ...]
    looked: int

    @property
    def values(self) -> tuple[ChangeLine, ...]:
        """Changes of values in force, which come first when somebody asks why."""
        return tuple(x for x in self.lines if x.kind in _VALUES)

    @property
    def happened(self) -> tuple[ChangeLine, ...]:
        """Fills, readings, logs and loads that came in."""
        return tuple(x for x in self.lines if x.kind not in _VALUES)

    @property
    def sentence(self) -> str:
        """The answer in one sentence. [text]"""
        if self.before == "held":
            return f"It held until the change of {self.turned[:16].replace('T', ' ')} UTC."
        if self.before == "could-not-be-told":
            return f"Before the change of {self.turned[:16].replace('T', ' ')} UTC it could not be told; since then it does not hold."
        if self.before == "nothing-read":
            return f"Nothing had been read before {self.turned[:16].replace('T', ' ')} UTC; it has not held since."
        return f"It did not hold in any of the {self.looked} earlier states that were looked at."


def since_held(book: Book, job: str, *, profile: Profile | None = None) -> tuple[SinceHeld, ...]:
    """For each finding of a job that does not hold now, what changed since it last did.

    Parameters
    ----------
    book : Book
        Open for reading; nothing in it is changed. [-]
    job : str
        Which job. [-]
    profile : str or None
        Units of the sentences; those of the book where not given. [-]

    Returns
    -------
    tuple of SinceHeld
        One for each finding that does not hold; empty where all holds. [-]
    """
    units = profile or book.profile
    now = [f for f in check_job(book, job, profile=units) if f.state == "does-not-hold"]
    if not now:
        return ()
    entries = book.history()
    ours = _ours(book, entries, job)
    names = {p.key: p.name for p in book.all(Product)}
    with tempfile.TemporaryDirectory(prefix="evenstand-", ignore_cleanup_errors=True) as place:
        found = _walk_back(_copy(book.folder, Path(place)), job, now, entries, ours)
    return tuple(_told(f, found.get(i), ours, units, names) for i, f in enumerate(now))


def _copy(folder: Path, place: Path) -> Path:
    """The book without its originals; its trails are only read, so that a link will do."""
    shutil.copy2(folder / "book.gpkg", place / "book.gpkg")
    if (folder / "trails").is_dir():
        try:
            (place / "trails").symlink_to((folder / "trails").resolve(), target_is_directory=True)
        except OSError:
            shutil.copytree(folder / "trails", place / "trails")
    return place


def _ours(book: Book, entries: Sequence[Entry], job: str) -> tuple[Entry, ...]:
    """Changes that can bear on a job: of itself, its field, its outfit, what it sows, and what was read on it; other fields' are not."""
    of = book.get(Job, job)
    outfit, field = (of.outfit, of.field_key) if of is not None else ("", "")
    jobs: dict[tuple[str, str], str] = {}
    for e in entries:
        row = e.after if isinstance(e.after, dict) else e.before if isinstance(e.before, dict) else {}
        if e.kind in _OF_A_JOB and "job" in row:
            jobs[e.kind, e.key] = row["job"] or ""

    def bears(e: Entry) -> bool:
        if e.kind in _OF_A_JOB:
            return jobs.get((e.kind, e.key), job) == job
        if e.kind in ("MeterFactor", "CatchRecord"):
            return not outfit or e.kind == "CatchRecord" or e.key.startswith(f"{outfit}|")
        wanted = {"Job": job, "Outfit": outfit, "Boundary": field}.get(e.kind)
        return e.kind in _RELEVANT and (wanted is None or e.key == wanted)

    return tuple(e for e in entries if bears(e))


def _walk_back(
    place: Path, job: str, now: Sequence[Finding], entries: Sequence[Entry], ours: Sequence[Entry]
) -> dict[int, tuple[Before, int, int]]:
    """For each finding by its place: how it was before, the change that turned it, and how many states were looked at."""
    from evenstand.book import Book

    kinds: dict[int, set[str]] = {}
    for e in entries:
        kinds.setdefault(e.id, set()).add(e.kind)
    bearing = {e.id for e in ours}
    found: dict[int, tuple[Before, int, int]] = {}
    looked = 0
    with Book.open(place, write=True) as copy:
        for change in sorted(kinds, reverse=True):
            if "Farm" in kinds[change] and len(kinds[change]) == 1 and change == min(kinds):
                break
            try:
                copy.undo(change)
                if change not in bearing:
                    continue
                before = check_job(copy, job)
            except EvenstandError:
                before = ()
            looked += 1
            for i, f in enumerate(now):
                was = _was(f, before)
                if i not in found and was != "not-found":
                    found[i] = (was, change, looked)
            if len(found) == len(now) or looked >= MOST_LOOKS:
                break
    for i in range(len(now)):
        found.setdefault(i, ("not-found", 0, looked))
    return found


def _was(finding: Finding, before: Sequence[Finding]) -> Before:
    """How a finding stood among earlier ones; "not-found" where it did not hold then either."""
    causes = {c for group in finding.suspects[:1] for c in group}
    if any(f.state in ("does-not-hold", "doubtful") and causes & {c for g in f.suspects[:1] for c in g} for f in before):
        return "not-found"
    if not before:
        return "nothing-read"
    about = {finding.about} | ({"runs"} if any(c.startswith(("run:", "head:")) for c in causes) else set())
    if any(f.state == "holds" and f.about in about for f in before):
        return "held"
    return "could-not-be-told"


def _told(
    finding: Finding, found: tuple[Before, int, int] | None, ours: Sequence[Entry], profile: Profile, names: dict[str, str]
) -> SinceHeld:
    before, change, looked = found or ("not-found", 0, 0)
    between = [e for e in ours if change and e.id >= change and e.kind != "JobEvent"]
    turned = between[0].at if between else ""
    return SinceHeld(
        finding=finding, before=before, turned=turned, looked=looked, lines=change_lines(between, profile=profile, products=names)
    )
