"""A folder of logs without bench.toml: the bench is what the logs name."""

import pytest

from benchwater.pipeline import Request, make_report, read_workspace
from benchwater.read.bench_file import BenchError
from small_bench import write_files

POURS = "date,mold,cavity,outcome,count,mold_temp,mass\n" + "".join(
    f"2026-05-{day:02},round-jig,{cavity},{outcome},{count},300 F,{mass}\n"
    for day in range(1, 11)
    for cavity, outcome, count, mass in (
        ("1/8", "good", 8, "28.4 g"), ("1/8", "reject", 1, ""), ("ball", "good", 4, "24 g"),
    )
)  # fmt: skip
STOCK = (
    "date,item,move,amount,cost\n2026-05-01,lead,received,5 lb,$24.00\n"
    "2026-05-01,lead,counted,9 lb,\n2026-05-01,2/0 hook,received,100,$11\n2026-05-30,lead,counted,8 lb,\n"
    "2026-05-01,black powder,received,4 oz,$9\n"
)
FISHED = "date,build,fished,fate\n2026-05-20,Perch Grub,2 h,kept\n2026-05-21,perch-grub,1:30,lost\n"
LOGS = {"pour.csv": POURS, "stock.csv": STOCK, "fished.csv": FISHED}


def written(folder, logs=LOGS):
    return write_files(folder, logs)


def test_molds_cavities_items_and_builds_are_what_the_logs_name(tmp_path):
    workspace = read_workspace(written(tmp_path))
    bench = workspace.bench
    assert not workspace.reading.set_aside
    assert (bench.system, bench.currency) == ("us", "USD")
    assert {name: (item.kind, item.unit, item.print_unit) for name, item in bench.items.items()} == {
        "lead": ("metal", "g", "lb"),
        "2/0 hook": ("insert", "pieces", "pieces"),
        "black powder": ("coat", "g", "oz"),
    }
    mold = bench.molds["round-jig"]
    assert mold.material == "lead"
    assert mold.cavities["1/8"].mass_g == pytest.approx(3.543690390625)
    assert mold.cavities["ball"].mass_g == pytest.approx(6.0)
    assert len(bench.builds) == 1
    assert len(workspace.reading.tables["fishing"]) == 2


def test_a_spelling_of_few_rows_near_one_of_many_is_asked_about(tmp_path):
    odd = "2026-05-12,rond-jig,1/8,good,2,,\n"
    workspace = read_workspace(written(tmp_path, {**LOGS, "pour.csv": POURS + odd}))
    assert list(workspace.bench.molds) == ["round-jig"]
    assert any("`rond-jig` and 30 `round-jig`: is it the same?" in note for note in workspace.bench.fallbacks)
    (refused,) = workspace.reading.set_aside
    assert refused.value == "rond-jig"


def test_no_balance_is_made_of_what_may_have_gone_into_castings_unseen(tmp_path):
    more = "2026-05-02,2/0 hook,counted,100,\n2026-05-30,2/0 hook,counted,20,\n"
    folder = written(tmp_path, {**LOGS, "stock.csv": STOCK + more})
    workspace = read_workspace(folder)
    made = make_report(workspace, Request(month="2026-05"))
    parts = [part.section for section in made.sections for part in section.parts]
    said = [each.text for part in parts for each in part.findings]
    said += [each.text for part in parts for each in part.actions]
    assert not any("hook" in text and "missing" in text for text in said)
    assert not made.failed
    assert any("`insert` of each cavity" in note for note in workspace.bench.fallbacks)


def test_a_folder_without_bench_and_logs_says_how_to_begin(tmp_path):
    (tmp_path / "shopping.csv").write_text("eggs,milk\n1,2\n", encoding="utf-8")
    with pytest.raises(BenchError, match="benchwater start FOLDER"):
        read_workspace(tmp_path)


def test_a_metric_bench_is_told_by_its_units(tmp_path):
    stock = STOCK.replace("5 lb,$24.00", "2 kg,24 €").replace("9 lb", "4 kg").replace("8 lb", "3.6 kg")
    pours = POURS.replace("300 F", "150 C")
    bench = read_workspace(written(tmp_path, {"a.csv": pours, "b.csv": stock.replace("$", "€")})).bench
    assert (bench.system, bench.currency) == ("metric", "EUR")


def test_a_bench_file_that_only_says_how_to_read_leaves_the_bench_to_the_logs(tmp_path):
    (tmp_path / "bench.toml").write_text('[logs]\nsame_as_above = ["a.csv"]\n', encoding="utf-8")
    rows = "date,mold,cavity,outcome,count\n2026-05-01,ball,1/8,good,9\n,ball,1/8,reject,1\n"
    (tmp_path / "a.csv").write_text(rows, encoding="utf-8")
    workspace = read_workspace(tmp_path)
    assert list(workspace.bench.molds) == ["ball"]
    assert len(workspace.reading.tables["pour"]) == 2


def test_an_item_of_which_fluid_ounces_are_written_is_kept_by_volume(tmp_path):
    rows = ("2026-05-01,plastisol,received,16 fl oz", "2026-05-30,plastisol,counted,8 fl oz")
    stock = "\n".join(("date,item,move,amount", *rows))
    workspace = read_workspace(written(tmp_path, {"stock.csv": stock}))
    assert (workspace.bench.items["plastisol"].unit, workspace.reading.set_aside) == ("mL", ())
    assert workspace.reading.tables["inventory"]["amount"].tolist() == pytest.approx([473.2, 236.6], abs=0.1)
