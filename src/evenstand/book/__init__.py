"""The book: one farm's season in a folder, an open file format, one writer, and a history of every value."""

from evenstand.book.checking import BookCheck
from evenstand.book.history import Entry
from evenstand.book.kinds import key_of
from evenstand.book.publishing import Published
from evenstand.book.records import (
    CallNote,
    CardRemark,
    CatchRecord,
    Farm,
    Handover,
    ImportedEntry,
    JobEvent,
    JobReading,
    Original,
    ProofRecord,
    Setting,
    StepState,
    TrailRecord,
)
from evenstand.book.store import Book
from evenstand.book.viewing import View

__all__ = [
    "Book", "BookCheck", "CallNote", "CardRemark", "CatchRecord", "Entry", "Farm", "Handover", "ImportedEntry", "JobEvent", "JobReading",
    "Original", "ProofRecord", "Published", "Setting", "StepState", "TrailRecord", "View", "key_of",
]  # fmt: skip
