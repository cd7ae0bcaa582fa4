"""A data folder on a network share is told before the first entry goes into it."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from app import data_folder
from app.data_folder import share_under

#: Lines as Linux's manual page proc(5) describes them: a local root, shares of several kinds, a folder with a blank.
TABLE = r"""22 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw
31 22 0:41 / /srv/rounds rw,relatime shared:9 - nfs4 keeper:/rounds rw,vers=4.2
32 31 8:2 / /srv/rounds/local rw,relatime - ext4 /dev/sdb1 rw
33 22 0:42 / /srv/a\040share rw,relatime - cifs //keeper/share rw
34 22 0:43 / /srv/ssh rw,relatime - fuse.sshfs keeper:/ rw
35 22 0:44 / /srv/usb rw,relatime - fuseblk /dev/sdc1 rw
36 22 0:45 / /srv/twice rw,relatime - nfs keeper:/twice rw
37 36 8:3 / /srv/twice rw,relatime - xfs /dev/sdd1 rw
"""


@pytest.mark.parametrize(("folder", "kind"), [
    ("/srv", None), ("/srv/rounds", "nfs4"), ("/srv/rounds/instance", "nfs4"), ("/srv/rounds/local/instance", None),
    ("/srv/rounds-2", None), ("/srv/a share/instance", "cifs"), ("/srv/ssh/x", "sshfs"), ("/srv/usb/x", None),
    ("/srv/twice/instance", None), ("/", None)])
def test_a_folder_is_on_a_share_where_the_nearest_mount_above_it_is_one(
        monkeypatch: pytest.MonkeyPatch, tmp_path: Path, folder: str, kind: str | None) -> None:
    table = tmp_path / "mountinfo"
    table.write_text(TABLE, "utf-8")
    monkeypatch.setattr(data_folder, "MOUNTS", table)
    assert share_under(Path(folder)) == kind


def test_where_the_system_tells_no_mounts_nothing_is_claimed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(data_folder, "MOUNTS", tmp_path / "none")
    assert share_under(tmp_path) is None


def test_the_kind_of_a_folder_is_what_util_linux_says(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    # The reference is findmnt of util-linux, which reads the same table.
    findmnt = shutil.which("findmnt")
    assert findmnt or not data_folder.MOUNTS.exists()
    if not findmnt:
        return
    for folder in (Path("/"), Path("/proc"), Path("/dev"), tmp_path):
        kind = subprocess.run([findmnt, "-n", "-o", "FSTYPE", "-T", str(folder)], capture_output=True, text=True,
                              check=True).stdout.splitlines()[-1].strip().removeprefix("fuse.")
        monkeypatch.setattr(data_folder, "SHARES", frozenset({kind}))
        assert share_under(folder) == kind
        monkeypatch.setattr(data_folder, "SHARES", frozenset())
        assert share_under(folder) is None
