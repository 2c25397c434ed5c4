"""`benchwater start`: a new workspace with a commented bench.toml and blank logs."""

from pathlib import Path

import click

from benchwater.commands.terminal import Folder, debug_option, plain


@click.command()
@click.argument("folder", type=Folder())
@debug_option
def start(folder: Path) -> None:
    """Make FOLDER a workspace: bench.toml to fill in, blank logs, a place for reports and plugins.

    Files that are already there are left as they are.
    """
    from benchwater.plugin_host.load import load_plugins

    written: list[Path] = []
    kept: list[Path] = []
    texts = {"bench.toml": _template("bench.toml")}
    for kind in load_plugins(None).log_kinds:
        heading = ",".join(column.name for column in kind.columns)
        texts[f"logs/{kind.name}.csv"] = f"{heading}\n"
    for name, text in texts.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists():
            kept.append(path)
        else:
            path.write_text(text, encoding="utf-8", newline="\n")
            written.append(path)
    (folder / "plugins").mkdir(exist_ok=True)
    (folder / "reports").mkdir(exist_ok=True)
    for path in written:
        click.echo(f"Wrote {plain(str(path))}")
    for path in kept:
        click.echo(f"Left as it is: {plain(str(path))}")
    click.echo("Next: say what stands on your bench in bench.toml, add rows to the logs, then")
    click.echo(f"  benchwater check {plain(str(folder))}")


def _template(name: str) -> str:
    from importlib.resources import files

    return (files("benchwater.commands") / "templates" / name).read_text(encoding="utf-8")
