"""The files of `client/`: the page, its styles and its scripts (plain ES modules)."""

from __future__ import annotations

import re
from pathlib import Path

CLIENT = Path(__file__).parent / "client"

_IMPORT = re.compile(r'^import [^;]* from "\./(\w+\.js)";\n', re.MULTILINE)


def asset(name: str) -> Path:
    """Return the file of a name.

    Raises
    ------
    KeyError
        If there is none.
    """
    path = CLIENT / name
    if path.name != name or not path.is_file():
        raise KeyError(name)
    return path


def modules(name: str) -> list[str]:
    """Return the names of a script and of all its imports, each after its own imports."""
    imports = _IMPORT.findall(asset(name).read_text(encoding="utf-8"))
    return [*dict.fromkeys([*(one for other in imports for one in modules(other)), name])]


def bundle(name: str) -> str:
    """Return a script and all its imports as one module, in which names must be unique."""
    texts = (asset(module).read_text(encoding="utf-8") for module in modules(name))
    return "\n".join(re.sub("^export ", "", _IMPORT.sub("", text), flags=re.M) for text in texts)
