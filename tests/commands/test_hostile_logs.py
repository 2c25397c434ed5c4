"""Whatever a log says is text, wherever it turns up: page, PDF, JSON, terminal."""

import json
import logging
from html.parser import HTMLParser

import pytest
from pypdf import PdfReader

from command_line import run
from small_bench import SMALL_BENCH

NASTY = [
    "<script>alert(1)</script>",
    "<img src=http://192.0.2.1/x.png onerror=alert(1)>",
    "</style><style>@import 'http://192.0.2.1/y.css';</style>",
    "<link rel=attachment href=file:///etc/passwd>",
    "{{ 7*7 }}{% for x in range(10**9) %}{% endfor %}",
    "{{ cycler.__init__.__globals__ }}",
    "]]></svg><svg onload=alert(1)>",
    "$\\frac{1}{0}$ $HOME `rm -rf`",
    '=HYPERLINK("http://192.0.2.1")',
    "@SUM(1+1)|cmd",
    "\x1b]0;owned\x07\x1b[2J",
    "\u202egnp.exe\u2066",
    "../../etc/passwd",
    "A" * 1900,
    "%s%n{0}{0.__class__}",
    "-- \x00 \ud7ff \ufdd0",
]


class Tags(HTMLParser):
    """The tags of a page and their attributes."""

    def __init__(self):
        super().__init__()
        self.names = set()
        self.attributes = []

    def handle_starttag(self, tag, attrs):
        self.names.add(tag)
        self.attributes += [(name, value or "") for name, value in attrs]


def quoted(text):
    return '"' + text.replace('"', '""') + '"'


@pytest.mark.slow
def test_hostile_text_anywhere_in_a_log_stays_text_and_fetches_nothing(tmp_path, caplog):
    bench = SMALL_BENCH.replace('"Small bench"', '"<b>{{ 7*7 }}</b> & </title><script>x</script>"')
    (tmp_path / "bench.toml").write_text(bench)
    logs = tmp_path / "<img src=x onerror=alert(1)> {{ 7*7 }}"
    logs.mkdir()
    baits, fish, pour = [], [], []
    for day, text in enumerate(NASTY, start=1):
        clean = text.replace("\x00", "")
        date = f"2026-05-{day:02}"
        for fate, cause in (("lost", "snag"), ("kept", "")):
            cells = [date, "perch-grub", "2 h", fate, cause, quoted(clean[:300]), quoted(clean[:200])]
            baits.append(",".join([*cells, "", quoted(clean)]))
        fish.append(f"{date},{quoted(clean[:200])},perch-grub,9 in,{quoted(clean[:100])}")
        pour.append(f"{date},{quoted(clean)},1/8,good,{quoted(clean)}")
        pour.append(f"{date},round-jig,1/8,good,{quoted(clean)}")
    header = "date,build,fished,fate,cause,water,habitat,bait,note"
    (logs / "b&<i>.csv").write_text("\n".join([header, *baits]))
    (logs / "fish.csv").write_text("\n".join(["date,species,build,length,water", *fish]))
    (logs / "pour.csv").write_text("\n".join([f"date,mold,cavity,outcome,{quoted(NASTY[0])}", *pour]))
    (logs / "binary.csv").write_bytes(b"\x00" * 100)
    with caplog.at_level(logging.WARNING):
        outcome = run("report", tmp_path)
    assert (outcome.status, "binary.csv was read" in outcome.err) == (1, True), outcome.err
    assert not [record for record in caplog.records if record.name.startswith("weasyprint")]
    assert "\x1b" not in outcome.out + outcome.err + run("check", tmp_path).out
    made = tmp_path / "reports" / "2026-05"
    html = (made / "season-report.html").read_text(encoding="utf-8")
    page = Tags()
    page.feed(html)
    assert not {"script", "iframe", "link", "object", "embed", "base", "form"} & page.names
    assert not [name for name, _ in page.attributes if name.startswith("on")]
    assert all(value.startswith("#") for name, value in page.attributes if name == "href")
    assert all(value.startswith("data:") for name, value in page.attributes if name == "src")
    assert "alert(1)" in html, "the text itself is kept"
    assert "\x1b" not in html
    assert "\u202e" not in html
    twin = json.loads((made / "season-report.json").read_text(encoding="utf-8"))
    assert len(twin["set_aside"]) == len(NASTY), "one unknown mold a text"
    assert "49" not in twin["bench"]
    reader = PdfReader(made / "season-report.pdf")
    attached = list(reader.attachments)
    assert attached[0] == "season-report.json"
    assert all(name.endswith(".csv") and not set(name) & set("/\\<>*") for name in attached[1:])
    text = "".join(page.extract_text() for page in reader.pages)
    assert "root:x" not in text
    assert reader.metadata is not None
    assert "{{ 7*7 }}" in str(reader.metadata.title)


def test_a_long_list_of_bad_rows_is_cut_on_the_page_and_whole_in_the_json(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    rows = "\n".join(f"2026-05-01,no-such-mold-{number},1/8,good" for number in range(700))
    (tmp_path / "pour.csv").write_text(f"date,mold,cavity,outcome\n{rows}\n2026-05-02,round-jig,1/8,good\n")
    assert run("report", tmp_path, "--only", "material_balance").status == 0
    made = tmp_path / "reports" / "2026-05"
    html = (made / "season-report.html").read_text(encoding="utf-8")
    assert html.count("no-such-mold") <= 350
    assert "And 400 more rows in season-report.json" in html
    assert len(json.loads((made / "season-report.json").read_text(encoding="utf-8"))["set_aside"]) == 700


@pytest.mark.parametrize(
    ("key", "told"),
    [
        (f"price = {'9' * 400}", "a number of 0 or more and at most 1e+12 is needed"),
        (f"price = {'9' * 5000}", "bench.toml cannot be read"),
        (f"price = {'[' * 5000}{']' * 5000}", "brackets are nested too deep"),
        ("price = 1e300", "a number of 0 or more and at most 1e+12 is needed\n"),
        ('melts = "0 K"', 'melts` is 0 K, and metal is solid on the bench; write it as `melts = "247 degC"`'),
        ("[plan]\nservice_level = 0", "is 0, and must be more; write it as `service_level = 0.90`"),
    ],
)
def test_a_bench_file_of_monstrous_values_is_refused_in_a_sentence(tmp_path, key, told):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH.replace("price = 11.0", key, 1))
    outcome = run("check", tmp_path)
    assert (outcome.status, told in outcome.err) == (2, True), outcome.err[-500:]


def test_a_few_rows_dated_long_after_all_others_are_asked_about(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    rows = "date,mold,cavity,outcome\n2026-05-02,round-jig,1/8,good\n2126-05-02,round-jig,1/8,good\n"
    (tmp_path / "pour.csv").write_text(rows)
    out = run("check", tmp_path).out
    assert "pour.csv, line 3 is dated 2126-05-02, long after every other row" in out
    (tmp_path / "pour.csv").write_text(rows.replace("2126", "2027"))
    assert "is the year right" not in run("check", tmp_path).out
