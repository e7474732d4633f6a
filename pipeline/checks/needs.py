"""Which rule needs what, as a table for the developers' manual, made from the rules themselves."""

from __future__ import annotations

from pipeline.checks.registry import discover
from pipeline.checks.rule import Need, Rule

MOST_SUBJECTS = 4


def needs_table() -> str:
    """A Markdown table with a row for each rule: what it judges, what belongs to it, what it asks for."""
    lines = ["| rule | judges | together with | asks for |", "|---|---|---|---|"]
    lines += [_row(rule) for rule in discover()]
    return "\n".join(lines) + "\n"


def _row(rule: Rule) -> str:
    first, *others = rule.needs
    beside = [_need(need) for need in others] + (["refrigerant"] if rule.refrigerant else [])
    asked = [need.missing.format(subject="part") for need in rule.needs if need.missing]
    asked += ["refrigerant"] if rule.refrigerant else []
    machines = f" ({', '.join(rule.kinds)})" if rule.kinds else ""
    return f"| `{rule.name}` | {_need(first)}{machines} | {'; '.join(beside) or '—'} | {'; '.join(asked) or '—'} |"


def _need(need: Need) -> str:
    """`measured voltage of line, L1-L2, …`."""
    subjects = ", ".join(need.subjects[:MOST_SUBJECTS]) + (", …" if len(need.subjects) > MOST_SUBJECTS else "")
    roles = "/".join(role.value for role in need.roles)
    marks = "/".join(sorted(mark.value for mark in need.having))
    of = f" of {'/'.join(need.of)}" if need.of else ""
    words = (roles, marks, need.quantity.value.replace("_", " "))
    return " ".join(word for word in words if word) + of + (f" ({subjects})" if subjects else "")
