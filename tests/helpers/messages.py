"""What a message must contain: the field, the value and what is allowed, in any words."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest


def assert_states(text: str, *facts: str) -> None:
    """Check that a text contains each fact, such as the name of a field or a value."""
    missing = [fact for fact in facts if fact not in text]
    assert not missing, f"{missing} not in:\n{text}"


@contextmanager
def refused(error: type[Exception], *facts: str) -> Iterator[pytest.ExceptionInfo[Exception]]:
    """Check that the block raises the error, and that its message contains each fact."""
    with pytest.raises(error) as caught:
        yield caught
    assert_states(str(caught.value), *facts)
