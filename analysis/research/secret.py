"""The key of the pseudonyms: a local file that only its owner reads, never shared."""

import os
import secrets
import stat
from pathlib import Path
from typing import Final

from analysis.errors import OutputError

_BYTES: Final = 32


def load_secret(path: Path, out: Path) -> bytes:
    """Read the key of the pseudonyms, or make one.

    Parameters
    ----------
    path : Path
        The key's file. Where it is not there a new key is drawn and written, for its
        owner alone.
    out : Path
        Folder of the study, which must not hold it.

    Returns
    -------
    bytes
        The key. The same key gives the same pseudonyms; a study of its own should have
        a key of its own.

    Raises
    ------
    OutputError
        It lies in the study's folder, is a folder itself, others may read it, it is no
        key, or it cannot be written. One sentence.
    """
    path, out = path.expanduser().resolve(), out.resolve()
    if path.is_relative_to(out):
        msg = f"{path}: the key must not lie in the study's folder, which is handed on"
        raise OutputError(f"{msg}; choose another place with --secret")
    if path.is_dir():
        msg = f"{path}: is a folder, and the key is a file"
        raise OutputError(f"{msg}; name a file in it with --secret, such as study.key")
    try:
        if not path.exists():
            _write(path)
        return _read(path)
    except OSError as error:
        msg = f"{error.filename or path}: {error.strerror or error}"
        raise OutputError(f"{msg}; choose another place with --secret") from None


def _write(path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(secrets.token_hex(_BYTES) + "\n")


def _read(path: Path) -> bytes:
    # Windows keeps who may read a file elsewhere; a person's own folder is theirs.
    if os.name == "posix" and path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
        msg = f"{path}: others on this machine may read the key"
        raise OutputError(f"{msg}; make it yours alone (chmod 600) or choose another")
    try:
        key = bytes.fromhex(path.read_text(encoding="ascii").strip())
    except ValueError:
        key = b""
    if len(key) < _BYTES:
        msg = f"{path}: is no key of a study ({2 * _BYTES} hexadecimal digits)"
        raise OutputError(f"{msg}; choose another place with --secret")
    return key
