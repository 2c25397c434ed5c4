import codecs

import pytest

from benchwater.read.decode import decode
from benchwater.read.reasons import FileError

TEXT = "date,note\n2026-05-01,café 350°F ½\n"


@pytest.mark.parametrize(
    "data",
    [
        TEXT.encode("utf-8"),
        codecs.BOM_UTF8 + TEXT.encode("utf-8"),
        codecs.BOM_UTF16_LE + TEXT.encode("utf-16-le"),
        codecs.BOM_UTF16_BE + TEXT.encode("utf-16-be"),
        TEXT.encode("utf-16-le"),
        TEXT.encode("utf-16-be"),
        TEXT.encode("cp1252"),
    ],
)
def test_a_text_is_the_same_in_every_encoding(data):
    assert decode(data).text == TEXT


@pytest.mark.parametrize(
    "data", [b"PK\x03\x04\x00\x00\x00\x00zip", b"\x81\x8d\x8f", codecs.BOM_UTF8 + b"\xff"]
)
def test_what_is_no_text_is_refused(data):
    with pytest.raises(FileError):
        decode(data)
