"""Finds the rules: every module in rules/ that has a RULE. A module without one is refused."""

from __future__ import annotations

import pkgutil
from functools import cache
from importlib import import_module

from pipeline.checks import rules as package
from pipeline.checks.limits import all_limits
from pipeline.checks.rule import Rule
from pipeline.errors import AuthoringError


@cache
def discover() -> tuple[Rule, ...]:
    """All rules in the order of limits.toml. Raises AuthoringError for a module without RULE or limits."""
    found: dict[str, Rule] = {}
    for module in pkgutil.iter_modules(package.__path__):
        name = f"{package.__name__}.{module.name}"
        rule = getattr(import_module(name), "RULE", None)
        if not isinstance(rule, Rule):
            raise AuthoringError("rule-missing", f"{name} has no RULE.", "Add one, or move the module elsewhere.")
        if rule.name != module.name.replace("_", "-"):
            raise AuthoringError("rule-name", f"{name} holds the rule {rule.name}.", "File and rule share a name.")
        found[rule.name] = rule
    without = set(found) - set(all_limits())
    if without:
        raise AuthoringError("rule-limits", f"limits.toml has no table for {sorted(without)[0]}.", "Add one.")
    return tuple(found[name] for name in all_limits() if name in found)
