"""From a file's bytes to text: UTF-8 and UTF-16 with or without a mark, else Windows-1252."""

import codecs
from typing import NamedTuple

from benchwater.read.reasons import FileError


class Decoded(NamedTuple):
    """The text, and the name of the encoding it was in."""

    text: str
    encoding: str


_NO_TEXT = (
    (b"PK\x03\x04", "a spreadsheet, or something else that is packed"),
    (b"\xd0\xcf\x11\xe0", "a spreadsheet of an older kind"),
)
_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


def decode(data: bytes) -> Decoded:
    """The text of a log file. FileError where the bytes are no text at all."""
    for mark, what in _NO_TEXT:
        if data.startswith(mark):
            raise FileError(f"is {what}, whatever its name says: save the sheet as CSV")
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            try:
                return Decoded(data[len(mark) :].decode(encoding), encoding)
            except UnicodeDecodeError as error:
                raise FileError(f"is damaged: it begins as {encoding} text and does not go on so") from error
    if b"\0" in data:
        return _without_mark(data)
    try:
        return Decoded(data.decode("utf-8"), "utf-8")
    except UnicodeDecodeError:
        pass
    try:
        return Decoded(data.decode("cp1252"), "windows-1252")
    except UnicodeDecodeError as error:
        raise FileError("is not text in UTF-8, UTF-16 or Windows-1252") from error


def _without_mark(data: bytes) -> Decoded:
    sample = data[:4096]
    for encoding, zeros in (("utf-16-le", sample[1::2]), ("utf-16-be", sample[0::2])):
        if zeros and zeros.count(0) > 0.7 * len(zeros):
            try:
                return Decoded(data.decode(encoding), encoding)
            except UnicodeDecodeError:
                continue
    raise FileError("is not a text file")
