"""The log page: one HTML file that writes logs by tapping, and never sends a request."""

import base64
import hashlib
import json
from dataclasses import asdict
from pathlib import Path

from markupsafe import Markup

from benchwater.render.html import environment
from benchwater.sheets.screens import LogPage

FILE_NAME = "log-page.html"
_TEMPLATES = Path(__file__).parent / "templates"


def render_log_page(page: LogPage) -> str:
    """Return the log page as one HTML document, the same text for the same bench.

    Its Content-Security-Policy allows its own style and script, by their hashes, and nothing else.
    """
    style, script = (
        f"\n{(_TEMPLATES / name).read_text(encoding='utf-8')}" for name in ("log_page.css", "log_page.js")
    )
    facts = json.dumps(asdict(page), ensure_ascii=False).replace("<", "\\u003c")
    return (
        environment()
        .get_template("log_page.html.j2")
        .render(
            page=page,
            facts=Markup(facts),
            style=Markup(style),
            script=Markup(script),
            style_hash=Markup(_hash(style)),
            script_hash=Markup(_hash(script)),
        )
    )


def _hash(text: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}"
