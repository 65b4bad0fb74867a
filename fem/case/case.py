"""A case: what is asked. It is read from TOML, checked, changed, written back, and hashed."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Self

from pydantic import Field, ValidationError, ValidationInfo, field_validator, model_validator

from fem.case.drive import AddedVolume, Drive, Gas, Pressure
from fem.case.free_end import FreeEnd, Move
from fem.case.rubber_table import AnyRubber
from fem.case.thread_family import ThreadFamily
from fem.case.tube import Tube
from fem.core.atomic_write import write_text
from fem.core.errors import InputError, describe
from fem.core.renamed import with_new_values
from fem.core.schema_base import CheckedTable, invalid, schema_of_one
from fem.core.text_file import read_toml
from fem.core.units import LENGTH, show

DRIVES = ("pressure", "volume", "gas")
ALTERNATIVES = (DRIVES, ("angle", "ring_turn"), ("displacement", "twist"))
"""Keys of one table of which only one is given."""

BARE_SECTORS = 12


class CaseError(InputError):
    """A case that cannot be used; its text says where, what and how to fix it."""


class Case(CheckedTable):
    """A tube with its threads, what drives it, and what its free end meets."""

    model_config = schema_of_one("pressure", "volume", "gas")

    title: str = Field(min_length=1, description="One line that names the case in pictures.")
    note: str = Field(default="", description="Where the numbers come from.")
    tube: Tube
    rubber: AnyRubber
    threads: tuple[ThreadFamily, ...] = Field(
        default=(), description="Families of threads; none is a bare tube."
    )
    pressure: Pressure | None = Field(default=None, description="Drive: the pressure is set.")
    volume: AddedVolume | None = Field(default=None, description="Drive: a volume is pushed in.")
    gas: Gas | None = Field(
        default=None, validate_default=True, description="Drive: a mass of air is let in."
    )
    end: FreeEnd = Field(default_factory=FreeEnd, description="What the free end meets.")
    move: Move | None = Field(
        default=None, description="How the free end is moved after the last step of the drive."
    )

    @field_validator("threads")
    @classmethod
    def _fit_families(
        cls, threads: tuple[ThreadFamily, ...], info: ValidationInfo
    ) -> tuple[ThreadFamily, ...]:
        """Set the angles that follow from ring turns, and check families beside tube and others."""
        names = [family.name for family in threads]
        for name in names:
            if names.count(name) > 1:
                raise invalid(f'threads: two families are named "{name}"; names must differ')
        tube = info.data.get("tube")
        if tube is None:  # its own fault is told
            return threads
        return tuple(family.on(tube) for family in threads)

    @field_validator("gas")
    @classmethod
    def _one_drive(cls, gas: Gas | None, info: ValidationInfo) -> Gas | None:
        """Refuse two drives or none; it stands here so that it tells of it beside other faults."""
        drives = {**info.data, "gas": gas}
        if all(table in drives for table in DRIVES):  # else the fault of one is told
            given = [f"[{table}]" for table in DRIVES if drives[table] is not None]
            if len(given) != 1:
                found = f"{' and '.join(given)} are there" if given else "none is there"
                raise invalid(f"just one of the tables [pressure], [volume], [gas] is due; {found}")
        return gas

    @model_validator(mode="after")
    def _check_move(self) -> Self:
        if self.move is None:
            return self
        for key in self.end.loads(self.move.direction):
            raise invalid(
                f"end.{key}: what moves the free end takes the place of this load; "
                f"leave out either end.{key} or the table [move]"
            )
        length = self.tube.length
        if self.move.displacement is not None and not self.move.displacement > -length:
            raise invalid(
                f"move.displacement = {show(self.move.displacement, LENGTH)}: it must be greater "
                f"than {show(-length, LENGTH)}, or nothing is left of the tube"
            )
        return self

    @property
    def drive(self) -> Drive:
        """The one drive that is given."""
        drive = self.pressure or self.volume or self.gas
        assert drive is not None  # it was checked
        return drive

    @property
    def counts(self) -> tuple[int, ...]:
        """Number of threads of each family."""
        return tuple(family.count for family in self.threads)

    @property
    def sectors(self) -> int:
        """Number of equal sectors: the tube maps onto itself when turned by one of them."""
        return sectors_of(self.counts)

    @property
    def force_scale(self) -> float:
        """A force (N) against which one out of balance is small or not.

        That is the shear modulus times the section of the wall; the share of the threads' stiffness
        in it stands for the round-off of their tension.
        """
        section = math.pi * (self.tube.outer_radius**2 - self.tube.bore_radius**2)
        stiffness = sum(family.count * family.stiffness for family in self.threads)
        return self.rubber.constitutive_law.shear_modulus * section + 1e-6 * stiffness

    @property
    def hash(self) -> str:
        """SHA-256 of what decides the values: no spelling of the file changes it, nor its words."""
        words: Any = {"title": True, "note": True, "rubber": {"trusted_stretch"}}
        data = self.model_dump(mode="json", exclude_none=True, exclude=words)
        return hashlib.sha256(json.dumps(data, sort_keys=True).encode()).hexdigest()

    @classmethod
    def load(cls, path: str | Path) -> Self:
        """Read a case from a TOML file.

        Raises
        ------
        CaseError
            If the file cannot be read or does not describe a case.
        """
        return cls.parse(read_toml(Path(path), CaseError), str(path))

    @classmethod
    def parse(cls, data: dict[str, Any], origin: str = "case") -> Self:
        """Check `data`, laid out as in the TOML file; `origin` names it in messages.

        Raises
        ------
        CaseError
            If it does not describe a case.
        """
        try:
            return cls.model_validate(with_new_values(data, origin))
        except ValidationError as error:
            raise CaseError(describe(error, origin, cls)) from None

    @property
    def key(self) -> str:
        """The first 16 digits of the hash, which name the case in tables."""
        return self.hash[:16]

    @property
    def data(self) -> dict[str, Any]:
        """The case laid out as in the TOML file, which has no null."""
        return self.model_dump(mode="json", exclude_none=True)

    def save(self, path: str | Path) -> None:
        """Write the case as TOML; :meth:`load` reads back an equal case."""
        import tomlkit

        write_text(Path(path), tomlkit.dumps(self.data))

    def changed(self, **changes: Any) -> Self:
        """Return a checked copy with other values, named by dotted keys with ``__`` for the dot.

        A value takes the place of its alternative, such as an angle that of a ring turn or a volume
        that of the pressure; None takes a key away.

        >>> case.changed(threads__0__angle="10 deg", pressure__steps=3)  # doctest: +SKIP

        Raises
        ------
        CaseError
            If there is no such key, or its value cannot be used.
        """
        data = self.data
        edit(data, changes)
        return self.parse(data)


def sectors_of(counts: Sequence[int]) -> int:
    """Return the number of equal sectors of a tube with these thread counts."""
    return math.gcd(*counts) or BARE_SECTORS


def edit(data: dict[str, Any], changes: Mapping[str, Any]) -> None:
    """Put values into `data`, laid out as in a TOML file; their keys have ``__`` for the dot.

    A value takes the place of its alternatives, unless they are among the changes themselves; the
    value None takes a key away.

    Raises
    ------
    CaseError
        If there is no such table.
    """
    for key, value in changes.items():
        *parents, last = key.split("__")
        place: Any = data
        try:
            for parent in parents:
                place = place[int(parent) if parent.isdigit() else parent]
            place[last] = value
        except (KeyError, IndexError, TypeError):
            raise CaseError(f"case: there is no key {key.replace('__', '.')}") from None
        if value is None:
            del place[last]
            continue
        for rival in _rivals(last, place):
            if "__".join([*parents, rival]) not in changes:
                place.pop(rival, None)


def _rivals(key: str, table: Mapping[str, Any]) -> list[str]:
    """Return the keys that cannot stand beside `key` in the table."""
    if key == "material":  # it says what law and constants are
        return [other for other in table if other not in ("material", "bulk_ratio")]
    return [rival for keys in ALTERNATIVES if key in keys for rival in keys if rival != key]
