"""What the JSON schema of a case file says beyond what pydantic derives from the types."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict


def schema_of_one(*keys: str) -> ConfigDict:
    """Return the configuration of a table in which just one of `keys` is given."""
    return ConfigDict(json_schema_extra={"oneOf": [{"required": [key]} for key in keys]})


def schema_of_file(model: type[BaseModel]) -> dict[str, Any]:
    """Return the JSON schema of a file that is read as `model`."""
    schema = without_null(model.model_json_schema(mode="validation"))
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def without_null(schema: Any) -> Any:
    """Return a JSON schema without what is null, since TOML cannot write it."""
    if isinstance(schema, list):
        return [without_null(part) for part in schema if part != {"type": "null"}]
    if not isinstance(schema, dict):
        return schema
    kept = {key: without_null(part) for key, part in schema.items() if part is not None}
    if len(kept.get("anyOf", [])) == 1:
        kept = {**kept.pop("anyOf")[0], **kept}
    return kept
