"""HTML to PDF with WeasyPrint, PDF/A-3a and PDF/UA-1 in one file; the report with its logs attached."""

import contextlib
import gc
import hashlib
import io
import os
import platform
import re
import shutil
import sys
import tempfile
import warnings
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchwater.drawing.text import FACES, FAMILY
from benchwater.files import BeingWrittenError, only_writer, open_regular_file
from benchwater.read.outcome import Source
from benchwater.words import shorten, visible

if TYPE_CHECKING:
    from types import ModuleType

NUMBERS_NAME = "season-report.json"
MOST_BYTES = 8_000_000
MOST_LOGS = 1_000
_FORBIDDEN_IN_NAMES = re.compile(r'[\x00-\x1f/\\:*?"<>|]+')
_LONGEST_NAME = 120
_TYPEFACE = {f"benchwater-font:{face.path.name}": face for face in FACES}
_INSTALL_COMMANDS: Mapping[str, str] = {
    "debian": "apt-get install libpangoft2-1.0-0 libharfbuzz-subset0",
    "fedora": "dnf install pango",
    "rhel": "dnf install pango",
    "arch": "pacman -S pango",
    "alpine": "apk add pango",
    "darwin": "brew install pango",
    "win32": "pacman -S mingw-w64-x86_64-pango",
}
_ANY_SYSTEM = "Install Pango 1.44 or later with this system's package manager, then run again."
_METADATA_END = b"</rdf:RDF>"
# PDF/A allows a foreign property only if the metadata describe its schema (ISO 19005-3, 6.6.2.3).
_UA_IDENTIFICATION = b"""\
<rdf:Description rdf:about="" xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/" pdfuaid:part="1"/>
<rdf:Description rdf:about="" xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/" \
xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#" xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#">
<pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource">
<pdfaSchema:schema>PDF/UA identification</pdfaSchema:schema>
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>
<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>
<pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">
<pdfaProperty:name>part</pdfaProperty:name>
<pdfaProperty:valueType>Integer</pdfaProperty:valueType>
<pdfaProperty:category>internal</pdfaProperty:category>
<pdfaProperty:description>Part of ISO 14289 that the file follows</pdfaProperty:description>
</rdf:li></rdf:Seq></pdfaSchema:property>
</rdf:li></rdf:Bag></pdfaExtension:schemas>
</rdf:Description>
"""
_MOST_SPACES = 9
_TEMPORARY = "benchwater-printing-"


class PrintingUnavailable(RuntimeError):  # noqa: N818 - a state of this machine, not a mistake
    """This machine cannot make a PDF; the message says what to install."""


def to_pdf(
    html: str,
    *,
    attachments: Sequence[Mapping[str, Any]] = (),
    forms: bool = False,
    finisher: Callable[[Any, Any], None] | None = None,
) -> bytes:
    """Return the PDF of an HTML page that carries all its images itself.

    Title, language and dates come from the HTML. `attachments` are arguments of WeasyPrint's `Attachment`.
    `finisher` changes the PDF's objects before `finish` does. WeasyPrint logs its warnings
    under `weasyprint`. Raises PrintingUnavailable without the native libraries.

    The streams that it adds last, after `compress`, may end in a carriage return as well, once in a hundred
    reports: the page is then printed again with a space more in its information.
    """
    with _temporary_folder():
        for spaces in range(_MOST_SPACES):
            pdf = _printed(html, attachments, forms, finisher, spaces)
            if b"\r\nendstream" not in pdf:
                break
    return pdf


@contextlib.contextmanager
def _temporary_folder() -> Iterator[None]:
    """Give WeasyPrint's files a locked folder, and remove it and those that killed runs have left."""
    with tempfile.TemporaryDirectory(prefix=_TEMPORARY) as own, only_writer(Path(own)):
        owner = os.stat(own).st_uid
        for left in Path(own).parent.glob(f"{_TEMPORARY}*"):
            with contextlib.suppress(OSError, BeingWrittenError):
                if left.lstat().st_uid == owner and any(left.iterdir()):
                    with only_writer(left):
                        shutil.rmtree(left)
        before, tempfile.tempdir = tempfile.tempdir, own
        try:
            yield
        finally:
            tempfile.tempdir = before


def _printed(
    html: str,
    attachments: Sequence[Mapping[str, Any]],
    forms: bool,
    finisher: Callable[[Any, Any], None] | None,
    spaces: int,
) -> bytes:
    printer = weasyprint()
    import pydyf
    from weasyprint.text.fonts import FontConfiguration

    def finish_both(document: Any, pdf: Any) -> None:
        if finisher is not None:
            finisher(document, pdf)
        finish(document, pdf)
        if spaces:
            pdf.info["Spaces"] = pydyf.String(" " * spaces)

    fonts = FontConfiguration()
    with _no_garbage_collection(), warnings.catch_warnings():
        # WeasyPrint leaves the colour profile of PDF/A open.
        profile = "unclosed file .*sRGB2014[.]icc"
        warnings.filterwarnings("ignore", message=profile, category=ResourceWarning)
        pdf: bytes = printer.HTML(string=html, url_fetcher=own_fetcher()).write_pdf(
            stylesheets=[typeface(fonts)],
            font_config=fonts,
            attachments=[printer.Attachment(**each, url_fetcher=own_fetcher()) for each in attachments],
            pdf_variant="pdf/a-3a",
            pdf_forms=forms,
            finisher=finish_both,
        )
    return pdf


@contextlib.contextmanager
def _no_garbage_collection() -> Iterator[None]:
    """Pause the collector while WeasyPrint lays out: it takes a fifth of a whole report."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def weasyprint() -> "ModuleType":
    """Import WeasyPrint without its help text on standard output.

    Raises PrintingUnavailable where a native library is missing.
    """
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            import weasyprint
    except OSError as error:
        raise PrintingUnavailable(f"{install_hint()}\n({error})") from error
    module: ModuleType = weasyprint
    return module


def install_hint() -> str:
    """Return the command that installs Pango on this system. Only Debian's has been tried."""
    command = next((_INSTALL_COMMANDS[name] for name in _system_names() if name in _INSTALL_COMMANDS), None)
    if command is None:
        return f"Printing needs Pango's native libraries. {_ANY_SYSTEM}"
    where = " in the shell of MSYS2" if sys.platform == "win32" else ""
    return f"Printing needs Pango's native libraries. Install them{where}, then run again:\n  {command}"


def _system_names() -> list[str]:
    """Return the names of this system, its own before its family's: `ubuntu`, `debian`."""
    if sys.platform != "linux":
        return [sys.platform]
    try:
        release = platform.freedesktop_os_release()
    except OSError:
        return []
    return [release.get("ID", ""), *release.get("ID_LIKE", "").split()]


def own_fetcher() -> Any:
    """Return a URL fetcher that serves data URIs and the report's typeface, and refuses all else."""
    from weasyprint.urls import URLFetcher, URLFetcherResponse

    class OwnFetcher(URLFetcher):  # type: ignore[misc]
        def fetch(self, url: str, headers: Any = None) -> Any:
            if url in _TYPEFACE:
                return URLFetcherResponse(url, _TYPEFACE[url].path.read_bytes())
            return super().fetch(url, headers)

    return OwnFetcher(allowed_protocols={"data"}, allow_redirects=False)


def typeface(fonts: Any) -> Any:
    """Return the style sheet that adds the report's typeface to WeasyPrint's `fonts`."""
    rules = "\n".join(
        f'@font-face {{ font-family: "{FAMILY}"; font-weight: {face.weight}; font-style: {face.style}; '
        f'src: url("{url}") }}'
        for url, face in _TYPEFACE.items()
    )
    return weasyprint().CSS(string=rules, font_config=fonts, url_fetcher=own_fetcher())


def finish(_document: Any, pdf: Any) -> None:
    """Make a PDF/A-3a of WeasyPrint, which writes one standard at a time, a PDF/UA-1 as well."""
    identify_as_ua(pdf)
    compress(pdf)


def identify_as_ua(pdf: Any) -> None:
    """Add the identification of PDF/UA-1 to the metadata, and leave them uncompressed as PDF/A asks.

    Raises ValueError where the metadata hold no `rdf:RDF`.
    """
    metadata = pdf.objects[int(pdf.catalog["Metadata"].split()[0])]
    content = b"".join(part if isinstance(part, bytes) else str(part).encode() for part in metadata.stream)
    if _METADATA_END not in content:
        raise ValueError("the metadata of the PDF hold no rdf:RDF")
    metadata.stream = [content.replace(_METADATA_END, _UA_IDENTIFICATION + _METADATA_END, 1)]
    metadata.compress = False


def compress(pdf: Any) -> None:
    """Compress each stream, and once more where its compressed bytes end in a carriage return.

    A validator may take that byte and the line feed before `endstream` for one line end, and find the
    stream a byte too short.
    """
    for each in pdf.objects:
        if getattr(each, "compress", False):
            packed = each.data.partition(b"\nstream\n")[2].removesuffix(b"\nendstream")
            filters = "/FlateDecode"
            while packed.endswith(b"\r"):
                packed, filters = zlib.compress(packed), f"{filters} /FlateDecode"
            each.stream, each.compress = [packed], False
            each.extra["Filter"] = f"[{filters}]"


@dataclass(frozen=True, slots=True, kw_only=True)
class AttachedLog:
    """A log file as it was read: its path in the workspace, the name it has in the PDF, and its bytes."""

    file: str
    name: str
    data: bytes
    sha256: str


def print_report(html: str, numbers: str, day: date, logs: Sequence[AttachedLog] = ()) -> bytes:
    """Return the PDF of `render_paper(report)`, dated `day`; `render_json(report)` and the logs are attached.

    Raises PrintingUnavailable where native libraries are missing.
    """
    made = datetime(day.year, day.month, day.day)

    def attachment(data: str | bytes, name: str, description: str, relationship: str) -> Mapping[str, Any]:
        return {
            "string": data,
            "name": name,
            "description": description,
            "created": made,
            "modified": made,
            "relationship": relationship,
        }

    attachments = [
        attachment(numbers, NUMBERS_NAME, "The numbers of this report, for other programs", "Data")
    ]
    for log in logs:
        description = f"{visible(log.file)}, a log this report was made from (SHA-256 {log.sha256})"
        attachments.append(attachment(log.data, log.name, description, "Source"))
    return to_pdf(html, attachments=attachments)


def read_logs(
    workspace: Path, sources: Sequence[Source], most_bytes: int = MOST_BYTES
) -> tuple[AttachedLog, ...]:
    """Return the source files that are unchanged since they were read, `most_bytes` together at most.

    Files that changed, are gone or do not fit are left out; the report names those that are in. Of more than
    MOST_LOGS files none is.
    """
    of_files = {source.of_file: source for source in sources}
    if len(of_files) > MOST_LOGS:
        return ()
    attached: list[AttachedLog] = []
    left = most_bytes
    names: set[str] = {NUMBERS_NAME}
    for source in of_files.values():
        data = _read(workspace / source.of_file, left)
        if data is None or hashlib.sha256(data).hexdigest() != source.sha256:
            continue
        left -= len(data)
        name = _free_name(source.of_file, names)
        names.add(name.casefold())
        attached.append(AttachedLog(file=source.of_file, name=name, data=data, sha256=source.sha256))
    return tuple(attached)


def _read(path: Path, most: int) -> bytes | None:
    try:
        with open(open_regular_file(path, follow_links=True), "rb") as stream:
            data = stream.read(most + 1)
    except (OSError, ValueError):
        return None
    return data if len(data) <= most else None


def _free_name(file: str, taken: set[str]) -> str:
    """Return the path as one name that no attachment has yet: `pours/may.csv` is `pours_may.csv`."""
    stem, dot, ending = _FORBIDDEN_IN_NAMES.sub("_", visible(file)).rpartition(".")
    stem, ending = (stem, dot + ending) if stem else (ending, "")
    short = shorten(stem, _LONGEST_NAME)
    name, number = short + ending, 1
    while name.casefold() in taken:
        number += 1
        name = f"{short}-{number}{ending}"
    return name
