"""Tables on the terminal: wide ones are divided, text is wrapped, numbers are not."""

import io

import pytest
from rich.console import Console

from fem.wording.terminal import parts, print_table
from fem.wording.text_table import TextTable

TITLES = ["pressure\nkPa", *(f"{name}\n{model}, mm" for name in "abc" for model in ("FE", "fast"))]
ROWS = [[f"{100 * row + column:.3f}" for column in range(7)] for row in range(3)]
STEPS = TextTable("Steps", TITLES, ROWS, text_columns=(), head_columns=1)


def printed(table, width):
    """Return the lines that a terminal of a width shows."""
    console = Console(file=io.StringIO(), width=width, highlight=False, markup=False)
    print_table(console, table)
    return [line.rstrip() for line in console.file.getvalue().splitlines()]


@pytest.mark.parametrize(("width", "count"), [(100, 1), (50, 2), (31, 3), (5, 3)])
def test_a_table_is_divided_between_groups_of_columns(width, count):
    found = list(parts(STEPS, width))
    assert len(found) == count
    heads = [[str(column.header) for column in part.columns] for part in found]
    assert [head[0] for head in heads] == [
        "pressure\nkPa"
    ] * count  # the head column is in each part
    assert [title for head in heads for title in head[1:]] == TITLES[1:]
    assert all(len(head) % 2 for head in heads)  # the models of a quantity stay together


def test_no_line_is_wider_than_the_terminal_and_no_number_is_broken():
    lines = printed(STEPS, 50)
    assert lines[0] == "Steps"
    assert all(len(line) <= 50 for line in lines)
    shown = [cell for line in lines for cell in line.split()]
    assert all(cell in shown for row in ROWS for cell in row)


def test_text_is_wrapped_and_one_line_titles_fit_their_cells():
    table = TextTable("", ["rule", "greatest error"], [["word " * 30, "1.5"]])
    lines = printed(table, 60)
    assert all(len(line) <= 60 for line in lines)
    assert [line.split()[-1] for line in lines[:2]] == ["greatest", "error"]
    assert " ".join(lines).split().count("word") == 30


def test_a_table_with_text_is_divided_before_a_number_is_cut():
    numbers = ["1.2345", "2.3456", "3.4567"]
    table = TextTable("", ["rule", *("abc")], [["word " * 10, *numbers]])
    assert len(list(parts(table, 40))) == 1  # 16 for the text, three times a gap of 2 and 6
    lines = printed(table, 39)
    assert len(list(parts(table, 39))) == 2
    assert all(len(line) <= 39 for line in lines)
    assert [cell for line in lines for cell in line.split() if cell in numbers] == numbers
    assert " ".join(lines).split().count("word") == 20  # the text is in each part
