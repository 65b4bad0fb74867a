"""Tables on the terminal: divided where they are too wide, words broken, numbers never."""

import io

import pytest
from rich.console import Console

from fem.wording.terminal import parts, print_table
from fem.wording.text_table import TextTable

TITLES = ["pressure\nkPa", *(f"{name}\n{model}, mm" for name in "abc" for model in ("FE", "fast"))]
ROWS = [[f"{100 * row + column:.3f}" for column in range(7)] for row in range(3)]
STEPS = TextTable("Steps", TITLES, ROWS, text_columns=(), head_columns=1)


def printed(table, width):
    """Return what a terminal of a width shows, line by line."""
    console = Console(file=io.StringIO(), width=width, highlight=False, markup=False)
    print_table(console, table)
    return [line.rstrip() for line in console.file.getvalue().splitlines()]


@pytest.mark.parametrize(("width", "count"), [(100, 1), (50, 2), (31, 3), (5, 3)])
def test_a_table_is_divided_between_columns_that_belong_together(width, count):
    found = list(parts(STEPS, width))
    assert len(found) == count
    heads = [[str(column.header) for column in part.columns] for part in found]
    assert [head[0] for head in heads] == ["pressure\nkPa"] * count, "keys stand in each part"
    assert [title for head in heads for title in head[1:]] == TITLES[1:]
    assert all(len(head) % 2 for head in heads), "models of one quantity stay together"


def test_no_line_is_wider_than_the_terminal_and_no_number_is_broken():
    lines = printed(STEPS, 50)
    assert lines[0] == "Steps"
    assert all(len(line) <= 50 for line in lines)
    shown = [cell for line in lines for cell in line.split()]
    assert all(cell in shown for row in ROWS for cell in row)


def test_words_are_broken_and_titles_of_one_line_with_their_narrow_cells():
    table = TextTable("", ["rule", "greatest error"], [["word " * 30, "1.5"]])
    lines = printed(table, 60)
    assert all(len(line) <= 60 for line in lines)
    assert [line.split()[-1] for line in lines[:2]] == ["greatest", "error"]
    assert " ".join(lines).split().count("word") == 30
