"""A book as it stands, each kind of thing read once: for work that asks the same of two hundred jobs."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any, TypeVar

from evenstand.base.units import Profile
from evenstand.book.kinds import joined_key, key_of

if TYPE_CHECKING:
    from evenstand.book.store import Book
    from evenstand.model import Trail

T = TypeVar("T")


class View:
    """What `Book` gives to readers, from memory. Make one, use it, throw it away: what is put into the book later is not seen."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self._all: dict[type, tuple[Any, ...]] = {}
        self._by: dict[tuple[type, tuple[str, ...]], dict[tuple[Any, ...], list[Any]]] = {}
        self._keys: dict[type, dict[str, Any]] = {}
        self._profile: Profile | None = None
        self.memo: dict[Any, Any] = {}
        """What was worked out from this view and may be asked for again."""

    def all(self, kept: type[T], **where: Any) -> tuple[T, ...]:
        """As `Book.all`."""
        if kept not in self._all:
            self._all[kept] = self.book.all(kept)
        if not where:
            return self._all[kept]
        names = tuple(sorted(where))
        index = self._by.get((kept, names))
        if index is None:
            index = defaultdict(list)
            for thing in self._all[kept]:
                index[tuple(getattr(thing, n) for n in names)].append(thing)
            self._by[kept, names] = index
        return tuple(index.get(tuple(where[n] for n in names), ()))

    def get(self, kept: type[T], key: str | tuple[str, ...]) -> T | None:
        """As `Book.get`, for things."""
        if kept not in self._keys:
            self._keys[kept] = {key_of(thing): thing for thing in self.all(kept)}
        return self._keys[kept].get(joined_key(key))

    @property
    def profile(self) -> Profile:
        """As `Book.profile`."""
        if self._profile is None:
            self._profile = self.book.profile
        return self._profile

    def trail(self, key: str) -> Trail:
        """As `Book.trail`; not kept in memory."""
        return self.book.trail(key)

    def remember(self, result: Any, *, input_hash: str, about: str) -> None:
        """As `Book.remember`."""
        self.book.remember(result, input_hash=input_hash, about=about)

    def remembered(self, kept: type[T], input_hash: str) -> T | None:
        """As `Book.remembered`."""
        return self.book.remembered(kept, input_hash)
