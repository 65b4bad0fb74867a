"""What is wrong with a file, all of it at once, each fault with its lines."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from fem.core.errors import InputError

NAMED = 4
"""Of more lines with the same fault only the first are named."""


@dataclass
class Problems:
    """What is wrong with a file: sentences, and the lines that each stands for."""

    file: str
    lines: dict[str, list[int]] = field(default_factory=dict)

    def add(self, line: int, text: str) -> None:
        """Note a fault."""
        self.lines.setdefault(text, []).append(line)

    def told(self) -> Iterator[str]:
        """Yield a sentence to each fault, in the order of the lines."""
        for text, lines in sorted(self.lines.items(), key=lambda entry: entry[1][0]):
            few = ", ".join(map(str, lines[:NAMED]))
            more = f" and {len(lines) - NAMED} more" if len(lines) > NAMED else ""
            yield f"{self.file}: line{'s' if len(lines) > 1 else ''} {few}{more}: {text}"

    def stop(self) -> None:
        """Raise if there are any.

        Raises
        ------
        InputError
            With a line to each fault.
        """
        if self.lines:
            raise InputError("\n".join(self.told()))
