"""The demo's PDF opens, has a section for every analysis that always has one, and its text can be read."""

import sys
from pathlib import Path

from pypdf import PdfReader
from pypdf.generic import Destination

from benchwater.plugin_host.load import load_plugins


def titles(outline: object) -> list[str]:
    """Every bookmark's title, whatever its depth."""
    if isinstance(outline, list):
        return [title for entry in outline for title in titles(entry)]
    assert isinstance(outline, Destination)
    return [str(outline.title)]


def main(path: Path) -> None:
    """Fail loudly where something is missing."""
    reader = PdfReader(path)
    bookmarks = titles(reader.outline)
    wanted = [each.title for each, _ in load_plugins(None).analyses if each.split is None]
    missing = [title for title in wanted if title not in bookmarks]
    assert wanted, "no analysis is loaded"
    assert not missing, f"sections missing from the PDF: {missing} (bookmarks: {bookmarks})"
    text = "\n".join(page.extract_text() for page in reader.pages)
    assert "Alder Flat bench" in text
    print(f"{path}: {len(reader.pages)} pages, {len(wanted)} sections")


main(Path(sys.argv[1]))
