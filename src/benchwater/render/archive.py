"""PDF/A-3a and PDF/UA-1 in one file: a report that can be read aloud, and in thirty years.

WeasyPrint makes one of the two at a time. It is told to make PDF/A-3a, tagged and with its attachments, and
what PDF/UA-1 asks for beyond that, its own mark in the metadata, is added before the file is written.
"""

import contextlib
import zlib
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator

VARIANT = "pdf/a-3a"
_LEVEL = 6
_HARD_SPACE = b" <00a0>"
_END = b"</rdf:RDF>"
_LAST = b"\nendstream"
# PDF/A allows a property not its own only where its schema is described with it (ISO 19005-3, 6.6.2.3).
_MARK = b"""\
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


def finish(_document: Any, pdf: Any) -> None:
    """The finisher for `write_pdf`: mark the file, mend its text, and set it down to be written."""
    mark_both(pdf)
    tell_spaces(pdf)
    set_down(pdf)


def mark_both(pdf: Any) -> None:
    """Add the mark of PDF/UA-1 to the metadata, and leave these uncompressed.

    ValueError where the metadata are not laid out as those of the WeasyPrint this was written for.
    """
    metadata = pdf.objects[int(pdf.catalog["Metadata"].split()[0])]
    content = b"".join(part if isinstance(part, bytes) else str(part).encode() for part in metadata.stream)
    if _END not in content:
        raise ValueError("the metadata of the PDF hold no rdf:RDF")
    metadata.stream = [content.replace(_END, _MARK + _END, 1)]
    metadata.compress = False


def tell_spaces(pdf: Any) -> None:
    """Let a space at which no line may end be any space to who searches or copies the text."""
    for each in pdf.objects:
        lines = getattr(each, "stream", ())
        if b"begincmap" in lines:
            each.stream = [
                line[: -len(_HARD_SPACE)] + b" <0020>" if bytes(line).endswith(_HARD_SPACE) else line
                for line in lines
            ]


def set_down(pdf: Any) -> None:
    """Take every object as the bytes it is written as.

    PDF/A asks for a digest of all objects, for which pydyf would make and compress each of them once more.
    And it holds a stream's length to what stands before the end of the line in front of `endstream`: behind a
    stream whose last byte happens to be a carriage return, that end has to be one of two bytes.
    """
    import pydyf

    class Ended(pydyf.Stream):  # type: ignore[misc]
        @property
        def data(self) -> Any:
            return _ended(super().data)

    class SetDown(pydyf.Object):  # type: ignore[misc]
        def __init__(self, made: Any) -> None:
            super().__init__()
            self.number, self.generation = made.number, made.generation
            self._bytes, self._compressible = _ended(made.data), made.compressible

        @property
        def data(self) -> Any:
            return self._bytes

        @property
        def compressible(self) -> Any:
            return self._compressible

    def add_ended(made: Any) -> None:
        add(made)
        if type(made) is pydyf.Stream:
            made.__class__ = Ended

    pdf.objects[:] = [each if each.free == "f" else SetDown(each) for each in pdf.objects]
    # Two more streams are made while the file is written: the small objects, and where each of them is.
    add, pdf.add_object = pdf.add_object, add_ended


def _ended(data: bytes) -> bytes:
    """An object's bytes, with no carriage return of a stream's own that could be half of a line's end."""
    return data.removesuffix(_LAST) + b"\r" + _LAST if data.endswith(b"\r" + _LAST) else data


@contextlib.contextmanager
def packed_fast() -> "Iterator[None]":
    """Let pydyf compress at zlib's usual level, not its highest: a fifth of the time, 3 % more bytes."""
    import pydyf

    pydyf.zlib = SimpleNamespace(compressobj=lambda level: zlib.compressobj(min(level, _LEVEL)))
    try:
        yield
    finally:
        pydyf.zlib = zlib
