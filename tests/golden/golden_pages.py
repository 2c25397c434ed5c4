"""The golden pages of the demo: printed, compared as the eye would, and written again by running this.

    .venv/bin/python tests/tasks.py golden

writes the pictures here, and `sample-season-report.pdf` and `sample-page.png` in reports/.
"""

import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image, ImageChops, ImageFilter, ImageStat
from pypdf import PdfReader

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
DEMO = ROOT / "sample_logs"
DPI, SAMPLE_DPI = 48, 110
SECTIONS = ("Bad castings", "What became of the baits", "What each bait cost", "Appendix: the logs")
MOST_APART, MOST_OF_IT, FAR = 3.0, 0.02, 40


def print_demo(folder: Path) -> Path:
    """The PDF of the demo's season, made by the command a maker would type."""
    command = [sys.executable, "-m", "benchwater", "report", str(DEMO), "--season", "--out", str(folder)]
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    if done.returncode:
        said = f"{shlex.join(command)} ended with {done.returncode} and said:\n{done.stdout}{done.stderr}"
        raise RuntimeError(said)
    return next(folder.glob("*/season-report.pdf"))


def chosen_pages(pdf: Path) -> dict[str, int]:
    """The pages that are looked at, by name: the first two, and those on which some sections begin."""
    reader = PdfReader(pdf)
    pages = {"front": 1, "second": 2}
    for entry in reader.outline:
        title = "" if isinstance(entry, list) else str(entry.title)
        number = None if isinstance(entry, list) else reader.get_destination_page_number(entry)
        if title in SECTIONS and number is not None:
            pages[re.sub("[^a-z]+", "-", title.lower())] = number + 1
    return pages


def pictures(pdf: Path, numbers: Iterable[int], dpi: int = DPI) -> list[Image.Image]:
    """The pages as pictures, by pdftoppm."""
    made = []
    for number in numbers:
        command = ["pdftoppm", "-r", str(dpi), "-f", str(number), "-l", str(number), "-png", str(pdf)]
        with TemporaryDirectory() as folder:
            subprocess.run([*command, str(Path(folder, "page"))], check=True, capture_output=True)
            with Image.open(next(Path(folder).glob("page*.png"))) as picture:
                made.append(picture.convert("RGB"))
    return made


def apart(one: Image.Image, other: Image.Image) -> tuple[float, float]:
    """How far two pages are apart to the eye: the mean difference (of 255), and how much differs much."""
    if one.size != other.size:
        return 255.0, 1.0
    soft = [picture.filter(ImageFilter.GaussianBlur(1.6)) for picture in (one, other)]
    difference = ImageChops.difference(*soft).convert("L")
    far = difference.point(lambda value: 255 if value > FAR else 0)
    return ImageStat.Stat(difference).mean[0], ImageStat.Stat(far).mean[0] / 255


def alike(one: Image.Image, other: Image.Image) -> bool:
    """Whether nobody would say that the two pages look different."""
    mean, much = apart(one, other)
    return mean <= MOST_APART and much <= MOST_OF_IT


def main() -> None:
    """Write the golden pages and the sample again."""
    with TemporaryDirectory() as folder:
        pdf = print_demo(Path(folder))
        pages = chosen_pages(pdf)
        for old in HERE.glob("*.png"):
            old.unlink()
        for name, picture in zip(pages, pictures(pdf, pages.values()), strict=True):
            picture.quantize(64).save(HERE / f"{name}.png", optimize=True)
        (sample,) = pictures(pdf, [1], SAMPLE_DPI)
        sample.quantize(96).save(ROOT / "reports/sample-page.png", optimize=True)
        shutil.copyfile(pdf, ROOT / "reports/sample-season-report.pdf")


if __name__ == "__main__":
    main()
