"""Terminal output of the command `materials`."""

from __future__ import annotations

from fem.case.rubber_table import COMMON
from fem.rubber.library import Material, materials
from fem.wording.terminal import print_table, terminal
from fem.wording.text_table import TextTable


def print_materials() -> None:
    """Print each material with its constants, their range of validity and their source."""
    console, library = terminal(), materials()
    rows = [
        [material.name, constants(material), _range(material), _source(material)]
        for material in library.values()
    ]
    titles = ["material", "law, constants", "strain range", "source"]
    print_table(console, TextTable("", titles, rows, text_columns=range(4)))
    name = next(iter(library))
    console.print(f'In a case file:\n\n[rubber]\nmaterial = "{name}"\n', soft_wrap=True)
    console.print(
        "Batches differ by tens of per cent. Where it matters, measure your own batch, and give "
        "law and constants instead of the name."
    )


def constants(material: Material) -> str:
    """Return law and constants with their units, one per line."""
    data = material.rubber
    lines = [f"{key} = {data[key]}" for key in data if key not in (*COMMON, "terms")]
    lines += [f"{term['modulus']}, exponent {term['exponent']:g}" for term in data.get("terms", ())]
    return "\n".join([data["law"], *lines])


def _range(material: Material) -> str:
    """Return how the rubber was strained in the tests, and up to which stretch it is valid."""
    trusted = material.rubber.get("trusted_stretch")
    return material.strain_range + (f"; valid up to a stretch of {trusted:g}" if trusted else "")


def _source(material: Material) -> str:
    """Return the source of the constants and how it was read."""
    parts = [material.source]
    if material.doi:
        parts.append(f"doi {material.doi}")
    parts.append(f"read {material.read}" if material.read == "at the source" else material.read)
    if material.own_fit:
        parts.append("constants fitted here")
    return ". ".join(["; ".join(parts), *filter(None, [material.note])])
