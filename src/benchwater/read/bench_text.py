"""Writes a bench as the text of bench.toml, and asks the maker what the logs leave open."""

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from benchwater.plugin.bench import Bench, Item
from benchwater.read.bench_file import size_in_ounces
from benchwater.read.bench_items import DIMENSIONS, NOT_KNOWN, STAND_INS, TOLERANCE
from benchwater.read.bench_table import CURRENCY_MARKS, currency_code, to_toml
from benchwater.text import quoted
from benchwater.units import Dimension, QuantityError, read_number, read_quantity

_PACKS = {"metal": "5 lb", "insert": "50", "coat": "4 oz", "plastic": "16 fl oz", "fitting": "25"}


class Question(NamedTuple):
    """A question about the bench: its key among the answers, what is asked, what stands if nothing is said.

    `check` returns the answer as bench.toml writes it; QuantityError or ValueError says what is wrong.
    """

    key: str
    text: str
    default: str
    check: Callable[[str], str]


def questions(bench: Bench, first_month: int) -> list[Question]:
    """What to ask about a bench found in logs, most worth first; `first_month` is that of the first row."""
    items = [item for item in bench.items.values() if item.name not in STAND_INS.values()]
    poured = [item for item in items if item.kind in {"metal", "plastic"}]
    hooks = [item.name for item in items if item.kind == "insert"]
    begins = f"{first_month:02}-01"
    asked = [
        Question("name", "What is this bench called?", bench.name, str),
        Question("currency", "Currency (such as USD, EUR or $)", bench.currency, _currency),
        Question("units", "Units, us or metric", bench.system, _one_of("us", "metric")),
        Question("season", "First day of your season (month-day)", begins, _month_day),
    ]
    for mold in bench.molds.values():
        if mold.material in STAND_INS.values() and poured:
            names = [item.name for item in poured]
            text = f"What do you pour into {mold.name}? ({', '.join(names)}, or {NOT_KNOWN})"
            asked.append(_choice(f"molds.{mold.name}.material", text, names))
    for item in poured:
        if item.kind == "metal" and item.holds_lead is None:
            text = f"Does {item.name} hold lead? (yes, no, or {NOT_KNOWN})"
            asked.append(_choice(f"items.{item.name}.lead", text, ["yes", "no"]))
    for mold in bench.molds.values():
        for cavity in mold.cavities.values():
            place = f"molds.{mold.name}.{cavity.name}"
            if cavity.tolerance == TOLERANCE:
                text = f"What does one casting of {cavity.name} of {mold.name} weigh? (such as 1/4 oz)"
                asked.append(_amount(f"{place}.mass", text, "mass"))
            if hooks:
                names = [*hooks, "none"]
                text = f"Which of {', '.join(names)} goes into {cavity.name} of {mold.name}?"
                asked.append(_choice(f"{place}.insert", text, names))
    for item in items:
        place = f"items.{item.name}"
        text = f"How much is in a pack of {item.name}? (such as {_PACKS[item.kind]})"
        asked.append(_amount(f"{place}.pack", text, DIMENSIONS[item.unit]))
        text = f"And what does that pack cost, in {bench.currency}?"
        asked.append(Question(f"{place}.price", text, NOT_KNOWN, _price))
    return asked


def bench_toml(bench: Bench, answers: Mapping[str, str]) -> str:
    """The bench as bench.toml, with the answers by key; what is not known stands as a comment or as `?`."""
    lines = [
        "# What stands on your bench, as your logs name it. Change it to what is so.",
        '# "?" means: not known yet. Quantities are text with their unit: "3/8 oz", "90 min".',
        *(f"# Note: {note}" for note in bench.fallbacks[1:] if "benchwater start" not in note),
        "",
        "[bench]",
        f"name = {to_toml(answers.get('name', bench.name))}",
        f"currency = {to_toml(answers.get('currency', bench.currency))}",
        f"units = {to_toml(answers.get('units', bench.system))}  # what the report is printed in",
        f"season = {to_toml(answers.get('season', '01-01'))}  # month and day your season begins",
        f'paper = {to_toml(bench.paper)}  # or "a4"',
    ]
    for item in bench.items.values():
        if item.name not in STAND_INS.values():
            lines += _item_lines(item, answers)
    for mold in bench.molds.values():
        material = answers.get(f"molds.{mold.name}.material", NOT_KNOWN)
        material = material if mold.material in STAND_INS.values() else mold.material
        lines += ["", f"[molds.{to_toml(mold.name, key=True)}]", f"material = {to_toml(material)}"]
        lines.append('# price = 42.00  # and metal_mass = "1.9 lb", the mass of the mold itself')
        for cavity in mold.cavities.values():
            place = f"molds.{mold.name}.{cavity.name}"
            known = cavity.tolerance != TOLERANCE
            mass = answers.get(f"{place}.mass", f"{cavity.mass_g:.4g} g" if known else NOT_KNOWN)
            lines += [
                f"[[molds.{to_toml(mold.name, key=True)}.cavities]]",
                f"name = {to_toml(cavity.name)}",
            ]
            if size_in_ounces(cavity.name) is None:
                lines.append(f"mass = {to_toml(mass)}  # of one casting")
            insert = answers.get(f"{place}.insert", NOT_KNOWN)
            if insert != "none" and any(item.kind == "insert" for item in bench.items.values()):
                lines.append(f"insert = {to_toml(insert)}")
    for build in bench.builds.values():
        lines += [
            "",
            f"[builds.{to_toml(build.name, key=True)}]",
            '# head = "MOLD CAVITY"      # what it is made of',
            '# coat = "ITEM"',
            '# fittings = ["ITEM"]',
            "# bought_price = 2.49       # what a comparable one costs in a shop",
        ]
    return "\n".join(lines) + "\n"


def _item_lines(item: Item, answers: Mapping[str, str]) -> list[str]:
    place = f"items.{item.name}"
    lines = ["", f"[items.{to_toml(item.name, key=True)}]", f"kind = {to_toml(item.kind)}"]
    if item.unit != "pieces":
        lines.append(f"unit = {to_toml(item.print_unit)}")
    pack, price = (answers.get(f"{place}.{key}", NOT_KNOWN) for key in ("pack", "price"))
    lines.append(f"pack = {to_toml(pack)}" if pack != NOT_KNOWN else f'# pack = "{_PACKS[item.kind]}"')
    has_price = NOT_KNOWN not in {pack, price}
    lines.append(f"price = {price}" if has_price else "# price = 24.00  # of that pack")
    if item.kind == "metal":
        lead = answers.get(f"{place}.lead", NOT_KNOWN)
        lines.append(
            f"lead = {'true' if lead == 'yes' else 'false'}" if lead != NOT_KNOWN else "# lead = true"
        )
    return lines


def _choice(key: str, text: str, names: Sequence[str]) -> Question:
    return Question(key, text, NOT_KNOWN, _one_of(*names, NOT_KNOWN))


def _one_of(*names: str) -> Callable[[str], str]:
    def check(answer: str) -> str:
        found = next((name for name in names if name.casefold() == answer.strip().casefold()), None)
        if found is None:
            raise ValueError(f"is not one of {quoted(names)}")
        return found

    return check


def _amount(key: str, text: str, dimension: Dimension) -> Question:
    def check(answer: str) -> str:
        if answer.strip() != NOT_KNOWN:
            read_quantity(answer, dimension, default_unit=None)
        return answer.strip()

    return Question(key, text, NOT_KNOWN, check)


def _price(answer: str) -> str:
    if answer.strip() == NOT_KNOWN:
        return NOT_KNOWN
    price = read_number(answer.strip("".join(CURRENCY_MARKS) + " "), decimal_comma=False)
    if price < 0:
        raise QuantityError("is negative")
    return f"{price:.2f}"


def _currency(answer: str) -> str:
    code = currency_code(answer)
    if code is None:
        raise ValueError("is not a currency such as `USD` or `EUR`")
    return code


def _month_day(answer: str) -> str:
    month, dash, day = answer.strip().partition("-")
    if not (dash and month.isdigit() and day.isdigit() and 1 <= int(month) <= 12 and 1 <= int(day) <= 28):
        raise ValueError("is not a month and day such as `03-01`")
    return f"{int(month):02}-{int(day):02}"
