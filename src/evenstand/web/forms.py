"""Forms: fields with label, unit and hint; what was typed stays; every fault is tied to its field."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from evenstand.base.errors import EvenstandError, Fault, UnitError
from evenstand.base.units import Profile, profile_unit, read_quantity, restated_fault


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field of a form. quantity: key of base.units.QUANTITIES, or "" for text; choices: (value, text) pairs make it a list;
    kind: "text", "date", "file", "area" (several lines), "chips" (choices side by side, one tap each)."""

    name: str
    label: str
    quantity: str = ""
    hint: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    kind: str = "text"
    required: bool = False
    width: str = "short"

    def unit(self, profile: Profile) -> str:
        """The unit meant when none is typed."""
        return profile_unit(self.quantity, profile) if self.quantity else ""


@dataclass(slots=True)
class Typed:
    """What was typed and what is wrong with it."""

    fields: Sequence[Field]
    profile: Profile
    values: dict[str, str] = field(default_factory=dict)
    faults: dict[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, fields: Sequence[Field], data: Mapping[str, object], profile: Profile) -> Typed:
        """The texts of a form; anything that is no text is left out."""
        values = {f.name: str(data[f.name]).strip() for f in fields if f.name in data and isinstance(data[f.name], str)}
        return cls(fields=fields, profile=profile, values=values)

    def text(self, name: str) -> str:
        """What was typed, "" for nothing; a required field that is empty becomes a fault."""
        value = self.values.get(name, "")
        spec = self._spec(name)
        if not value and spec.required:
            self.faults[name] = f"{spec.label} is needed."
        return value

    def number(self, name: str) -> float | None:
        """The number in its metric unit, None for nothing or a fault. [metric]"""
        value = self.text(name)
        if not value:
            return None
        spec = self._spec(name)
        try:
            number = read_quantity(value, spec.quantity, self.profile, where=spec.label)
            if spec.quantity == "share" and "%" not in value and 0 < number <= 0.01:  # 0.85 typed for 85 %
                return number * 100
            return number
        except UnitError as error:
            self.faults[name] = self._told(error)
            return None

    def quiet(self) -> None:
        """While somebody is still typing, an empty field is no fault yet."""
        self.faults = {k: v for k, v in self.faults.items() if not k or self.values.get(k)}

    def blame(self, error: EvenstandError) -> None:
        """Tie a calculation's faults to the fields they name; the rest stands above the form."""
        for fault in error.faults:
            self.faults[self._field_of(fault)] = str(restated_fault(fault, self.profile))

    def _told(self, error: EvenstandError) -> str:
        return "\n".join(str(restated_fault(fault, self.profile)) for fault in error.faults)

    def _field_of(self, fault: Fault) -> str:
        for f in self.fields:
            if fault.where in {f.name, f.label} or fault.where.startswith(f"{f.name} "):
                return f.name
        return ""

    def _spec(self, name: str) -> Field:
        return next(f for f in self.fields if f.name == name)

    @property
    def ok(self) -> bool:
        """No fault so far."""
        return not self.faults
