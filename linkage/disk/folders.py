"""A folder written as a whole in the place of the one before."""

from __future__ import annotations

import hashlib
import os
import shutil
import stat
import tempfile
from collections.abc import Callable
from pathlib import Path

from ..errors import FileError
from .files import ASIDE, check_folder, new_mode, probe, real_path, taken

SUMS = "files.sha256"  # what a folder was written with, as `sha256sum -c` reads it
AT_ONCE = 8  # files that are written
MOST_TRIES = 20  # times that two runs may take a folder from each other


def digest(path: Path | str, *others: Path) -> str:
    """First 16 digits of a file's SHA-256; with others, of the SHA-256 of all, one after the other.

    Parameters
    ----------
    path : path
    *others : path

    Returns
    -------
    str
    """
    sums = [hashlib.sha256(Path(each).read_bytes()).hexdigest() for each in (path, *others)]
    whole = sums[0] if not others else hashlib.sha256("".join(sums).encode()).hexdigest()
    return whole[:16]


def check_report_folder(folder: Path | str, replace: bool = False,
                        mark: str = "report.html") -> None:
    """Refuse a folder whose contents can't be replaced as a whole, before any work is done.

    Parameters
    ----------
    folder : path
    replace : bool
        Whether what was written there before may be replaced.
    mark : str
        The file by which something written before is known.

    Raises
    ------
    FileError
    """
    check_folder(folder)
    there = real_path(folder)
    if there in (Path.cwd(), *Path.cwd().parents) or os.path.ismount(there):
        raise FileError(f"{folder}: is the folder you are in, or holds it, and a report is "
                        f"replaced as a whole; name a folder for it alone, such as report",
                        path=str(folder))
    if os.path.lexists(there / mark) and not replace:
        raise FileError(f"{Path(folder) / mark}: is there already and stays as it is; choose "
                        f"another folder, or say --replace", path=str(folder))
    if there.exists():
        probe(there.parent, folder)


def replace_folder(folder: Path | str, files: dict, *, stays: Callable = lambda name: False,
                   replace: bool = False) -> None:
    """Fill a folder aside, then put it in the place of what is there: all of it or nothing.

    Parameters
    ----------
    folder : path
        A link to a folder stays one.
    files : dict
        ``{path in the folder: str or bytes}``.
    stays : callable
        Whether a file of this name stays as it is where one is there: it was filled in by hand.
    replace : bool
        Whether what was written there before may be replaced.  What was put there by others, or
        was changed since, stays in any case unless a file of `files` has its name.

    Raises
    ------
    FileError
        When the folder can't be made or filled; what was there is as it was.
    """
    there, old, aside = real_path(folder), None, None
    try:
        there.parent.mkdir(parents=True, exist_ok=True)
        aside = Path(tempfile.mkdtemp(prefix=ASIDE, dir=there.parent))
        _fill(aside, files)
        old = _swap(aside, there, replace, files)
    except (OSError, UnicodeEncodeError) as problem:
        if isinstance(problem, FileExistsError):
            raise taken(folder) from problem
        raise FileError(f"{folder}: can't be filled ({getattr(problem, 'strerror', '') or problem}"
                        f"); what was there is as it was", path=str(folder)) from problem
    finally:
        if aside is not None and aside.exists():
            shutil.rmtree(aside, ignore_errors=True)
    try:
        _carry_over(old, there, stays)
    except OSError as problem:
        raise FileError(f"{folder}: is written whole, yet what else was there could not be moved "
                        f"into it ({problem.strerror}); it is in {old}", path=str(old)) from problem


def _fill(aside: Path, files: dict) -> None:
    from concurrent.futures import ThreadPoolExecutor

    def put(name):
        raw = files[name].encode("utf-8") if isinstance(files[name], str) else files[name]
        (aside / name).parent.mkdir(parents=True, exist_ok=True)
        with open(aside / name, "wb") as file:
            file.write(raw)
            file.flush()
            os.fsync(file.fileno())
        return f"{hashlib.sha256(raw).hexdigest()}  {name}\n"

    with ThreadPoolExecutor(AT_ONCE) as pool:  # the disk is waited for once, not by each file
        sums = list(pool.map(put, files))
    with open(aside / SUMS, "wb") as file:
        file.write("".join(sums).encode("utf-8"))
    os.chmod(aside, new_mode(0o777))


def _swap(aside: Path, there: Path, replace: bool, files) -> Path | None:
    """Put the filled folder in its place; the one that was there, under another name."""
    old = None
    for _ in range(MOST_TRIES):  # another run may do anything between any two steps
        if there.exists():
            if not replace:
                _check_free(there, files)
            os.chmod(aside, stat.S_IMODE(there.stat().st_mode))
            gone = _moved_away(there)
            if gone is None:
                continue
            _carry_over(old, gone, lambda name: True)
            old = gone
        try:
            os.rename(aside, there)
            return old
        except BaseException as problem:
            if isinstance(problem, OSError) and there.exists():
                continue  # another run was faster: its folder is what is there now
            if old is not None:
                os.rename(old, there)
            raise
    raise OSError(None, "other runs keep writing to it")


def _check_free(there: Path, files) -> None:
    """Refuse to write files over those of a folder."""
    if any(os.path.lexists(there / name) for name in files):
        raise FileExistsError


def _moved_away(there: Path) -> Path | None:
    """A folder under another name beside its place; None where another run took it first."""
    gone = Path(tempfile.mkdtemp(prefix=f"{ASIDE}old-", dir=there.parent))
    try:
        os.rename(there, gone)
    except OSError as problem:
        gone.rmdir()
        if isinstance(problem, FileNotFoundError):
            return None
        raise
    return gone


def _carry_over(old: Path | None, there: Path, stays) -> None:
    """Move what others put into the old folder to the new one, and clear the rest away."""
    if old is None:
        return
    sums = _sums(old)
    for source in _files_of(old):
        inside = source.relative_to(old).as_posix()
        target = there / inside
        if not _is_ours(source, inside, sums) and (stays(inside) or not os.path.lexists(target)):
            target.parent.mkdir(parents=True, exist_ok=True)
            os.replace(source, target)
    shutil.rmtree(old)


def _files_of(folder: Path):
    """Every file below a folder, links to folders among them."""
    for place, folders, names in os.walk(folder):
        for name in [*names, *(n for n in folders if os.path.islink(os.path.join(place, n)))]:
            yield Path(place) / name


def _is_ours(source: Path, inside: str, sums) -> bool:
    """Whether a file is as it was written here."""
    return inside == SUMS or (inside in sums and not source.is_symlink() and sums[inside]
                              == hashlib.sha256(source.read_bytes()).hexdigest())


def _sums(folder: Path) -> dict:
    """What the files of a folder were written with: ``{name: SHA-256}``."""
    try:
        lines = (folder / SUMS).read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return {}
    return {name: known for known, _, name in (line.partition("  ") for line in lines)}
