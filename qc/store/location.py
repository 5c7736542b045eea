"""Where a workshop folder may lie: on this machine's own disk.

SQLite's write-ahead log shares memory between programs; over a network each machine would see its own
(SQLite documentation, "Write-Ahead Logging": all processes using a database must be on the same host).
"""

from __future__ import annotations

import re
from pathlib import Path

from qc.store.errors import StoreError

OWN_FOLDER, OWN_FILE = 0o700, 0o600
"""Rights of what a workshop holds: its owner's alone, whatever the system would give to new files."""

MOUNTS = Path("/proc/mounts")
_SHARES = re.compile(
    r"nfs\d*|cifs|smb\d*|smbfs|9p|afs|ceph|glusterfs|lustre|ncpfs|davfs\d*|virtiofs|vboxsf|prl_fs|fuse(\..+)?"
)
_LOCAL_FUSE = frozenset({"fuse.fuse-overlayfs"})  # a container's own disk


def private_folder(folder: Path) -> None:
    """Make a folder that only its owner may look into, and those above; what is there stays as it is."""
    if folder.is_dir():
        return
    if folder.parent != folder:
        private_folder(folder.parent)
    folder.mkdir(exist_ok=True)
    folder.chmod(OWN_FOLDER)


def refuse_network_share(folder: Path, mounts: str | None = None) -> None:
    """Raise where a folder lies on a network share.

    Parameters
    ----------
    folder : Path
        The workshop folder; it need not exist yet.
    mounts : str, optional
        The system's table of mounts, read from the system where not given. Where there is none (not Linux),
        only Windows' network paths are recognised.

    Raises
    ------
    StoreError
        The folder is on a share.

    Examples
    --------
    >>> refuse_network_share(Path("/srv/shop"), "disk1 / ext4 rw 0 0")
    >>> refuse_network_share(Path("/srv/shop"), "nas:/v /srv nfs4 rw 0 0")
    Traceback (most recent call last):
        ...
    qc.store.errors.StoreError: /srv/shop lies on a network share (nfs4, mounted at /srv). ...
    """
    place = folder.absolute().resolve()
    if str(folder).startswith(("\\\\", "//")):
        raise _refusal(folder, "network path", str(folder))
    if mounts is None:
        mounts = MOUNTS.read_text("utf-8", errors="replace") if MOUNTS.exists() else ""
    kind, point = _mount_of(place, mounts)
    if _SHARES.fullmatch(kind) and kind not in _LOCAL_FUSE:
        raise _refusal(folder, kind, point)


def _mount_of(place: Path, mounts: str) -> tuple[str, str]:
    """Return type and mount point of a place's file system: the longest point wins, then the last."""
    best = ("", "")
    for line in mounts.splitlines():
        parts = line.split()
        if len(parts) < 3:
            continue
        point = re.sub(r"\\([0-7]{3})", lambda match: chr(int(match[1], 8)), parts[1])
        if (place == Path(point) or Path(point) in place.parents) and len(point) >= len(best[1]):
            best = (parts[2], point)
    return best


def _refusal(folder: Path, kind: str, point: str) -> StoreError:
    return StoreError(
        f"{folder} lies on a network share ({kind}, mounted at {point}). The store needs a disk of the "
        "machine it runs on, or rows could be lost: keep the workshop folder on one machine, run "
        "`qc board` there, and let the others open its page."
    )
