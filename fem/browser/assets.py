"""The page of the browser and the files it is made of: scripts and styles.

`client/` holds plain scripts without a framework or a build step.  Each adds to one object,
`tubewright`, so their order is the order in which one uses another.
"""

from __future__ import annotations

from pathlib import Path

VIEWER = (
    "dom.js",
    "unpack.js",
    "numbers.js",
    "controls.js",
    "look.js",
    "paint.js",
    "shape.js",
    "readouts.js",
    "keys.js",
    "chart.js",
    "curves.js",
    "path.js",
    "app.js",
)
"""What draws the exhibits of a pack, wherever it comes from."""

SERVED = ("server.js", "reach.js", "explorer.js", "explorer_view.js", "study.js", "page.js")
"""What speaks with the server."""

EMBEDDED = ("loader.js", "embedded.js")
"""What takes a scene out of the page that it stands in."""

STYLES = ("sheet.css", "page.css")


def asset(name: str) -> Path:
    """Return the file behind a name below `assets/`.

    Raises
    ------
    KeyError
        If the page has no such file.
    """
    if name not in (*VIEWER, *SERVED, *EMBEDDED, *STYLES, "icon.svg"):
        raise KeyError(name)
    return client(name)


def client(name: str) -> Path:
    """Return the place of one of our own files."""
    return Path(__file__).parent / "client" / name


def page_html() -> str:
    """Return the page; it asks for its files below `assets/`, for its data beside itself."""
    scripts = "\n".join(
        f'  <script src="assets/{name}" defer></script>' for name in (*VIEWER, *SERVED)
    )
    return client("page.html").read_text(encoding="utf-8").replace("{scripts}", scripts)
