"""The description on a package index: the README without what only a clone can show.

An index keeps no pictures beside a description, and a link into the repository leads nowhere there. Nor can a picture
go inside it: an index's renderer (readme_renderer 46, tried) takes the address from an image whose address is `data:`,
and drops an inline svg; it keeps what a host serves by https. Where `README_FILES` names the address of the
repository's files while the package is built (`README_FILES=https://... python -m build`), pictures and links lead
there. Without it a picture stands as what it shows, and such a link as its text.
"""

import os
import re
from pathlib import Path
from typing import Any

from hatchling.metadata.plugin.interface import MetadataHookInterface

_PICTURE = re.compile(r"!\[([^\]]*)\]\((?![a-z]+:)([^)]*)\)")
_LINK = re.compile(r"\[([^\]]*)\]\((?![a-z]+:|#)([^)]*)\)")


class LongDescription(MetadataHookInterface):
    """Sets the field `readme`, which pyproject.toml calls dynamic."""

    def update(self, metadata: dict[str, Any]) -> None:
        """Put the text in its place."""
        text = Path(self.root, "README.md").read_text(encoding="utf-8")
        metadata["readme"] = {
            "content-type": "text/markdown",
            "text": for_an_index(text, os.environ.get("README_FILES", "")),
        }


def for_an_index(text: str, files: str = "") -> str:
    """Markdown whose pictures and links into the repository lead to its `files` at an address, or are words."""
    if files:
        text = _PICTURE.sub(rf"![\1]({files.rstrip('/')}/\2)", text)
        return _LINK.sub(rf"[\1]({files.rstrip('/')}/\2)", text)
    return _LINK.sub(r"\1", _PICTURE.sub(r"*In the repository's README: \1.*", text))
