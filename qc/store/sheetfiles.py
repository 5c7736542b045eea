"""The sheets themselves, byte for byte, each under the hash of its bytes."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from pathlib import Path

from qc.store.errors import StoreError, StoreUnavailable
from qc.store.location import OWN_FILE, private_folder

PARTS = ".part"  # half-written files live here until they are whole
ANNOUNCED = ".new"  # ends the name of a mark there: this sheet is being taken in


@dataclass(frozen=True, slots=True)
class Lying:
    """What lies in the folder: names of whole sheets, and of those that an upload has announced."""

    whole: frozenset[str]
    announced: frozenset[str]


def sheet_hash(data: bytes) -> str:
    """Return the SHA-256 of a sheet's bytes as 64 hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


class SheetNotPlain(StoreError):
    """Something else than a plain file has the name of a sheet."""


class SheetFiles:
    """The folder ``sheets`` of a workshop.

    Parameters
    ----------
    folder : Path
        The folder, made where missing.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        private_folder(folder)
        private_folder(folder / PARTS)

    def announce(self, digests: Iterable[str]) -> None:
        """Note which sheets come now, before the first is written: what is cut off is known as that.

        Raises
        ------
        StoreUnavailable
            The disk refuses it.
        """
        try:
            for digest in digests:
                self._mark(digest).touch(OWN_FILE)
            flush_folder(self.folder / PARTS)
        except OSError as error:
            raise StoreUnavailable(
                f"Sheets cannot be written to {self.folder} ({error.strerror}). Make room on the disk or "
                "mend its permissions."
            ) from error

    def accepted(self, digests: Iterable[str]) -> None:
        """Take the marks of `announce` away, once the rows are in."""
        for digest in digests:
            self._mark(digest).unlink(missing_ok=True)

    def lying(self) -> Lying:
        """Return what lies here now; ask before the database is read, so that nothing newer is missed."""
        before = self._announced()
        try:
            whole = frozenset(path.name for path in self.folder.iterdir() if _is_hash(path.name))
        except FileNotFoundError:
            whole = frozenset()
        return Lying(whole, before | self._announced())

    def _announced(self) -> frozenset[str]:
        try:
            names = [path.name for path in (self.folder / PARTS).iterdir()]
        except FileNotFoundError:
            return frozenset()
        return frozenset(name.removesuffix(ANNOUNCED) for name in names if name.endswith(ANNOUNCED))

    def _mark(self, digest: str) -> Path:
        return self.folder / PARTS / f"{digest}{ANNOUNCED}"

    def keep(self, digest: str, data: bytes) -> None:
        """Write a sheet so that it is whole on the disk when this returns, whatever happens.

        Written beside, flushed to the disk, then renamed: a name in this folder never stands for half a
        sheet. The rename itself is flushed by `settle`, once for all sheets of an upload.

        Raises
        ------
        StoreError
            The bytes do not have this hash, or (`StoreUnavailable`) the disk refuses them.
        """
        if sheet_hash(data) != digest:
            raise StoreError(f"The sheet {digest[:12]} does not have the bytes it claims; send it again.")
        target = self.path(digest)
        if target.is_file() and not target.is_symlink() and sheet_hash(target.read_bytes()) == digest:
            return
        part = self.folder / PARTS / f"{digest}.{os.getpid()}"
        try:
            with part.open("wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            part.chmod(OWN_FILE)
            part.replace(target)
        except OSError as error:
            part.unlink(missing_ok=True)
            raise StoreUnavailable(
                f"The sheet cannot be written to {self.folder} ({error.strerror}). Make room on the disk or "
                "mend its permissions and upload again."
            ) from error

    def settle(self) -> None:
        """Flush the folder's own list of names to the disk."""
        flush_folder(self.folder)

    def sweep(self, named: Collection[str]) -> None:
        """Remove what an interrupted upload left, half-written or whole; only while no other writer can run.

        Parameters
        ----------
        named : collection of str
            Hashes of the sheets that entries name. A whole sheet goes only where an upload announced it and
            no entry names it: it had no receipt. Any other is left, for `qc verify` to speak of.
        """
        for digest in self._announced():
            if digest not in named and _is_hash(digest):
                self.path(digest).unlink(missing_ok=True)
        for part in (self.folder / PARTS).iterdir():
            part.unlink(missing_ok=True)

    def path(self, digest: str) -> Path:
        """Return where a sheet lies or would lie; only a hash is taken, so no name can lead elsewhere."""
        if not _is_hash(digest):
            raise StoreError(f"{digest[:80]!r} is no hash of a sheet.")
        return self.folder / digest

    def read(self, digest: str) -> bytes:
        """Return the bytes of a sheet.

        Raises
        ------
        StoreError
            There is no such sheet, or what has its name is no plain file: a pipe would be waited for, a
            device read for ever.
        """
        path = self.path(digest)
        try:
            if not stat.S_ISREG(path.lstat().st_mode):
                raise SheetNotPlain(f"{path} is no file: a pipe, a device, a folder or a link was put there.")
            return path.read_bytes()
        except FileNotFoundError:
            raise StoreError(f"The sheet {digest[:12]} is not in {self.folder}.") from None


def refuse_new_beside(database: Path, files: SheetFiles) -> None:
    """Raise where the database is gone and its sheets are not: a new one would say that all is well."""
    if database.exists() and database.stat().st_size:
        return
    count = len(files.lying().whole)
    if count:
        raise StoreError(
            f"{database} is missing or empty, yet {count} sheets of it lie in {files.folder}. No new store "
            "was made. Bring back the last backup with `qc restore BACKUP NEW_DIR`; where there is none, "
            "move the sheets to another folder and upload them again."
        )


def _is_hash(name: object) -> bool:
    return isinstance(name, str) and len(name) == 64 and set(name) <= set("0123456789abcdef")


def flush_folder(folder: Path) -> None:
    """Flush a folder's list of names to the disk, where the system can (Windows keeps it by itself)."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
