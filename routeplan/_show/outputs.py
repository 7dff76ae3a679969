"""Files for the user: looked at before the work, put in place whole after it."""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import shutil
from collections.abc import Iterable, Mapping
from pathlib import Path

from routeplan._show.wording import plain
from routeplan.errors import InputError

__all__ = ["check_outputs", "write_outputs"]


def check_outputs(paths: Iterable[Path], *, overwrite: bool, directory: Path | None = None) -> None:
    """Refuse paths that cannot or must not be written, before any work is done.

    Parameters
    ----------
    directory : Path or None
        A directory that `write_outputs` may make. Any other one must exist.

    Raises
    ------
    InputError
        For the first path that exists (unless `overwrite`), is a directory, or whose
        directory is missing or not open for writing.
    """
    if directory is not None:
        _check_new_directory(directory)
    for path in paths:
        if path.is_dir():
            _refuse(path, "is a directory: a file name is wanted")
        if os.path.lexists(path) and not overwrite:
            _refuse(path, "is there already: choose another name, or allow overwriting (--force)")
        if path.parent != directory:
            _check_directory(path.parent)


def write_outputs(
    files: Mapping[Path, bytes | Path], *, overwrite: bool, directory: Path | None = None
) -> None:
    """Write all files beside their places under other names, then move them in.

    The content of a file is given, or the file that is to be copied. A failure while writing
    leaves nothing behind.

    Raises
    ------
    InputError
        As `check_outputs`, and when the system refuses to write.
    """
    check_outputs(files, overwrite=overwrite, directory=directory)
    made = directory is not None and not directory.exists()
    try:
        if directory is not None:
            directory.mkdir(parents=True, exist_ok=True)
        _write_and_move(files, overwrite=overwrite)
    except OSError as error:
        if made and directory is not None:
            with contextlib.suppress(OSError):  # not empty: not ours to remove
                directory.rmdir()
        where = error.filename2 or error.filename or next(iter(files), "output")
        _refuse(Path(os.fsdecode(where)), f"cannot be written: {error.strerror or error}")


def _write_and_move(files: Mapping[Path, bytes | Path], *, overwrite: bool) -> None:
    waiting: dict[Path, Path] = {}
    try:
        for path, content in files.items():
            part = path.with_name(f".{path.name[:100]}.{secrets.token_hex(6)}.part")
            waiting[path] = part
            with part.open("xb") as handle:
                if isinstance(content, bytes):
                    handle.write(content)
                    continue
                with content.open("rb") as original:
                    shutil.copyfileobj(original, handle)
        for path, part in waiting.items():
            _move(part, path, overwrite=overwrite)
    finally:
        for part in waiting.values():
            part.unlink(missing_ok=True)


def _move(part: Path, path: Path, *, overwrite: bool) -> None:
    if overwrite:
        part.replace(path)
        return
    try:
        path.hardlink_to(part)  # fails where a file has appeared since the check
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links
        if os.path.lexists(path):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path)) from None
        part.replace(path)


def _check_new_directory(directory: Path) -> None:
    if os.path.lexists(directory) and not directory.is_dir():
        _refuse(directory, "is a file: a directory is wanted")
    nearest = directory
    while not os.path.lexists(nearest) and nearest != nearest.parent:
        nearest = nearest.parent
    _check_directory(nearest)


def _check_directory(directory: Path) -> None:
    if not directory.exists():
        _refuse(directory, "does not exist: make this directory first")
    if not directory.is_dir():
        _refuse(directory, "is a file: a directory is wanted")
    if not os.access(directory, os.W_OK | os.X_OK):
        _refuse(directory, "is not open for writing")


def _refuse(path: Path, why: str) -> None:
    msg = f"{plain(path)}: {why}"
    raise InputError(msg, path=path)
