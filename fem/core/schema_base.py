"""Common parts of the tables of a file: base class, errors between keys, JSON schema."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field
from pydantic_core import PydanticCustomError

Number = Annotated[float, Field(allow_inf_nan=False, strict=True)]
"""The type of a plain number, written without quotes."""


class CheckedTable(BaseModel):
    """A table of a file: frozen; unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    def __repr_args__(self) -> Iterable[tuple[str | None, Any]]:
        """Yield the keys that are given or have a default, quantities with their units."""
        data = self.model_dump(mode="json", exclude_none=True)
        for name, value in super().__repr_args__():
            if name in data:
                yield name, data[name] if isinstance(data[name], str) else value


def invalid(reason: str, key: str = "") -> PydanticCustomError:
    """Return the error for keys that are valid each but not together.

    Parameters
    ----------
    reason
        What is wrong and what is allowed.
    key
        The key to change, relative to the table whose validator raises; the message then starts
        with it and its value. Without it, `reason` is the whole message and names the keys.
    """
    return PydanticCustomError("invalid", "{reason}", {"reason": reason, "key": key})


def one_of(part: BaseModel, *keys: str) -> None:
    """Raise unless exactly one of `keys`, whose default is None, is given."""
    given = [key for key in keys if getattr(part, key) is not None]
    if not given:
        raise invalid(f"this key is missing; give {' or '.join(keys)}", keys[0])
    if len(given) > 1:
        raise invalid(f"{given[0]} is given too; give only one of {', '.join(keys)}", given[1])


def schema_of_one(*keys: str) -> ConfigDict:
    """Return the configuration of a table in which exactly one of `keys` is given."""
    return ConfigDict(json_schema_extra={"oneOf": [{"required": [key]} for key in keys]})


def schema_of_file(model: type[BaseModel]) -> dict[str, Any]:
    """Return the JSON schema of a file whose content is `model`."""
    schema = _shortened(model.model_json_schema(mode="validation"))
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def _shortened(schema: Any) -> Any:
    """Return a JSON schema without null, which TOML does not have, and with short descriptions."""
    if isinstance(schema, list):
        return [_shortened(part) for part in schema if part != {"type": "null"}]
    if not isinstance(schema, dict):
        return schema
    kept = {key: _shortened(part) for key, part in schema.items() if part is not None}
    if isinstance(text := kept.get("description"), str):
        kept["description"] = text.split("\n\n")[0]
    if len(kept.get("anyOf", [])) == 1:
        kept = {**kept.pop("anyOf")[0], **kept}
    return kept
