from benchwater.schedule.log_file import add_lines


def test_each_line_is_stamped_and_the_file_never_grows_beyond_two_of_a_bounded_size(tmp_path):
    log = tmp_path / "new" / "due.log"
    for number in range(200):
        add_lines(log, [f"run {number}\nsecond line"], stamp="2026-06-01 06:30", most_bytes=1_000)
    files = sorted(path.name for path in log.parent.iterdir())
    assert files == ["due.log", "due.old.log"]
    assert all(path.stat().st_size < 1_100 for path in log.parent.iterdir())
    assert log.read_text().splitlines()[-2:] == [
        "2026-06-01 06:30  run 199",
        "2026-06-01 06:30  second line",
    ]
