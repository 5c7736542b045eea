"""Bytes of a text file into text, in the encodings that benches and their programs write."""

from __future__ import annotations

from qc.ingest.errors import SheetError


def decode(data: bytes, name: str) -> str:
    """Decode a text file, or say why it cannot be done.

    Parameters
    ----------
    data : bytes
        UTF-8 with or without its mark, UTF-16 with or without, or what old Windows programs write.
    name : str
        The file's name, for messages.

    Returns
    -------
    str
        The text without its mark.

    Raises
    ------
    SheetError
        Another encoding, or a file that was cut off within a letter.
    """
    likely = likely_encoding(data)
    if likely != "utf-8":
        return _strict(data, likely, name)
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as fault:
        if fault.end >= len(data) and fault.reason.startswith("unexpected end"):
            raise cut_off(name, _line_of(data, fault.start)) from None
        # Old Windows benches: cp1252 differs from Latin-1 only where Latin-1 has control characters.
        return _strict(data, "cp1252", name)


def likely_encoding(head: bytes) -> str:
    """Return the encoding that the first bytes of a text file speak for, as `decode` would take it.

    Whether the whole file is written in it shows only at its end; a file that is not is old Windows text.

    Parameters
    ----------
    head : bytes
        The first 2,000 bytes or more; all there are where there are fewer.

    Examples
    --------
    >>> likely_encoding("bore".encode("utf-16-le")), likely_encoding(b"bore"), likely_encoding(b"")
    ('utf-16-le', 'utf-8', 'utf-8')
    """
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    if head.startswith(b"\xef\xbb\xbf"):
        return "utf-8-sig"
    return _utf16_without_mark(head) or "utf-8"


def cut_off(name: str, line: int) -> SheetError:
    """Return the error of a file that stops in the middle of a line; line 0 where it is not known."""
    hint = "It was probably cut off while copying: copy or save it again and hand in the whole file."
    return SheetError(
        name, "the file stops in the middle of a line", hint, cell=f"line {line}" if line else ""
    )


def _strict(data: bytes, encoding: str, name: str) -> str:
    """Decode in one encoding; a letter cut in half at the end is told apart from a wrong encoding."""
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as fault:
        if encoding.startswith("utf-16") and "truncated" in fault.reason:
            raise cut_off(name, 0) from None
        cell = f"line {_line_of(data, fault.start)}"
        hint = "Save it again as csv with the encoding UTF-8."
        raise SheetError(name, "the text is in an encoding that cannot be read", hint, cell=cell) from None


def _utf16_without_mark(data: bytes) -> str:
    """Plain text in UTF-16 has a NUL as every second byte; a stray NUL does not."""
    head = data[:2000]
    if len(head) < 4 or len(head) % 2:
        head = head[: len(head) // 2 * 2]
    half = len(head) // 2
    if half and head[1::2].count(0) > 0.8 * half and head[0::2].count(0) == 0:
        return "utf-16-le"
    if half and head[0::2].count(0) > 0.8 * half and head[1::2].count(0) == 0:
        return "utf-16-be"
    return ""


def _line_of(data: bytes, offset: int) -> int:
    return data.count(b"\n", 0, offset) + 1
