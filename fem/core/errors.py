"""Messages for invalid input: file, key, value, what is allowed."""

from __future__ import annotations

from types import NoneType
from typing import Any, get_args, get_origin

from pydantic import BaseModel, ValidationError


class InputError(ValueError):
    """Invalid input; the text states what is wrong and what is allowed.

    Examples
    --------
    >>> try:
    ...     solve(case, "slow")
    ... except InputError as error:
    ...     print(error)
    models ['slow']: unknown; allowed: fe, fast
    """


def describe(error: ValidationError, origin: str, model: type[BaseModel]) -> str:
    """Return a line for each error in the file `origin`, whose content is `model`."""
    return "\n".join(f"{origin}: {_line(fault, model)}" for fault in error.errors())


def _line(fault: Any, model: type[BaseModel]) -> str:
    *above, _ = loc = fault["loc"] or ("",)
    key, _ = _find(model, loc)
    match fault["type"]:
        case "extra_forbidden":
            _, table = _find(model, above)
            return f"{key}: unknown key; allowed here: {', '.join(_types(table))}"
        case "missing":
            return f"{key}: this key is missing"
        case "union_tag_not_found":
            laws = (_law(one) for one in get_args(_find(model, loc)[1]))
            allowed = ", ".join(f"'{law}'" for law in laws)
            return f"{key}.law: this key is missing; allowed: {allowed}"
        case "union_tag_invalid":
            given = fault["ctx"]["tag"]
            return f"{key}.law = {_value(given)}: unknown; allowed: {fault['ctx']['expected_tags']}"
        case "invalid":
            return _invalid(key, fault)
        case "tuple_type":
            if not _is_model(get_args(_find(model, loc)[1])[0]):
                return f"{key} = {_value(fault['input'])}: write a list in brackets"
            return f"{key}: write each entry as a table [[{key}]]"
        case "model_type" | "model_attributes_type" | "dict_type":
            return f"{key} = {_value(fault['input'])}: write one table [{key}]"
        case "string_pattern_mismatch":
            allowed = "a letter, then at most 31 letters, digits, _ and -"
            return f"{key} = {_value(fault['input'])}: allowed: {allowed}"
        case _:
            reason = fault["msg"].removeprefix("Value error, ")
            reason = reason.replace("Input should be", "it must be")
            return f"{key} = {_value(fault['input'])}: {reason[0].lower()}{reason[1:]}"


def _invalid(key: str, fault: Any) -> str:
    """Return the line of an error made by :func:`fem.core.schema_base.invalid`."""
    own_key, reason = fault["ctx"]["key"], fault["ctx"]["reason"]
    if not own_key:
        return str(reason)
    key = f"{key}.{own_key}" if key else own_key
    given = fault["input"].get(own_key) if isinstance(fault["input"], dict) else None
    return f"{key}: {reason}" if given is None else f"{key} = {_value(given)}: {reason}"


def _find(model: Any, loc: Any) -> tuple[str, Any]:
    """Return the key as a user writes it, ``threads[2].angle``, and its type.

    List entries are numbered from 1. Where the type is a union discriminated by the law, pydantic
    adds the law to `loc`; it is not part of the key.
    """
    key, here = "", model
    for part in loc:
        if isinstance(part, int):
            key, here = f"{key}[{part + 1}]", get_args(here)[0]
        elif _is_model(here):
            key = f"{key}.{part}" if key else part
            here = _types(here).get(part)
        elif get_origin(here) is dict:
            key, here = f"{key}.{part}", get_args(here)[1]
        else:
            here = next(law for law in get_args(here) if _law(law) == part)
    return key, here


def _is_model(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, BaseModel)


def _types(table: type[BaseModel]) -> dict[str, Any]:
    """Return the keys of a table as written in a file, and the type of each."""
    fields = table.model_fields.items()
    return {field.alias or name: _plain(field.annotation) for name, field in fields}


def _plain(annotation: Any) -> Any:
    """Return the type of an optional key without None."""
    types = [part for part in get_args(annotation) if part is not NoneType]
    return types[0] if NoneType in get_args(annotation) and len(types) == 1 else annotation


def _law(table: type[BaseModel]) -> Any:
    return table.model_fields["law"].default


def _value(value: object) -> str:
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."
