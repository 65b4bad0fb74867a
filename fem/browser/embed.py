"""An interactive scene embedded in a page, with its scripts and data.

Scripts and data are compressed with gzip and written as base64; the browser decompresses them
(`DecompressionStream`). There are no requests to a server, so the page can be opened as a file.
"""

from __future__ import annotations

import base64
import gzip

from fem.browser.assets import asset, bundle


def scene_block(packed: bytes) -> str:
    """Return the HTML of a scene: a pack (fem.browser.pack) with its scripts and styles.

    Several scenes in one page use the scripts of the first.
    """
    return f'{viewer_scripts()}<div class="tw-scene" data-pack="{_packed(packed)}"></div>\n'


def viewer_scripts() -> str:
    """Return the scripts and styles that scenes need, as HTML."""
    style, loader = (
        asset(name).read_text(encoding="utf-8") for name in ("viewer.css", "loader.js")
    )
    code = _packed(bundle("embedded.js").encode())
    return (
        f"<style>{style}</style>\n"
        f'<script type="text/plain" class="tw-code">{code}</script>\n'
        f'<script type="module">{loader}</script>\n'
    )


def _packed(data: bytes) -> str:
    """Return bytes, compressed with gzip, as base64; equal bytes give equal text."""
    return base64.b64encode(gzip.compress(data, mtime=0)).decode("ascii")
