"""The reference for a report: import the libraries it uses, and print the finished HTML. HTML PDF"""

import sys

import click  # noqa: F401
import jinja2  # noqa: F401
import numpy  # noqa: F401
import pandas  # noqa: F401
import pluggy  # noqa: F401
import scipy.optimize
import scipy.special  # noqa: F401
import weasyprint

weasyprint.HTML(filename=sys.argv[1]).write_pdf(sys.argv[2], pdf_variant="pdf/ua-1")
