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
        name = rule.water.name
        stay = (
            f"leave at home {listed(rule.forbidden, _MOST)}"
            if rule.forbidden
            else "no bait is known to break"
        )
        stay += "" if rule.forbidden else " what you wrote of it"
        yield make_finding(
            "leave_at_home",
            f"{name}: {stay} ({_source(rule)}).",
            (float(len(rule.forbidden)),),
            "1",
            group=name,
        )
        if rule.not_known:
            yield make_finding(
                "lead_not_known",
                f"{name}: whether {listed(rule.not_known, _MOST)} may go there cannot be told: say "
                "`lead = true` or `false` of the metal in bench.toml, and the length of the build if the "
                "rule is about it.",
                (float(len(rule.not_known)),),
                "1",
                group=name,
            )
        if rule.carried:
            days = dict.fromkeys(day for day, _ in rule.carried)
            yield make_finding(
                "carried",
                f"{name}: {counted(len(days), 'day')} carried one of them, last on "
                f"{max(days).day} {MONTHS[max(days).month - 1]} ({rule.carried[-1][1]}).",
                (float(len(days)),),
                "1",
                n=len(days),
                group=name,
            )


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
