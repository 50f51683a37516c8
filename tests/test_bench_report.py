"""The part of the bench about the report: its session is a real one, and its figures are those of one run."""

from pathlib import Path

from benchmarks import report

from tetherwatch.report.reader import reading
from tetherwatch.report.summary import summarise


def test_the_session_is_as_a_journal_writes_it(tmp_path: Path) -> None:
    """All frames, a tenth of them called and followed, pictures included; its run has ended."""
    report.write_session(tmp_path / "a.session", tmp_path / "captures", 40)
    with reading(tmp_path / "a.session") as reader:
        found = reader.record()
        assert len([each for each in reader.thumbnails(range(1, 41)) if each is not None]) == 40
    summary = summarise(found, in_use=False)
    assert (summary.frames, summary.moves, summary.score.count, summary.broken_off) == (40, 4, 4, 0)


def test_a_report_is_measured_and_judged(tmp_path: Path) -> None:
    """The page of a small session is made in good time; limits are on time and size."""
    report.write_session(tmp_path / "a.session", tmp_path / "captures", 40)
    seconds, memory_mib = report.report(tmp_path / "a.session", tmp_path / "a.html")
    page_mib = (tmp_path / "a.html").stat().st_size / 2**20
    assert 0 < seconds < 60 and 10 < memory_mib < 1000 and 0.05 < page_mib < 2
    assert [row.held for row in report.rows_of(3000, 9.9, 24.9, 300.0)] == [True, True, None]
    assert [row.held for row in report.rows_of(3000, 10.1, 25.1, 300.0)] == [False, False, None]
