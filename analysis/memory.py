"""Memory: given back between the steps of a large run, and whether it will do at all.

What a step has used up stays with the process in pieces, and the next step asks for
more beside it.
"""

import ctypes
import re
from collections.abc import Iterable
from pathlib import Path

import pyarrow as pa

#: What an audit takes whatever it reads, and for each byte of text that it reads
#: [bytes]: "a large export" in README.
_BASE, _PER_BYTE = 500_000_000, 22

_GB = 1e9


def give_back() -> None:
    """Give back to the system what is free, where its C library can (glibc)."""
    pa.default_memory_pool().release_unused()
    try:
        ctypes.CDLL(None).malloc_trim(0)
    except (AttributeError, OSError, TypeError):  # another C library has no such thing
        return


def free_bytes(root: Path = Path("/")) -> int | None:
    """Give the memory that a process can have before something else must go.

    Parameters
    ----------
    root : Path
        Of the file system in which Linux tells of it (proc(5), and version 2 of
        cgroups, by which containers are limited).

    Returns
    -------
    int or None
        The least of what is told; None where nothing is, as on other systems.
    """
    group = root / "sys/fs/cgroup"
    system = _number(root / "proc/meminfo", r"MemAvailable:\s+(\d+) kB")
    known = [] if system is None else [system * 1024]
    most = _number(group / "memory.max", r"(\d+)")
    held = _number(group / "memory.current", r"(\d+)")
    if most is not None and held is not None:
        # Copies of files are among what is held, and go as soon as they must.
        copies = _number(group / "memory.stat", r"^inactive_file (\d+)") or 0
        known.append(max(most - held + copies, 0))
    return min(known, default=None)


def _number(path: Path, pattern: str) -> int | None:
    try:
        found = re.search(pattern, path.read_text(encoding="utf-8"), re.M)
    except (OSError, UnicodeError):
        return None
    return int(found[1]) if found else None


def shortage(exports: Iterable[Path], free: int | None) -> str:
    """Say that an audit is likely to need more memory than there is.

    Parameters
    ----------
    exports : iterable of Path
        The files; those that cannot be looked at are left to whoever reads them.
    free : int or None
        As given by `free_bytes`.

    Returns
    -------
    str
        A sentence; empty where the memory will do, or where it is not known.

    Examples
    --------
    >>> shortage([], 1_000_000_000)
    ''
    """
    size = sum(_size(path) for path in exports)
    needed = _BASE + _PER_BYTE * size
    if free is None or not size or needed <= free:
        return ""
    return (
        f"An export of {size / _GB:.2g} GB takes about {needed / _GB:.2g} GB of memory "
        f"and {free / _GB:.2g} GB are free: the system may end this audit before it is "
        "done. No report is changed then; audit fewer months or fewer wards at a time, "
        "or where there is more memory."
    )


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except (OSError, ValueError):
        return 0
