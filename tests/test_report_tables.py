"""CSV and JSON of a session: all columns, safe in a spreadsheet, and enough to even frames out."""

import csv
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_records import BRIGHTER, LANDED, MISFIRE, NASTY, entry, record

from tetherwatch.advise.records import Estimate
from tetherwatch.errors import UsageError
from tetherwatch.frame.records import Metadata
from tetherwatch.report.columns import COLUMNS
from tetherwatch.report.records import SessionRecord
from tetherwatch.report.tables import write_csv, write_json
from tetherwatch.setups.records import Drift, Setup

PROJECT = Path(__file__).resolve().parent.parent


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Where tables are written."""
    return tmp_path


def lines(folder: Path, session: SessionRecord) -> list[dict[str, str]]:
    """What a program reads from the CSV."""
    write_csv(folder / "a.csv", session)
    with (folder / "a.csv").open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def parsed(folder: Path, session: SessionRecord) -> dict[str, Any]:
    """What a program reads from the JSON."""
    write_json(folder / "a.json", session)
    found: dict[str, Any] = json.loads((folder / "a.json").read_bytes())
    return found


def test_every_frame_is_a_line(folder: Path) -> None:
    """Numbers stay numbers, what is unknown is empty, truth is yes or no."""
    session = record(entry(1, -1.02, BRIGHTER), replace(entry(2, 0.01, landing=LANDED), metadata=Metadata()))
    one, two = lines(folder, session)
    assert list(one) == [column.name for column in COLUMNS]
    assert (one["number"], one["file"], one["captured_at"]) == ("1", "F_0001.DNG", "2031-03-04T12:00:04")
    assert (one["offset_stops"], one["add_stops"], one["within_tolerance"]) == ("-1.02", "1.02", "no")
    assert (one["shutter"], one["aperture_label"], one["iso"], one["pair"]) == ("1/250", "f/2.8", "400.0", "")
    assert (one["call"], one["call_to"], one["predicted_offset_stops"]) == ("brighter", "800", "-0.02")
    assert (two["camera"], two["shutter_s"], two["landing_error_stops"]) == ("", "", "0.03")


def test_the_stops_to_add_are_the_offset_turned_round(folder: Path) -> None:
    """Adding them to a frame brings its metered area to the aim."""
    for line in lines(folder, record(*(entry(n, offset) for n, offset in enumerate((-3.0, -0.5, 0.0, 1.25), 1)))):
        assert float(line["add_stops"]) + float(line["offset_stops"]) == 0
        assert line["add_stops"] != "-0.0"


def test_the_aim_is_the_one_that_the_offset_is_from(folder: Path) -> None:
    """Of a frame that is to match a pinned one that is not the plan's."""
    one = entry(1)
    pinned = replace(one, measured=replace(one.measured, level_stops=-0.5, offset_stops=0.25))
    (line,) = lines(folder, record(pinned))
    assert (line["aim_stops"], line["add_stops"]) == ("-0.75", "-0.25")


def test_json_tells_the_same_with_its_columns(folder: Path) -> None:
    """The same names and values, each column explained, nothing absent."""
    setup = Setup(1, 1, 1, 1, "Window", Estimate(7.0, 0.03), drift=Drift(-0.2, (-0.3, -0.1), 60.0))
    session = record(entry(1, -5.0, MISFIRE, setup=1), setups=(setup,))
    found = parsed(folder, session)
    assert set(found) == {"session", "columns", "setups", "frames", "problems"}
    (one,) = found["frames"]
    assert set(one) == set(found["columns"]) == {column.name for column in COLUMNS} and all(found["columns"].values())
    assert (one["add_stops"], one["misfired"], one["odd"], one["pair"]) == (5.0, True, "gone", None)
    assert (one["setup"], one["setup_name"]) == (1, "Window")
    assert found["setups"][0]["drift_stops_per_10_minutes"] == -0.2
    assert found["session"]["began_at"].endswith("+00:00")


@pytest.mark.parametrize("name", NASTY, ids=range(len(NASTY)))
def test_names_do_no_harm(folder: Path, name: str) -> None:
    """No cell is a formula or breaks its line; JSON has the name as it is."""
    one = entry(1, name="F.DNG")
    session = record(
        replace(
            one, path=one.path.with_name(name.replace("/", "_")), metadata=replace(one.metadata, camera=name, lens=name)
        ),
        setups=(Setup(1, 1, 1, 1, name),),
    )
    (line,) = lines(folder, session)
    assert list(line) == [column.name for column in COLUMNS]
    for cell in line.values():
        assert not cell.lstrip().startswith(tuple("=+@\t\r＝＋－＠"))
        assert cell.isprintable() and (cell[:1] != "-" or float(cell))
    found = parsed(folder, session)
    assert found["frames"][0]["camera"] == found["setups"][0]["name"] == name


texts = st.text(st.characters(), max_size=30) | st.builds(
    "{}{}".format, st.sampled_from(" =+-@\t\r\n＝"), st.text(max_size=9)
)


@given(texts)
def test_no_text_becomes_a_formula(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    """Whatever a camera calls itself, the cell is text and the table keeps its shape."""
    folder = tmp_path_factory.getbasetemp()
    one = entry(1)
    (line,) = lines(folder, record(replace(one, metadata=replace(one.metadata, camera=text))))
    assert not re.match(r"\s*[=+\-@＝＋－＠\t\r]", line["camera"])
    assert line["number"] == "1" and None not in line


def test_readme_documents_the_columns() -> None:
    """Each column is named there."""
    text = (PROJECT / "README.md").read_text("utf-8")
    assert not [column.name for column in COLUMNS if f"`{column.name}`" not in text]


def test_a_table_takes_its_place_when_it_is_complete(folder: Path) -> None:
    """What fails while it is written leaves the table that was there, and nothing else."""
    (folder / "a.csv").write_text("before")

    def broken() -> Iterator[Any]:
        yield entry(1)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_csv(folder / "a.csv", replace(record(), frames=broken()))  # type: ignore[arg-type]
    assert [path.name for path in folder.iterdir()] == ["a.csv"]
    assert (folder / "a.csv").read_text() == "before"


@pytest.mark.parametrize("name", ["RHS_0001.DNG", "a", "a.session"])
def test_only_a_table_is_written_over(folder: Path, name: str) -> None:
    """A capture or a session named by mistake is left as it is."""
    (folder / name).write_text("a capture")
    for write in (write_csv, write_json):
        with pytest.raises(UsageError, match="not named like its content"):
            write(folder / name, record())
    assert (folder / name).read_text() == "a capture"


def test_a_place_that_cannot_be_written_to_is_said(folder: Path) -> None:
    """The reason and what to do."""
    with pytest.raises(UsageError, match="cannot be written"):
        write_csv(folder / "none" / "a.csv", record())
