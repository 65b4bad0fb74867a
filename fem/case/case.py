"""A case, the definition of a problem: read from TOML, checked, changed, written and hashed."""

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
"""Keys of one table of which only one may be given."""

BARE_SECTORS = 12


class CaseError(InputError):
    """An invalid case; the text states file, key, value and how to fix it.

    Examples
    --------
    >>> try:
    ...     case.changed(tube__wall="-1 mm")
    ... except CaseError as error:
    ...     print(error)
    case: tube.wall = "-1 mm": it must be greater than 0 mm
    """


class Case(CheckedTable):
    """A tube with its threads, the drive, and the conditions at the free end.

    Quantities are given as text with a unit and stored in mm, N, MPa and rad. A case is
    immutable.

    Examples
    --------
    >>> case = Case.load("cases/greenhouse_wrist.toml")
    >>> case.changed(threads__A__angle="25 deg").threads[0]
    >>> case.tube.length
    60.0
    """

    model_config = schema_of_one("pressure", "volume", "gas")

    title: str = Field(
        min_length=1, description="Name of the case in pictures and reports, one line."
    )
    note: str = Field(default="", description="Remarks, such as the source of the numbers.")
    tube: Tube
    rubber: AnyRubber
    threads: tuple[ThreadFamily, ...] = Field(
        default=(), description="Families of threads; without any the tube is bare."
    )
    pressure: Pressure | None = Field(default=None, description="Drive by pressure.")
    volume: AddedVolume | None = Field(default=None, description="Drive by a volume of liquid.")
    gas: Gas | None = Field(
        default=None, validate_default=True, description="Drive by a mass of air."
    )
    end: FreeEnd = Field(
        default_factory=FreeEnd, description="Supports, springs and loads of the free end."
    )
    move: Move | None = Field(
        default=None, description="Motion of the free end after the last step of the drive."
    )

    @field_validator("threads")
    @classmethod
    def _fit_families(
        cls, threads: tuple[ThreadFamily, ...], info: ValidationInfo
    ) -> tuple[ThreadFamily, ...]:
        """Find angles from ring turns; check that names differ and families fit the tube."""
        names = [family.name for family in threads]
        for name in names:
            if names.count(name) > 1:
                raise invalid(f'threads: two families have the name "{name}"; names must differ')
        tube = info.data.get("tube")
        if tube is None:  # its error is reported already
            return threads
        return tuple(family.on(tube) for family in threads)

    @field_validator("gas")
    @classmethod
    def _one_drive(cls, gas: Gas | None, info: ValidationInfo) -> Gas | None:
        """Refuse two drives or none, as a field validator: reported together with other errors."""
        drives = {**info.data, "gas": gas}
        if all(table in drives for table in DRIVES):  # else one has an error of its own
            given = [f"[{table}]" for table in DRIVES if drives[table] is not None]
            if len(given) != 1:
                tables = "exactly one of the tables [pressure], [volume], [gas] is required"
                raise invalid(f"{tables}; given: {' and '.join(given) or 'none'}")
        return gas

    @model_validator(mode="after")
    def _check_move(self) -> Self:
        if self.move is None:
            return self
        for key in self.end.loads(self.move.direction):
            raise invalid(
                f"end.{key}: the free end cannot be loaded in the direction in which it is moved; "
                f"leave out either end.{key} or the table [move]"
            )
        length = self.tube.length
        if self.move.displacement is not None and not self.move.displacement > -length:
            raise invalid(
                f"move.displacement = {show(self.move.displacement, LENGTH)}: it must be greater "
                f"than {show(-length, LENGTH)}; the tube is {show(length, LENGTH)} long"
            )
        return self

    @property
    def drive(self) -> Drive:
        """The drive that is given."""
        drive = self.pressure or self.volume or self.gas
        assert drive is not None  # it was checked
        return drive

    @property
    def counts(self) -> tuple[int, ...]:
        """Number of threads of each family."""
        return tuple(family.count for family in self.threads)

    @property
    def sectors(self) -> int:
        """Number of equal sectors: a rotation by one sector maps the tube onto itself."""
        return sectors_of(self.counts)

    @property
    def force_scale(self) -> float:
        """Reference force for residuals (N).

        It is the shear modulus times the section of the wall, plus a small part of the stiffness of
        the threads, for the round-off of their tension.
        """
        section = math.pi * (self.tube.outer_radius**2 - self.tube.bore_radius**2)
        stiffness = sum(family.count * family.stiffness for family in self.threads)
        return self.rubber.constitutive_law.shear_modulus * section + 1e-6 * stiffness

    @property
    def hash(self) -> str:
        """SHA-256 of the inputs that affect the results, however they are written in the file."""
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
        """Check `data` with the layout of the TOML file; `origin` names it in messages.

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
        """The first 16 digits of the hash, which identify the case in tables."""
        return self.hash[:16]

    @property
    def data(self) -> dict[str, Any]:
        """The case with the layout of the TOML file, without null values."""
        return self.model_dump(mode="json", exclude_none=True)

    def save(self, path: str | Path) -> None:
        """Write the case as TOML; :meth:`load` reads back an equal case."""
        import tomlkit

        write_text(Path(path), tomlkit.dumps(self.data))

    def changed(self, **changes: Any) -> Self:
        """Return a checked copy with other values, by keys with ``__`` for the dot.

        A thread family is given by its name, or by its index from 0. A value replaces its
        alternative: an angle replaces a ring turn, a volume replaces the pressure. None removes a
        key.

        >>> case.changed(threads__A__angle="25 deg", pressure__steps=3)  # doctest: +SKIP

        Raises
        ------
        CaseError
            If there is no such key or family, or the value is invalid.
        """
        data = self.data
        edit(data, changes)
        return self.parse(data)


def sectors_of(counts: Sequence[int]) -> int:
    """Return the number of equal sectors of a tube with these thread counts."""
    return math.gcd(*counts) or BARE_SECTORS


def edit(data: dict[str, Any], changes: Mapping[str, Any]) -> None:
    """Set values in `data`, which has the layout of a TOML file; keys have ``__`` for the dot.

    A value replaces its alternatives, except those among the changes themselves; the value None
    removes a key.

    Raises
    ------
    CaseError
        If there is no such table or family.
    """
    for key, value in changes.items():
        *parents, last = key.split("__")
        place: Any = data
        try:
            for parent in parents:
                place = _entry(place, parent) if isinstance(place, list) else place[parent]
            place[last] = value
        except (KeyError, IndexError, TypeError):
            raise CaseError(f"case: {_no_place(data, key.replace('__', '.'))}") from None
        if value is None:
            del place[last]
            continue
        for other in _alternatives(last, place):
            if "__".join([*parents, other]) not in changes:
                place.pop(other, None)


def _no_place(data: Mapping[str, Any], key: str) -> str:
    """Return why `data` has no place for a key: no such table, family or key of a family."""
    table, _, rest = key.partition(".")
    if table == "threads":
        names = ", ".join(family.get("name") for family in data.get(table, ())) or "none"
        required = "" if "." in rest else ", and a key of the family is required"
        return f"there is no key {key}{required}; families: {names}"
    if table in Case.model_fields and table not in data:
        return f"there is no key {key}, as the case has no table [{table}]: set all of its keys"
    return f"there is no key {key}"


def _entry(entries: list[Any], part: str) -> Any:
    """Return the entry of a list with this index or name."""
    return entries[int(part)] if part.isdigit() else {one["name"]: one for one in entries}[part]


def _alternatives(key: str, table: Mapping[str, Any]) -> list[str]:
    """Return the keys that `key` excludes from the table."""
    if key == "material":  # it defines law and constants
        return [other for other in table if other not in ("material", "bulk_ratio")]
    return [other for keys in ALTERNATIVES if key in keys for other in keys if other != key]
