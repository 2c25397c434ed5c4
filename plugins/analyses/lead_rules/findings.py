"""What to leave at home, by whose rule, in words."""

from collections.abc import Iterator, Sequence

from benchwater.plugin import Action, Finding
from benchwater.words import MONTHS, counted, listed, make_finding

from .compute import WaterRule

METHODS = (
    "Only what bench.toml says of a water under [waters] is applied, with where and when it was read. It is "
    "not checked here: local rules change, and they alone say what is allowed. Notes are used as written.",
)
_MOST = 8


def findings(rules: Sequence[WaterRule]) -> Iterator[Finding]:
    """Of each water what stays at home, and the days that carried such a bait."""
    for rule in rules:
        stay = "no bait is known to break what you wrote of it"
        if rule.forbidden:
            stay = f"leave at home {listed(rule.forbidden, _MOST)}"
        told: list[tuple[str, int, str, int | None]] = [
            ("leave_at_home", len(rule.forbidden), f"{stay} ({_source(rule)})", None)
        ]
        if rule.not_known:
            text = (
                f"whether {listed(rule.not_known, _MOST)} may go there cannot be told: say `lead = true` or "
            )
            text += "`false` of the metal in bench.toml, and the length of the build if the rule is about it"
            told.append(("lead_not_known", len(rule.not_known), text, None))
        if rule.carried:
            days, (last, build) = len({day for day, _ in rule.carried}), rule.carried[-1]
            text = f"{counted(days, 'day')} carried one of them, last on {last.day} "
            told.append(("carried", days, f"{text}{MONTHS[last.month - 1]} ({build})", days))
        name = rule.water.name
        for id, value, text, n in told:
            yield make_finding(id, f"{name}: {text}.", (float(value),), "1", n=n, group=name)


def actions(rules: Sequence[WaterRule]) -> Iterator[Action]:
    """Leave them at home where a trip carried one."""
    for rule in rules:
        if rule.carried:
            yield Action(
                id=f"leave-at-home:{rule.water.name}",
                text=f"Leave {listed(rule.forbidden, _MOST)} at home when you go to {rule.water.name}.",
                because=f"You wrote that lead may not go there ({_source(rule)}). Ask there if unsure.",
                urgent=True,
            )


def _source(rule: WaterRule) -> str:
    day = rule.water.read_on
    return f"{rule.water.rule}, as you read it on {day.day} {MONTHS[day.month - 1]} {day.year}"
