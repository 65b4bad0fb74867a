"""Attach the record of a check to its report, also across the processes of pytest-xdist."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

import pytest

from validation.check import RECORD, Drawing, Quantity

QUANTITIES, DRAWINGS = "quantities", "drawings"
"""Names of the properties of a report."""


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Iterator[None]:
    RECORD.clear()
    try:
        result = yield
        if not any(isinstance(entry, Quantity) for entry in RECORD):
            raise AssertionError("no value was recorded")
        return result
    finally:
        for name, kind in ((QUANTITIES, Quantity), (DRAWINGS, Drawing)):
            listed = [_plain(asdict(entry)) for entry in RECORD if isinstance(entry, kind)]
            item.user_properties.append((name, listed))


def _plain(value: Any) -> Any:
    """Return values of Python's own types, which pytest-xdist can send between processes."""
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, str):
        return str(value)
    if isinstance(value, bool) or value is None:
        return value
    if isinstance(value, float | int) or not hasattr(value, "__iter__"):
        return float(value)
    return [_plain(inner) for inner in value]
