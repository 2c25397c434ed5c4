"""The sample report and its three renderings, made once."""

import logging

import pytest

from benchwater.analyse.report import Report
from benchwater.render.html import render_html, render_paper
from render.sample_report import pdf_of, sample_report


@pytest.fixture(scope="session")
def report() -> Report:
    return sample_report()


@pytest.fixture(scope="session")
def html(report: Report) -> str:
    return render_html(report)


@pytest.fixture(scope="session")
def paper(report: Report) -> str:
    return render_paper(report)


@pytest.fixture(scope="session")
def printed(paper: str, report: Report) -> tuple[bytes, list[str]]:
    """The PDF, and every warning WeasyPrint or its font tools logged on the way."""
    said: list[str] = []

    class Listener(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            said.append(record.getMessage())

    listener = Listener(level=logging.WARNING)
    loggers = [logging.getLogger(name) for name in ("weasyprint", "fontTools")]
    for logger in loggers:
        logger.addHandler(listener)
    try:
        return pdf_of(report, paper), said
    finally:
        for logger in loggers:
            logger.removeHandler(listener)
