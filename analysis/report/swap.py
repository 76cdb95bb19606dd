"""A folder that is found whole or not at all: written beside, then swapped in.

Two hidden folders and a lock beside the folder exist while this runs; what a killed run
left of them is put right at the next start.
"""

import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from analysis.errors import OutputError

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

#: Left in a folder by a file browser or by Jupyter; nobody's work is lost with them.
DROPPINGS = {".DS_Store", "Thumbs.db", "desktop.ini", ".ipynb_checkpoints"}

#: Beginnings of the files that office programs keep beside a file that is open.
LOCKS = ("~$", ".~lock.")


def check_parent(out: Path) -> None:
    """Refuse a folder whose parents are a file or cannot be written.

    Parameters
    ----------
    out : Path
        The folder; it need not exist.

    Raises
    ------
    OutputError
        One sentence that says what to do.
    """
    ancestor = next(folder for folder in out.parents if folder.exists())
    if not ancestor.is_dir():
        raise OutputError(f"{ancestor}: is a file; choose a folder with --out")
    if not os.access(ancestor, os.W_OK):
        msg = f"{ancestor}: cannot be written; choose another folder with --out"
        raise OutputError(msg)


def missing_parents(out: Path) -> list[Path]:
    """List the parents that do not exist yet, the innermost first.

    Parameters
    ----------
    out : Path
        The folder.

    Returns
    -------
    list of Path
        Empty where all exist.
    """
    return [folder for folder in out.parents if not folder.exists()]


def staged_beside(out: Path) -> Path:
    """Name the folder in which the new one is made.

    Parameters
    ----------
    out : Path
        The folder.

    Returns
    -------
    Path
        Beside it, hidden.
    """
    return out.with_name(f".{out.name}.steadyfall-new")


def _aside(out: Path) -> Path:
    return out.with_name(f".{out.name}.steadyfall-old")


def swap(staged: Path, out: Path) -> None:
    """Put the new folder in the place of the old one.

    Parameters
    ----------
    staged : Path
        The new folder, whole.
    out : Path
        The folder; it need not exist.
    """
    aside = _aside(out)
    if out.exists():
        out.rename(aside)
    try:
        staged.rename(out)
    except OSError:
        if aside.exists():
            aside.rename(out)
        raise
    # The new one stands; an old one that is held open is deleted at the next start.
    shutil.rmtree(aside, ignore_errors=True)


def repair(out: Path) -> None:
    """Undo what a killed run left: the old folder back, then no leftovers.

    Parameters
    ----------
    out : Path
        The folder.
    """
    aside, staged = _aside(out), staged_beside(out)
    if not aside.exists() and not staged.exists():
        return
    with only_one(out):
        if aside.exists() and not out.exists():
            aside.rename(out)
        for left in (aside, staged):
            if left.exists():
                shutil.rmtree(left)


@contextmanager
def made_whole(out: Path) -> Iterator[Path]:
    """Make a folder and put it in its place, or leave all as it was.

    Parameters
    ----------
    out : Path
        The folder; missing parents are made.

    Yields
    ------
    Path
        The folder to fill, beside its place.

    Raises
    ------
    OutputError
        It cannot be written, or another run is writing it.
    """
    parents, staged = missing_parents(out), staged_beside(out)
    try:
        with told(out), only_one(out):
            try:
                staged.mkdir(parents=True)
                yield staged
                swap(staged, out)
            except BaseException:
                shutil.rmtree(staged, ignore_errors=True)
                raise
    except BaseException:
        for folder in parents:
            if folder.exists() and not any(folder.iterdir()):
                folder.rmdir()
        raise


@contextmanager
def only_one(out: Path) -> Iterator[None]:
    """Let one run at a time write a folder.

    The system lets go of the lock of a run that was killed.

    Parameters
    ----------
    out : Path
        The folder; its parent is made if it is not there.

    Yields
    ------
    None
        While nobody else may write it.

    Raises
    ------
    OutputError
        Another run is writing it.
    """
    out.parent.mkdir(parents=True, exist_ok=True)
    lock = out.with_name(f".{out.name}.steadyfall-lock")
    with lock.open("w", encoding="utf-8") as file:
        if not _locked(file.fileno()) or not _is_there(lock, file.fileno()):
            msg = f"{out}: another run is writing this folder; wait until it is done"
            raise OutputError(f"{msg}, or choose another folder with --out")
        try:
            yield
        finally:
            if sys.platform != "win32":  # there an open file cannot be deleted
                lock.unlink(missing_ok=True)
    if sys.platform == "win32":
        lock.unlink(missing_ok=True)


def _locked(file: int) -> bool:
    try:
        if sys.platform == "win32":
            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _is_there(lock: Path, file: int) -> bool:
    """Tell that no other run has put the lock away since it was opened."""
    if sys.platform == "win32":  # there an open file cannot be deleted
        return True
    try:
        return os.path.samestat(lock.stat(), os.fstat(file))
    except FileNotFoundError:
        return False


@contextmanager
def told(out: Path) -> Iterator[None]:
    """Turn what the system says into a sentence with what to do.

    Parameters
    ----------
    out : Path
        The folder that is written.

    Raises
    ------
    OutputError
        Something could not be written or replaced.
    """
    try:
        yield
    except PermissionError as error:
        held = _held_open(out) or error.filename or out
        msg = f"{held}: cannot be replaced or written; close it and run again"
        raise OutputError(msg) from None
    except OSError as error:
        msg = f"{error.filename or out}: {error.strerror or error}; nothing was written"
        raise OutputError(msg) from None


def _held_open(out: Path) -> Path | None:
    """Find the file that another program holds, where the system tells."""
    if not out.is_dir():
        return None
    for path in sorted(out.rglob("*")):
        try:
            if path.is_file():
                path.open("r+b").close()
        except PermissionError:
            return path
        except OSError:
            continue
    return None
