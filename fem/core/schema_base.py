"""What the tables of a case file have in common, and how they name what does not fit together."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict
from pydantic_core import PydanticCustomError


class Part(BaseModel):
    """A frozen group of keys that takes no unknown one."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def misfit(reason: str, key: str = "") -> PydanticCustomError:
    """Return the error that says why keys, each fine by itself, do not fit together.

    Parameters
    ----------
    reason
        What is wrong and what is allowed.
    key
        The key to mend, seen from the table whose validator raises; the message then opens with
        it and its value. Without it, `reason` is the whole message and names the keys.
    """
    return PydanticCustomError("misfit", "{reason}", {"reason": reason, "key": key})


def one_of(part: BaseModel, *keys: str) -> None:
    """Raise unless just one of `keys`, whose default is None, is given."""
    given = [key for key in keys if getattr(part, key) is not None]
    if not given:
        raise misfit(f"this key is missing, or else {_either(keys[1:])}", keys[0])
    if len(given) > 1:
        raise misfit(f"{given[0]} is given too; give either {_either(keys)}", given[1])


def _either(keys: tuple[str, ...]) -> str:
    return " or ".join(keys)
