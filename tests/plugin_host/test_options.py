import pytest

from benchwater.pipeline import read_workspace
from benchwater.plugin_host.load import load_plugins
from benchwater.plugin_host.options import OptionError
from benchwater.testing import make_season
from command_line import run
from small_bench import SMALL_BENCH

PLUGIN = """
from benchwater.plugin import Analysis, Finding, Option, Section, hookimpl

def analyse(season, span):
    return Section.empty(f"The options are {dict(season.options('rainy'))}.")

@hookimpl
def analyses():
    return [
        Analysis(
            id="rainy", title="T", question="Q?", order=1, analyse=analyse,
            options=(
                Option(name="least", meaning="trips at least", kind="whole", default=5, least=1, most=9),
                Option(name="share", meaning="a share", kind="number"),
                Option(name="cold", meaning="what counts as cold", kind="temperature", default=10.0),
                Option(name="by", meaning="by what", kind="word", words=("water", "build"), default="water"),
                Option(name="waters", meaning="only these", kind="texts", default=()),
                Option(name="loud", meaning="say everything", kind="yes_no", default=False),
            ),
        ),
        Analysis(id="plain", title="T", question="Q?", order=2, analyse=analyse),
    ]
"""
OF_NO_HOOK = """
@hookimpl
def report_options():
    return [Option(name="to", meaning="whom to tell", kind="text")]

@hookimpl
"""
DEFAULTS = {"least": 5, "share": None, "cold": 10.0, "by": "water", "waters": (), "loud": False}


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "plugins").mkdir()
    (tmp_path / "plugins" / "rainy.py").write_text(PLUGIN)
    (tmp_path / "plugins" / "tells.py").write_text(
        "from benchwater.plugin import hookimpl\n\n@hookimpl\ndef report_written(report):\n    pass\n"
    )
    return tmp_path


def options(folder, toml):
    (folder / "bench.toml").write_text(SMALL_BENCH + toml)
    return read_workspace(folder).bench.plugin_options["rainy"]


def test_an_analysis_gets_every_option_it_declares_defaults_filled_in(folder):
    assert options(folder, "") == DEFAULTS
    said = 'least = 2\nshare = 0.5\ncold = "50 F"\nby = "build"\nwaters = ["Mill Reach"]\nloud = true\n'
    assert options(folder, f"[plugins.rainy]\n{said}") == {
        "least": 2,
        "share": 0.5,
        "cold": pytest.approx(10.0),
        "by": "build",
        "waters": ("Mill Reach",),
        "loud": True,
    }


@pytest.mark.parametrize(
    ("toml", "words"),
    [
        ("[plugins.rainy]\nlest = 2\n", ["line {2}", "`plugins.rainy.lest`", "did you mean `least`?"]),
        ("[plugins.rainy]\nleast = 0\n", ["line {2}", "whole number from 1 to 9", "trips at least"]),
        ("[plugins.rainy]\nleast = 2.5\n", ["2.5", "whole number"]),
        ("[plugins.rainy]\nleast = true\n", ["True", "whole number"]),
        ("[plugins.rainy]\nshare = inf\n", ["inf", "a number is needed"]),
        ("[plugins.rainy]\ncold = 50\n", ["50", "a temperature with its unit"]),
        ('[plugins.rainy]\ncold = "5 g"\n', ["`5 g`", "not a unit of temperature"]),
        ('[plugins.rainy]\nby = "species"\n', ["'species'", "`water`, `build`"]),
        ("[plugins.rainy]\nwaters = [1]\n", ["a list of texts"]),
        ("[plugins.rainy]\nloud = 1\n", ["true or false"]),
        ("[plugins.plain]\nleast = 2\n", ["`plugins.plain.least`", "takes no options"]),
        ("[plugins.finishing]\nleast = 2\n", ["`finishing` takes no options"]),
        ('[plugins.copy_report]\nfoldr = "x"\n', ["line {2}", "`plugins.copy_report.foldr`", "`folder`?"]),
        ("[plugins.copy_report]\nfolder = 7\n", ["line {2}", "a text in quotation marks"]),
        ("[plugins.tells]\nto = 1\n", ["line {2}", "`tells` takes no options"]),
        ("[plugins.pour]\nto = 1\n", ["line {1}", "`pour` takes no options"]),
        ("[plugins.rayny]\nleast = 2\n", ["line {1}", "`plugins.rayny`", "did you mean `rainy`?"]),
    ],
)
def test_an_option_that_cannot_be_meant_is_told_by_key_line_and_what_is_near(folder, toml, words):
    with pytest.raises(OptionError) as refusal:
        options(folder, toml)
    for word in words:
        for number in (1, 2):
            word = word.replace(f"{{{number}}}", str(SMALL_BENCH.count("\n") + number))
        assert word in str(refusal.value)


@pytest.mark.parametrize("command", ["report", "check", "plugins"])
def test_commands_end_with_2_at_an_option_that_cannot_be_meant(folder, command):
    (folder / "bench.toml").write_text(SMALL_BENCH + "[plugins.rainy]\nlest = 2\n")
    outcome = run(command, folder)
    assert outcome.status == 2
    assert "did you mean `least`?" in outcome.err


@pytest.mark.parametrize(
    ("off", "words"),
    [
        ("defect_rat", ["line {1}", "`plugins.off` names `defect_rat`", "did you mean `defect_rate`?"]),
        ("pour", ["no such plugin or analysis", "did you mean `ingest.pour`?"]),
        ("rainy.py", ["did you mean `rainy`?"]),
        ("of my own", ["`benchwater plugins` lists them"]),
    ],
)
def test_a_name_switched_off_that_nothing_has_is_told_by_line_and_what_is_near(folder, off, words):
    toml = SMALL_BENCH + f'[plugins]\noff = ["plain", "{off}"]\n'
    (folder / "bench.toml").write_text(toml)
    with pytest.raises(OptionError) as refusal:
        read_workspace(folder)
    for word in words:
        assert word.replace("{1}", str(toml.count("\n"))) in str(refusal.value)


@pytest.mark.parametrize("off", ["rainy", "plain", "analyses.defect_rate", "defect_rate", "copy_report"])
def test_a_plugin_an_analysis_and_a_hook_may_be_switched_off_by_name(folder, off):
    (folder / "bench.toml").write_text(SMALL_BENCH + f'[plugins]\noff = ["{off}"]\n')
    plugins = read_workspace(folder).plugins
    assert off in plugins.left_out
    assert off not in {analysis.id for analysis, _ in plugins.analyses}
    assert off not in {plugin.id for plugin in plugins.loaded if plugin.report_written is not None}


def test_a_name_switched_off_may_be_that_of_a_plugin_left_out_or_broken(folder):
    (folder / "bench.toml").write_text(SMALL_BENCH + '[plugins]\noff = ["rainy"]\n')
    assert not read_workspace(folder, workspace_plugins=False).plugins.left_out
    (folder / "bench.toml").write_text(SMALL_BENCH + '[plugins]\noff = ["plain"]\n')
    (folder / "plugins" / "rainy.py").write_text("1/0\n")
    assert read_workspace(folder).plugins.problems


def test_options_of_what_is_switched_off_left_out_or_broken_do_no_harm(folder):
    (folder / "bench.toml").write_text(SMALL_BENCH + "[plugins.rainy]\nleast = 2\n")
    assert "rainy" in read_workspace(folder, workspace_plugins=False).bench.plugin_options
    (folder / "bench.toml").write_text(
        SMALL_BENCH + '[plugins]\noff = ["rainy"]\n[plugins.rainy]\nleast = 2\n'
    )
    assert not read_workspace(folder).plugins.problems
    (folder / "bench.toml").write_text(
        SMALL_BENCH + '[plugins]\noff = ["copy_report"]\n[plugins.copy_report]\nfolder = "drive"\n'
    )
    assert not read_workspace(folder).plugins.problems
    (folder / "bench.toml").write_text(SMALL_BENCH + "[plugins.rainy]\nleast = 2\n")
    (folder / "plugins" / "rainy.py").write_text("1/0\n")
    assert read_workspace(folder).plugins.problems


def test_the_test_kit_hands_out_the_same_options(folder):
    made = make_season(
        SMALL_BENCH + "[plugins.rainy]\nleast = 3\n",
        {},
        month="2026-05",
        plugins=[folder / "plugins" / "rainy.py"],
    )
    assert made.section("rainy").why == f"The options are {DEFAULTS | {'least': 3}}."
    with pytest.raises(KeyError, match="plugins="):
        make_season(SMALL_BENCH, {}, month="2026-05").season.options("rainy")


@pytest.mark.parametrize(
    ("written", "instead", "words"),
    [
        ("@hookimpl\n", OF_NO_HOOK, ["not `report_written`"]),
        ('name="least"', 'name="at least"', ["'at least'", "plain name"]),
        ('name="share"', 'name="least"', ["declared twice"]),
        ("default=5, least=1", "default=0, least=1", ["'least'", "default", "from 1 to 9"]),
        ('words=("water", "build"), ', "", ["'by'", "no `words`"]),
    ],
)
def test_an_option_that_makes_no_sense_is_refused_with_its_plugin(folder, written, instead, words):
    (folder / "plugins" / "rainy.py").write_text(PLUGIN.replace(written, instead))
    (problem,) = load_plugins(folder).problems
    for word in words:
        assert word in problem.why


def test_plugins_lists_each_option_with_its_meaning_and_what_it_is_left_out(folder):
    (folder / "bench.toml").write_text(SMALL_BENCH)
    listed = run("plugins", folder).out
    assert "option least: trips at least (left out: 5)" in listed
    assert "option folder: where each report's PDF is copied to" in listed
