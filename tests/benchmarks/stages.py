"""Processor time of each stage of a whole season report, in one process: python stages.py FOLDER [OUT].

Prints JSON: seconds by stage, `read`, `gather`, each analysis by its id, `html`, `json`, `pdf` (with OUT).
"""

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from time import process_time


def stages(folder: Path, out: Path | None = None) -> dict[str, float]:
    """Seconds by stage. Libraries are imported beforehand, so that they count in none."""
    import pandas  # noqa: F401
    import scipy.stats  # noqa: F401

    from benchwater.analyse.advice import past_actions, rank_actions
    from benchwater.analyse.report import ReportSection
    from benchwater.analyse.run import run_analyses
    from benchwater.analyse.spans import earlier_spans
    from benchwater.pipeline import Request, choose_spans, gather, make_report, read_workspace

    taken: dict[str, float] = {}

    @contextmanager
    def timed(stage: str) -> Iterator[None]:
        begun = process_time()
        yield
        taken[stage] = process_time() - begun

    with timed("read"):
        workspace = read_workspace(folder)
    request = Request(whole_season=True)
    spans = choose_spans(workspace, request)
    with timed("gather"):
        season = gather(workspace.reading, workspace.bench, spans)
    sections: list[ReportSection] = []
    for analysis, plugin in workspace.plugins.analyses:
        with timed(analysis.id):
            sections += run_analyses([(analysis, plugin)], season, spans.parts, on_failure=_refuse)
    with timed("earlier months"):
        earlier = earlier_spans(spans, workspace.bench)
        past = past_actions(
            workspace.plugins.analyses, earlier, partial(gather, workspace.reading, workspace.bench)
        )
    with timed("rank"):
        rank_actions(sections, workspace.bench, spans, past)
    if out is not None:
        from benchwater.render.html import render_html, render_paper
        from benchwater.render.json_twin import render_json
        from benchwater.render.pdf import print_report

        report = make_report(workspace, request)
        with timed("html"):
            render_html(report)
        with timed("paper"):
            paper = render_paper(report)
        with timed("json"):
            twin = render_json(report)
        with timed("pdf"):
            pdf = print_report(paper, twin, report.period.end)
        out.write_bytes(pdf)
    return taken


def _refuse(analysis: str, trace: str) -> None:
    """A section that failed is soon done, and says nothing of speed."""
    raise RuntimeError(f"{analysis} failed:\n{trace}")


if __name__ == "__main__":
    print(json.dumps(stages(Path(sys.argv[1]), Path(sys.argv[2]) if len(sys.argv) > 2 else None)))
