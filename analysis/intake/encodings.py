"""Bytes of a text file to UTF-8: what the encoding is, and where it does not hold."""

import codecs
import re
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from analysis.errors import InputError

#: Longest marks first: the mark of UTF-32 begins like that of UTF-16.
_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)

#: Share of zero bytes at every other place from which a file is UTF-16 without a mark:
#: digits, separators and line ends alone give more in any script.
_ZERO_SHARE = 0.3
_SAMPLE = 1 << 16

_WIDE = ("utf-16", "utf-32")

#: What is shown for a NUL byte, which no text has: its picture in Unicode.
NUL_SIGN = "\u2400"

#: What old programs write behind the last line of a file.
_END_OF_FILE = b"\x1a"


_NONE = np.empty(0, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class Decoded:
    """A text as UTF-8.

    Attributes
    ----------
    data : bytes
        UTF-8 without a byte order mark.
    encoding : str
        What the file is written in.
    has_mark : bool
        Whether a byte order mark said so.
    damaged : ndarray of int
        Offsets in `data` of what could not be decoded; U+FFFD stands there.
    nuls : ndarray of int
        Offsets in `data` of `NUL_SIGN` where the file has a NUL character.
    """

    data: bytes
    encoding: str
    has_mark: bool
    damaged: npt.NDArray[np.int64]
    nuls: npt.NDArray[np.int64] = field(default_factory=lambda: _NONE)


def to_utf8(data: bytes, label: str, encoding: str = "") -> Decoded:
    """Decode a file: by its byte order mark, as UTF-8 or UTF-16, else Windows-1252.

    Parameters
    ----------
    data : bytes
        The file.
    label : str
        Its name in messages.
    encoding : str, optional
        Taken as given; empty to find out.

    Returns
    -------
    Decoded
        The text, and where it could not be decoded.

    Raises
    ------
    InputError
        The encoding asked for is not known.

    Examples
    --------
    >>> to_utf8("13 µg".encode("cp1252"), "checks.csv").encoding
    'windows-1252'
    """
    for mark, name in _MARKS:
        if data.startswith(mark) and encoding in ("", name):
            return _with_signs(_decoded(data[len(mark) :], name, has_mark=True))
    if encoding:
        try:
            name = codecs.lookup(encoding).name
            return _with_signs(_decoded(data, name, has_mark=False))
        except (LookupError, ValueError):  # unknown, of no text, or not for damaged one
            msg = f"{label}: there is no encoding {encoding!r} that it could be read in"
            raise InputError(f"{msg}; name utf-8, utf-16 or windows-1252") from None
    return _with_signs(_decoded(data, _guess(data), has_mark=False))


def _with_signs(decoded: Decoded) -> Decoded:
    """Put a visible character where NUL stands, and move the offsets behind it."""
    if decoded.data.endswith(_END_OF_FILE):
        decoded = replace(decoded, data=decoded.data.removesuffix(_END_OF_FILE))
    if b"\0" not in decoded.data:
        return decoded
    nuls = np.flatnonzero(np.frombuffer(decoded.data, dtype=np.uint8) == 0)
    sign = NUL_SIGN.encode()
    more = len(sign) - 1
    return replace(
        decoded,
        data=decoded.data.replace(b"\0", sign),
        damaged=decoded.damaged + more * np.searchsorted(nuls, decoded.damaged),
        nuls=nuls + more * np.arange(len(nuls)),
    )


def _guess(data: bytes) -> str:
    sample = np.frombuffer(data[:_SAMPLE], dtype=np.uint8)
    pairs = sample[: len(sample) // 2 * 2].reshape(-1, 2) == 0
    if len(pairs):
        first, second = pairs.mean(axis=0)
        if second > _ZERO_SHARE and first < second / 10:
            return "utf-16-le"
        if first > _ZERO_SHARE and second < first / 10:
            return "utf-16-be"
    return "utf-8" if data.isascii() or _is_mostly_utf8(data) else "windows-1252"


def _is_mostly_utf8(data: bytes) -> bool:
    """Tell whether the bytes beyond ASCII are UTF-8, damaged here and there at most.

    By chance, text in Windows-1252 hardly ever forms a valid sequence.
    """
    high = np.frombuffer(data, dtype=np.uint8) >= 0x80
    text = data.decode("utf-8", "ignore")
    valid = len(text.encode("utf-8")) - _ascii_count(text)
    return valid > 0 and valid >= int(high.sum()) - valid


def _ascii_count(text: str) -> int:
    return len(text.encode("ascii", "ignore"))


def _decoded(data: bytes, encoding: str, *, has_mark: bool) -> Decoded:
    if encoding == "utf-8" and data.isascii():
        return Decoded(data, encoding, has_mark, _NONE)
    if encoding.startswith(_WIDE):
        text = data.decode(encoding, "replace").encode("utf-8", "replace")
        return Decoded(text, encoding, has_mark, _find(text, "\ufffd".encode()))
    if encoding == "utf-8" and _is_valid_utf8(data):
        return Decoded(data, encoding, has_mark, _NONE)
    # Undecodable bytes become lone surrogates, and these, of the same length, U+FFFD.
    text = data.decode(encoding, "surrogateescape").encode("utf-8", "surrogatepass")
    codes = np.frombuffer(text, dtype=np.uint8)
    at = np.flatnonzero((codes[:-1] == 0xED) & (codes[1:] >= 0xA0))
    if len(at):
        mended = codes.copy()
        for i, byte in enumerate("\ufffd".encode()):
            mended[at + i] = byte
        text = mended.tobytes()
    return Decoded(text, encoding, has_mark, at)


def _is_valid_utf8(data: bytes) -> bool:
    decoder = codecs.getincrementaldecoder("utf-8")()
    step = 1 << 22
    try:
        for at in range(0, len(data), step):
            decoder.decode(data[at : at + step])
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def _find(text: bytes, what: bytes) -> npt.NDArray[np.int64]:
    found = (match.start() for match in re.finditer(re.escape(what), text))
    return np.fromiter(found, dtype=np.int64)
