"""What a terminal shows of the library of materials."""

from __future__ import annotations

from fem.case.rubber_table import COMMON
from fem.rubber.library import Material, materials
from fem.wording.terminal import print_table, terminal
from fem.wording.text_table import TextTable


def print_materials() -> None:
    """Print each material with its constants, how far they reach and where they come from."""
    console, library = terminal(), materials()
    rows = [
        [material.name, constants(material), _reach(material), _source(material)]
        for material in library.values()
    ]
    titles = ["material", "law, constants", "strained", "source"]
    print_table(console, TextTable("", titles, rows, text_columns=range(4)))
    name = next(iter(library))
    console.print(f'In a case:\n\n[rubber]\nmaterial = "{name}"\n', soft_wrap=True)
    console.print(
        "Batches scatter by tens of per cent: measure your own where it matters, and write law and "
        "constants in place of the name."
    )


def constants(material: Material) -> str:
    """Return law and constants with their units, a line each."""
    data = material.rubber
    said = [f"{key} = {data[key]}" for key in data if key not in (*COMMON, "terms")]
    said += [f"{term['modulus']}, exponent {term['exponent']:g}" for term in data.get("terms", ())]
    return "\n".join([data["law"], *said])


def _reach(material: Material) -> str:
    """Return how the rubber was strained, and how far its constants reach."""
    trusted = material.rubber.get("trusted_stretch")
    return material.strain_range + (f"; trusted to a stretch of {trusted:g}" if trusted else "")


def _source(material: Material) -> str:
    """Return where the constants stand and how that was read."""
    parts = [material.source]
    if material.doi:
        parts.append(f"doi {material.doi}")
    parts.append(f"read {material.read}" if material.read == "at the source" else material.read)
    if material.own_fit:
        parts.append("constants fitted here")
    return ". ".join(["; ".join(parts), *filter(None, [material.note])])
