"""Whether the system can be trusted to report changes in a folder: not across a network."""

import os
import re
from pathlib import Path

LOCAL = frozenset(
    "apfs bcachefs btrfs ecryptfs exfat ext2 ext3 ext4 f2fs hfsplus iso9660 jfs msdos nilfs2 ntfs ntfs3 overlay ramfs "
    "reiserfs tmpfs udf ufs vfat xfs zfs".split()
)
"""Linux names of file systems on this machine's own disks. Any other may be a network's."""

_MOUNTS = Path("/proc/mounts")


def file_system(mounts: str, folder: str) -> str | None:
    """Type of the file system that holds `folder` (absolute, links resolved), by the text of /proc/mounts."""
    best, kind = "", None
    for line in mounts.splitlines():
        _, point, found, *_ = line.split(" ")
        point = re.sub(r"\\([0-7]{3})", lambda code: chr(int(code[1], 8)), point)
        inside = folder == point or folder.startswith(point.rstrip("/") + "/")
        if inside and len(point) >= len(best):
            best, kind = point, found
    return kind


def reports_changes(folder: Path) -> bool:
    """Whether change events can be expected for `folder`. Where there is no /proc/mounts we try and see."""
    try:
        mounts = _MOUNTS.read_text(encoding="utf-8", errors="surrogateescape")
    except OSError:
        return True
    return file_system(mounts, os.path.realpath(folder)) in LOCAL
