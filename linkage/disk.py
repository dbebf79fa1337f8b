"""Writing to disk: whole or not at all, and nothing that is there is lost without a word."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import shutil
import stat
import tempfile
from pathlib import Path

from .errors import FileError

ASIDE = ".linkage-"  # how the name of what is being written begins, until it is whole
LONGEST = 255  # bytes of one name that common file systems take
SUMS = "files.sha256"  # what a folder was written with, as `sha256sum -c` reads it
MOST_TRIES = 20  # times that two runs may take a folder from each other


def digest(path) -> str:
    """First 16 digits of a file's SHA-256, by which a sheet is matched to its model.

    Parameters
    ----------
    path : path

    Returns
    -------
    str
    """
    return hashlib.sha256(Path(path).read_bytes()).hexdigest()[:16]


def file_stems(names, blank: str = " ") -> dict:
    """A file name for each of several names: one that any file system takes, no two alike.

    Parameters
    ----------
    names : iterable of str
    blank : str
        What stands for a blank.

    Returns
    -------
    dict
        ``{name: stem}``; capitals don't tell two apart, since some file systems don't.

    Examples
    --------
    >>> file_stems(["airframe/pan (a)", "airframe/pan [a]", "a b"])
    {'airframe/pan (a)': 'airframe pan a', 'airframe/pan [a]': 'airframe pan a 2', 'a b': 'a b'}
    """
    stems, taken = {}, set()
    for name in dict.fromkeys(names):
        words = "".join(c if c.isalnum() or c in " -_." else " " for c in name).split()
        short = " ".join(words).strip(" .").encode()[:LONGEST - 55].decode(errors="ignore")
        plain = (short.strip(" .") or "plate").replace(" ", blank)
        stem, count = plain, 1
        while stem.casefold() in taken:
            count += 1
            stem = f"{plain}{blank}{count}"
        taken.add(stem.casefold())
        stems[name] = stem
    return stems


def csv_text(table) -> str:
    """CSV of a table in which no cell begins a formula.

    Parameters
    ----------
    table : DataFrame

    Returns
    -------
    str
        Text that a spreadsheet would work out stands behind an apostrophe; `cell_text` takes it
        off again.
    """
    safe = table.rename(columns=_harmless)
    for k, kind in enumerate(safe.dtypes):
        if kind.kind not in "biuf":
            safe.isetitem(k, safe.iloc[:, k].map(_harmless))
    return safe.to_csv(index=False, lineterminator="\n")


def _harmless(cell):
    if not isinstance(cell, str) or cell.lstrip()[:1] not in ("=", "+", "-", "@", "'"):
        return cell
    try:
        float(cell)
    except ValueError:
        return f"'{cell}"
    return cell


def cell_text(cell: str) -> str:
    """A cell as it was before `csv_text` made it harmless.

    Examples
    --------
    >>> cell_text("'=flap"), cell_text("flap")
    ('=flap', 'flap')
    """
    return cell[1:] if cell[:1] == "'" and cell[1:].lstrip()[:1] in tuple("=+-@'") else cell


def check_file(path, replace: bool = False) -> None:
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
    there = _target(path)
    if there.is_dir():
        raise FileError(f"{path}: is a folder; give the name of a file in it", path=str(path))
    if there.exists():
        if not there.is_file():
            raise FileError(f"{path}: is no file that can be written whole; choose another name",
                            path=str(path))
        if not replace:
            raise _taken(path)
    if not there.parent.is_dir():
        why = "is no folder" if there.parent.exists() else "doesn't exist"
        raise FileError(f"{path}: can't be written, as {Path(path).parent} {why}; choose a folder "
                        f"that exists and may be written to", path=str(path))
    _probe(there.parent, path)


def check_folder(folder, names=(), replace: bool = False) -> None:
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
    _probe(there, folder)
    for name in names:
        if os.path.lexists(folder / name):
            check_file(folder / name, replace)


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


def _probe(folder, path) -> None:
    """Write a nameless file there, since rights alone don't say whether a disk takes it."""
    try:
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as problem:
        raise _unwritable(path, problem) from problem


def _taken(path) -> FileError:
    return FileError(f"{path}: is there already and stays as it is; choose another name, or say "
                     f"--replace where the command has it", path=str(path))


def _unwritable(path, problem) -> FileError:
    why = getattr(problem, "strerror", None) or problem
    advice = "make room there, or choose another place" if getattr(problem, "errno", 0) in (
        errno.ENOSPC, errno.EDQUOT) else "choose a folder that exists and may be written to"
    return FileError(f"{path}: can't be written ({why}); {advice}", path=str(path))


def _target(path) -> Path:
    """Where a name leads: through a link, so that the link stays one."""
    return Path(os.path.realpath(path))


def write_text(path, text: str, *, replace: bool = False) -> None:
    """Write a text file in UTF-8 whole or not at all; see `write_files`."""
    write_files({path: text}, replace=replace)


def write_bytes(path, data: bytes, *, replace: bool = False) -> None:
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
        raise _taken(path) if isinstance(problem, FileExistsError) else \
            _unwritable(path, problem) from problem
    finally:
        if len(done) < len(files):
            for path, old in reversed(done):
                _put_back(path, old)
        for aside in [*asides.values(), *(old for _, old in done if old is not None)]:
            aside.unlink(missing_ok=True)


def fill_folder(folder, files: dict, *, replace: bool = False) -> None:
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
    made = [place for place in (folder, *folder.parents) if not place.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        write_files({folder / name: data for name, data in files.items()}, replace=replace)
    except BaseException as problem:
        for place in made:  # only what is empty goes
            with contextlib.suppress(OSError):
                place.rmdir()
        if isinstance(problem, OSError):
            raise _unwritable(folder, problem) from problem
        raise


def _aside(path, data, replace) -> Path:
    """The contents in a file beside the target, with the mode of what is there."""
    there = _target(path)
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
        os.chmod(aside, stat.S_IMODE(there.stat().st_mode) if there.exists() else _new_mode())
    except BaseException:
        aside.unlink(missing_ok=True)
        raise
    return aside


def _new_mode(most: int = 0o666) -> int:
    mask = os.umask(0)
    os.umask(mask)
    return most & ~mask


def _set_down(aside: Path, path, replace: bool) -> Path | None:
    """Move what is whole to its place; what was there, kept until all is written."""
    there, old = _target(path), None
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
            _target(path).unlink(missing_ok=True)
        else:
            os.replace(old, _target(path))


def check_report_folder(folder, replace: bool = False, mark: str = "report.html") -> None:
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
    there = _target(folder)
    if there in (Path.cwd(), *Path.cwd().parents) or os.path.ismount(there):
        raise FileError(f"{folder}: is the folder you are in, or holds it, and a report is "
                        f"replaced as a whole; name a folder for it alone, such as report",
                        path=str(folder))
    if os.path.lexists(there / mark) and not replace:
        raise FileError(f"{Path(folder) / mark}: is there already and stays as it is; choose "
                        f"another folder, or say --replace", path=str(folder))
    if there.exists():
        _probe(there.parent, folder)


def replace_folder(folder, files: dict, *, kept=lambda name: False, replace: bool = False) -> None:
    """Fill a folder aside, then put it in the place of what is there: all of it or nothing.

    Parameters
    ----------
    folder : path
        A link to a folder stays one.
    files : dict
        ``{path in the folder: str or bytes}``.
    kept : callable
        Whether a file of this name stays as it is where one is there: it was filled in by hand.
    replace : bool
        Whether what was written there before may be replaced.  What was put there by others, or
        was changed since, stays in any case unless a file of `files` has its name.

    Raises
    ------
    FileError
        When the folder can't be made or filled; what was there is as it was.
    """
    there, old, aside = _target(folder), None, None
    try:
        there.parent.mkdir(parents=True, exist_ok=True)
        aside = Path(tempfile.mkdtemp(prefix=ASIDE, dir=there.parent))
        _fill(aside, files)
        old = _swap(aside, there, replace, files)
    except (OSError, UnicodeEncodeError) as problem:
        if isinstance(problem, FileExistsError):
            raise _taken(folder) from problem
        raise FileError(f"{folder}: can't be filled ({getattr(problem, 'strerror', '') or problem}"
                        f"); what was there is as it was", path=str(folder)) from problem
    finally:
        if aside is not None and aside.exists():
            shutil.rmtree(aside, ignore_errors=True)
    try:
        _carry_over(old, there, kept)
    except OSError as problem:
        raise FileError(f"{folder}: is written whole, yet what else was there could not be moved "
                        f"into it ({problem.strerror}); it is in {old}", path=str(old)) from problem


def _fill(aside: Path, files: dict) -> None:
    sums = []
    for name, data in files.items():
        (aside / name).parent.mkdir(parents=True, exist_ok=True)
        raw = data.encode("utf-8") if isinstance(data, str) else data
        with open(aside / name, "wb") as file:
            file.write(raw)
            file.flush()
            os.fsync(file.fileno())
        sums.append(f"{hashlib.sha256(raw).hexdigest()}  {name}\n")
    with open(aside / SUMS, "wb") as file:
        file.write("".join(sums).encode("utf-8"))
    os.chmod(aside, _new_mode(0o777))


def _swap(aside: Path, there: Path, replace: bool, files) -> Path | None:
    """Put the filled folder in its place; the one that was there, under another name."""
    old = None
    for _ in range(MOST_TRIES):
        if there.exists():
            if not replace and any(os.path.lexists(there / name) for name in files):
                raise FileExistsError
            os.chmod(aside, stat.S_IMODE(there.stat().st_mode))
            gone = Path(tempfile.mkdtemp(prefix=f"{ASIDE}old-", dir=there.parent))
            try:
                os.rename(there, gone)
            except OSError as problem:
                gone.rmdir()
                if isinstance(problem, FileNotFoundError):  # another run took it this moment
                    continue
                raise
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


def _carry_over(old: Path | None, there: Path, kept) -> None:
    """Move what others put into the old folder to the new one, and clear the rest away."""
    if old is None:
        return
    sums = _sums(old)
    for place, folders, names in os.walk(old):
        for name in [*names, *(n for n in folders if os.path.islink(os.path.join(place, n)))]:
            source = Path(place) / name
            inside = source.relative_to(old).as_posix()
            target = there / inside
            ours = inside == SUMS or (inside in sums and not source.is_symlink() and sums[inside]
                                      == hashlib.sha256(source.read_bytes()).hexdigest())
            if not ours and (kept(inside) or not os.path.lexists(target)):
                target.parent.mkdir(parents=True, exist_ok=True)
                os.replace(source, target)
    shutil.rmtree(old)


def _sums(folder: Path) -> dict:
    """What the files of a folder were written with: ``{name: SHA-256}``."""
    try:
        lines = (folder / SUMS).read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return {}
    return {name: known for known, _, name in (line.partition("  ") for line in lines)}
