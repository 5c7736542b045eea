from pathlib import Path

import pytest

from qc.store import StoreError, open_store, refuse_network_share

MOUNTS = r"""
disk1 / ext4 rw 0 0
proc /proc proc rw 0 0
nas:/v /srv/nas nfs4 rw 0 0
//nas/v /srv/win cifs rw 0 0
nas:/w /srv/with\040blank nfs rw 0 0
me@host:/x /srv/ssh fuse.sshfs rw 0 0
overlay /srv/box fuse.fuse-overlayfs rw 0 0
disk2 /srv/nas/local xfs rw 0 0
disk3 /srv/usb fuseblk rw 0 0
disk4 /srv/over ext4 rw 0 0
nas:/o /srv/over nfs rw 0 0
"""

SHARES = [
    "/srv/nas",
    "/srv/nas/shop",
    "/srv/win/a/b",
    "/srv/with blank/shop",
    "/srv/ssh/shop",
    "/srv/over/shop",
]
LOCAL = ["/", "/srv", "/srv/nas2/shop", "/srv/nas/local/shop", "/srv/box/shop", "/srv/usb/shop", "/home/shop"]


@pytest.mark.parametrize("folder", SHARES)
def test_shares_are_refused(folder):
    with pytest.raises(StoreError, match="network share .* `qc board` there"):
        refuse_network_share(Path(folder), MOUNTS)


@pytest.mark.parametrize("folder", LOCAL)
def test_disks_are_taken(folder):
    refuse_network_share(Path(folder), MOUNTS)


@pytest.mark.parametrize(
    "kind", ["nfs", "nfs3", "nfs4", "cifs", "smb3", "smbfs", "9p", "fuse", "fuse.rclone", "ceph"]
)
def test_the_kinds_of_share(kind):
    with pytest.raises(StoreError, match=rf"\({kind}, mounted at /net\)"):
        refuse_network_share(Path("/net/shop"), f"disk / ext4 rw 0 0\nx /net {kind} rw 0 0")


@pytest.mark.parametrize("kind", ["ext4", "xfs", "btrfs", "zfs", "overlay", "tmpfs", "apfs"])
def test_the_kinds_of_disk(kind):
    refuse_network_share(Path("/disk/shop"), f"disk / ext4 rw 0 0\nx /disk {kind} rw 0 0")


def test_a_windows_network_path_is_refused():
    with pytest.raises(StoreError, match="network path"):
        refuse_network_share(Path("//server/share/shop"), "disk / ext4 rw 0 0")


def test_without_a_table_of_mounts_nothing_is_refused():
    refuse_network_share(Path("/srv/nas/shop"), "")
    refuse_network_share(Path("/srv/nas/shop"), "broken line\n\n")


def test_a_store_on_a_share_is_not_even_begun(tmp_path, monkeypatch):
    table = tmp_path / "mounts"
    table.write_text(f"disk / ext4 rw 0 0\nnas:/v {tmp_path}/net nfs4 rw 0 0\n")
    monkeypatch.setattr("qc.store.location.MOUNTS", table)
    with pytest.raises(StoreError, match="nfs4"):
        open_store(tmp_path / "net" / "shop")
    assert not (tmp_path / "net").exists()


def test_this_machine_is_asked_where_nothing_is_given(tmp_path):
    refuse_network_share(tmp_path)
