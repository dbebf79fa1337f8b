"""Writing to disk: whole or not at all, and nothing that is there is lost without a word."""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import stat
import tempfile
from collections.abc import Iterable
from pathlib import Path

from ..errors import FileError
from .names import LONGEST

ASIDE = ".linkage-"  # how the name of what is being written begins, until it is whole


def check_file(path: Path | str, replace: bool = False) -> None:
    """Refuse a file that is there, or that can't be written, before any work is done.

    Parameters
    ----------
    path : path
    replace : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    FileError
    """
    _check_name(path)
    there = real_path(path)
    if there.is_dir():
        raise FileError(f"{path}: is a folder; give the name of a file in it", path=str(path))
    if there.exists():
        if not there.is_file():
            raise FileError(f"{path}: is no file that can be written whole; choose another name",
                            path=str(path))
        if not replace:
            raise taken(path)
    if not there.parent.is_dir():
        why = "is no folder" if there.parent.exists() else "doesn't exist"
        raise FileError(f"{path}: can't be written, as {Path(path).parent} {why}; choose a folder "
                        f"that exists and may be written to", path=str(path))
    probe(there.parent, path)


def check_folder(folder: Path | str, names: Iterable[str] = (), replace: bool = False) -> None:
    """Refuse a folder that can't be made or filled, before any work is done.

    Parameters
    ----------
    folder : path
    names : iterable of str
        Files to be written there; one that is there is refused too.
    replace : bool
        Whether they may be replaced.

    Raises
    ------
    FileError
    """
    _check_name(folder)
    folder = Path(folder)
    there = next(place for place in (folder, *folder.absolute().parents) if place.exists())
    if not there.is_dir():
        raise FileError(f"{folder}: can't be made or filled, as {there} is a file; choose another "
                        f"folder", path=str(folder))
    probe(there, folder)
    for name in names:
        if os.path.lexists(folder / name):
            check_file(folder / name, replace)


def check_read(path: Path | str) -> None:
    """Refuse to read what is no file on disk, such as a folder or a pipe that would be waited for.

    Parameters
    ----------
    path : path

    Raises
    ------
    FileError
    """
    path = Path(path)
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError) as problem:
        raise FileError(f"{path}: can't be read "
                        f"({getattr(problem, 'strerror', None) or problem}); check the name",
                        path=str(path)) from problem
    if not stat.S_ISREG(mode):
        what = "a folder" if stat.S_ISDIR(mode) else "a device or a pipe"
        raise FileError(f"{path}: is {what}; name a file", path=str(path))


def _check_name(path) -> None:
    if not str(path).strip():
        raise FileError("the name to write to is empty; give one, such as report", path=str(path))
    if not str(path).isprintable():
        raise FileError(f"{path}: is a name with control marks in it; choose a plain one",
                        path=str(path))
    name = Path(path).name
    if len(os.fsencode(name)) > LONGEST:
        raise FileError(f"{name[:40]}...: is a name of {len(os.fsencode(name))} bytes, and "
                        f"{LONGEST} is the most; give a shorter one", path=str(path))


def probe(folder: Path | str, path: Path | str) -> None:
    """Write a nameless file there, since rights alone don't say whether a disk takes it."""
    try:
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as problem:
        raise _unwritable(path, problem) from problem


def taken(path: Path | str) -> FileError:
    """The error for a file that is there and may not be replaced."""
    return FileError(f"{path}: is there already and stays as it is; choose another name, or say "
                     f"--replace where the command has it", path=str(path))


def _unwritable(path, problem) -> FileError:
    why = getattr(problem, "strerror", None) or problem
    advice = "make room there, or choose another place" if getattr(problem, "errno", 0) in (
        errno.ENOSPC, errno.EDQUOT) else "choose a folder that exists and may be written to"
    return FileError(f"{path}: can't be written ({why}); {advice}", path=str(path))


def real_path(path: Path | str) -> Path:
    """Where a name leads: through a link, so that the link stays one."""
    return Path(os.path.realpath(path))


def write_text(path: Path | str, text: str, *, replace: bool = False) -> None:
    """Write a text file in UTF-8 whole or not at all; see `write_files`."""
    write_files({path: text}, replace=replace)


def write_bytes(path: Path | str, data: bytes, *, replace: bool = False) -> None:
    """Write a file whole or not at all; see `write_files`."""
    write_files({path: data}, replace=replace)


def write_files(files: dict, *, replace: bool = False) -> None:
    """Write several files, all of them or none; links are written through, modes stay.

    Parameters
    ----------
    files : dict
        ``{path: str or bytes}``; a path that a link leads to is where the link points.
    replace : bool
        Whether files that are there may be replaced.

    Raises
    ------
    FileError
        When one of them is there already or can't be written; what was there stays as it was.
    """
    done, asides = [], {}
    path = None
    try:
        for path, data in files.items():
            _check_name(path)
            asides[path] = _aside(path, data, replace)
        for path, aside in asides.items():
            done.append((path, _set_down(aside, path, replace)))
    except (OSError, UnicodeEncodeError) as problem:
        raise taken(path) if isinstance(problem, FileExistsError) else \
            _unwritable(path, problem) from problem
    finally:
        if len(done) < len(files):
            for path, old in reversed(done):
                _put_back(path, old)
        for aside in [*asides.values(), *(old for _, old in done if old is not None)]:
            aside.unlink(missing_ok=True)


def fill_folder(folder: Path | str, files: dict, *, replace: bool = False) -> None:
    """Write files into a folder, made where it is missing, all of them or none; see `write_files`.

    Parameters
    ----------
    folder : path
    files : dict
        ``{name: str or bytes}``.
    replace : bool
        Whether files that are there may be replaced.
    """
    folder = Path(folder)
    check_folder(folder, files, replace)
    new_folders = [place for place in (folder, *folder.parents) if not place.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with _alone(folder):
            write_files({folder / name: data for name, data in files.items()}, replace=replace)
    except BaseException as problem:
        for place in new_folders:  # only what is empty goes
            with contextlib.suppress(OSError):
                place.rmdir()
        if isinstance(problem, OSError):
            raise _unwritable(folder, problem) from problem
        raise


@contextlib.contextmanager
def _alone(folder: Path):
    """Let no other run fill a folder meanwhile, so that one run's files are all of one."""
    try:
        import fcntl
    except ImportError:  # no such locks on this system
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):  # a disk over a network may have none
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _aside(path, data, replace) -> Path:
    """The contents in a file beside the target, with the mode of what is there."""
    there = real_path(path)
    if there.exists() and not there.is_file():
        raise OSError(None, "is a folder" if there.is_dir() else "is no plain file")
    if there.exists() and not replace:
        raise FileExistsError
    raw = data.encode("utf-8") if isinstance(data, str) else data
    handle, name = tempfile.mkstemp(dir=there.parent, prefix=ASIDE)
    aside = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(raw)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(aside, stat.S_IMODE(there.stat().st_mode) if there.exists() else new_mode())
    except BaseException:
        aside.unlink(missing_ok=True)
        raise
    return aside


def new_mode(most: int = 0o666) -> int:
    """The mode that the system gives to what is new."""
    mask = os.umask(0)
    os.umask(mask)
    return most & ~mask


def _set_down(aside: Path, path, replace: bool) -> Path | None:
    """Move what is whole to its place; what was there, kept until all is written."""
    there, old = real_path(path), None
    if replace and there.exists():
        old = aside.with_name(f"{aside.name}.old")
        try:
            os.link(there, old)
        except OSError:  # a disk that knows no links
            shutil.copy2(there, old)
    try:
        if replace:
            os.replace(aside, there)
        else:
            _move_to_nothing(aside, there)
    except BaseException:
        if old is not None:
            old.unlink(missing_ok=True)
        raise
    return old


def _move_to_nothing(aside: Path, there: Path) -> None:
    """Move a file to a name that nothing has, even where another run takes it at once."""
    try:
        os.link(aside, there)
    except FileExistsError:
        raise
    except OSError:  # a disk that knows no links
        with open(there, "xb"):
            os.replace(aside, there)


def _put_back(path, old: Path | None) -> None:
    with contextlib.suppress(OSError):
        if old is None:
            real_path(path).unlink(missing_ok=True)
        else:
            os.replace(old, real_path(path))
