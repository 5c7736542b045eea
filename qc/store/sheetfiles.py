"""The sheets themselves, byte for byte, each under the hash of its bytes."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

from qc.store.errors import StoreError, StoreUnavailable
from qc.store.location import OWN_FILE, private_folder

PARTS = ".part"  # half-written files live here until they are whole


def sheet_hash(data: bytes) -> str:
    """Return the SHA-256 of a sheet's bytes as 64 hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


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
        if target.exists() and sheet_hash(target.read_bytes()) == digest:
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

    def sweep(self) -> None:
        """Remove what an interrupted upload left half-written; call only while no other writer can run."""
        for part in (self.folder / PARTS).iterdir():
            part.unlink(missing_ok=True)

    def path(self, digest: str) -> Path:
        """Return where a sheet lies or would lie; only a hash is taken, so no name can lead elsewhere."""
        if len(digest) != 64 or not set(digest) <= set("0123456789abcdef"):
            raise StoreError(f"{digest[:80]!r} is no hash of a sheet.")
        return self.folder / digest

    def read(self, digest: str) -> bytes:
        """Return the bytes of a sheet.

        Raises
        ------
        StoreError
            There is no such sheet.
        """
        try:
            return self.path(digest).read_bytes()
        except FileNotFoundError:
            raise StoreError(f"The sheet {digest[:12]} is not in {self.folder}.") from None


def flush_folder(folder: Path) -> None:
    """Flush a folder's list of names to the disk, where the system can (Windows keeps it by itself)."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
