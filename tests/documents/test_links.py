"""Links of the pages lead to files and headings that exist, and each page is in the index."""

import pytest

from tests.helpers.documents import PAGES, ROOT, anchors, links, name_of

OTHERS = [ROOT / "DEVELOPERS.md", ROOT / "CHANGELOG.md"]


@pytest.mark.parametrize("page", [*PAGES, *OTHERS], ids=name_of)
def test_targets_exist(page):
    for target in links(page):
        if target.startswith(("http://", "https://")):
            continue
        path, _, anchor = target.partition("#")
        file = page.parent / path if path else page
        assert file.exists(), target
        assert not anchor or anchor in anchors(file), target


def test_index_links_to_all_pages():
    index = ROOT / "docs" / "README.md"
    linked = {(index.parent / target.partition("#")[0]).resolve() for target in links(index)}
    assert {page for page in PAGES if page.parent == index.parent} - linked == {index}


def test_pictures_are_used():
    used = {(page.parent / target).resolve() for page in PAGES for target in links(page)}
    pictures = {*(ROOT / "docs" / "pictures").iterdir()}
    assert pictures <= used
