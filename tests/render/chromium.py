"""Real headless Chromium, as its user has it: pictures of a page, and what axe-core finds on it."""

import json
import os
import re
import shutil
import subprocess
from html import unescape
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
_POLICY = re.compile('<meta http-equiv="Content-Security-Policy"[^>]*>')
_REPORTED = re.compile('<pre id="axe-found">(.*?)</pre>', re.DOTALL)
_FRAME = """<!DOCTYPE html><html style="color-scheme: light dark"><body style="margin: 0">
<pre id="axe-found"></pre><script>addEventListener("message", told => {{
document.getElementById("axe-found").textContent = told.data; }});</script>
<iframe src="page.html" style="border: 0; width: {width}px; height: 800px"></iframe></body></html>
"""  # a window is never narrower than 500 px, a frame is
_RUN = """
axe.run(document, {resultTypes: ["violations", "incomplete"]}).then(found => {
  parent.postMessage(JSON.stringify(found.violations.map(each => ({
    id: each.id, impact: each.impact, help: each.help, nodes: each.nodes.map(node => node.html.slice(0, 200))
  })).concat([{id: "passes", impact: null, nodes: [String(found.passes.length)]}])), "*");
});
"""


def chromium() -> str:
    """The browser's program; the test is skipped where there is none."""
    for name in ("chromium", "chromium-browser", "google-chrome"):
        if found := shutil.which(name):
            return found
    pytest.skip("needs Chromium (Debian: apt-get install chromium)")


def axe_core() -> str:
    """The text of axe.min.js; the test is skipped where it is not installed."""
    told = os.environ.get("AXE_CORE", "")
    places = [Path(told)] if told else []
    places += [ROOT / "node_modules/axe-core/axe.min.js", Path("/usr/lib/node_modules/axe-core/axe.min.js")]
    for place in places:
        if place.is_file():
            return place.read_text(encoding="utf-8")
    pytest.skip("needs axe-core: npm install axe-core, and AXE_CORE=.../axe-core/axe.min.js")


def run(page: Path, width: int, height: int, dark: bool, *arguments: str) -> str:
    """Chromium on a page of that width, in light or dark; what it prints."""
    command = [
        chromium(),
        *("--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--disable-dev-shm-usage"),
        f"--blink-settings=preferredColorScheme={0 if dark else 1}",
        f"--window-size={width},{height}",
        f"--user-data-dir={page.parent / 'profile'}",
        *arguments,
        page.as_uri(),
    ]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=True).stdout


def measured(html: str, folder: Path, width: int, script: str) -> Any:
    """What a script says of a page: its last expression, as JSON."""
    told = f"<script>parent.postMessage(JSON.stringify((() => {{ {script} }})()), '*');</script></body>"
    return _reported(html.replace("</body>", told), folder, width, dark=False)


def axe_findings(html: str, folder: Path, width: int, *, dark: bool) -> list[dict[str, Any]]:
    """The violations that axe-core finds, each with its impact."""
    script = f"<script>{axe_core().replace(chr(60) + '/script', chr(60) + chr(92) + '/script')}</script>"
    page = html.replace("</body>", f"{script}<script>{_RUN}</script></body>")
    found = _reported(page, folder, width, dark)
    assert any(each["id"] == "passes" and int(each["nodes"][0]) > 10 for each in found), "axe did not run"
    return [each for each in found if each["id"] != "passes"]


def _reported(html: str, folder: Path, width: int, dark: bool) -> Any:
    page, frame = folder / "page.html", folder / "frame.html"
    page.write_text(_POLICY.sub("", html), encoding="utf-8")
    frame.write_text(_FRAME.format(width=width), encoding="utf-8")
    dump = run(frame, width + 40, 900, dark, "--virtual-time-budget=60000", "--dump-dom")
    told = _REPORTED.search(dump)
    assert told is not None, dump[-500:]
    assert told[1], "the page told nothing"
    return json.loads(unescape(told[1]))
