"""Commands around the checks: judge plain readings, and tell what the rules are."""

from __future__ import annotations

from typing import Annotated, Literal

import typer

from pipeline.cli_app import ShopFile, command


@command("judge")
def judge(
    readings: Annotated[
        str, typer.Argument(metavar="FILE.csv", help="A table of readings; - reads from standard input.")
    ],
    refrigerant: Annotated[
        str | None, typer.Option("--refrigerant", metavar="NAME", help="What is in the machine: R-404A.")
    ] = None,
    equipment: Annotated[
        str | None, typer.Option("--equipment", metavar="TEXT", help="What kind of machine it is.")
    ] = None,
    altitude_ft: Annotated[
        float | None, typer.Option("--altitude-ft", metavar="FEET", help="The site's height above the sea.")
    ] = None,
    form: Annotated[
        Literal["table", "json"], typer.Option("--as", help="table for people, json for programs.")
    ] = "table",
    shop: ShopFile = None,
) -> None:
    """Judge readings from a table.

    Columns: quantity, subject, role, then any of value, low, high, unit, stage, place, rating, tolerance_minus,
    tolerance_plus, qualifiers. What a rule finds out of tolerance is no fault of the call: its status is 0.
    """
    from pipeline.judge import checks_json, checks_table
    from pipeline.judge import judge as judged
    from pipeline.settings import read_settings
    from pipeline.shop import load_shop

    shop_file = read_settings(shop=shop).shop
    draft = judged(
        readings,
        refrigerant=refrigerant,
        equipment=equipment,
        altitude_ft=altitude_ft,
        shop=load_shop(shop_file) if shop_file is not None else None,
    )
    print((checks_json if form == "json" else checks_table)(draft).rstrip("\n"))


@command("rules")
def rules(
    name: Annotated[
        str | None, typer.Argument(metavar="NAME", help="One rule: what it needs, its limits, their sources.")
    ] = None,
) -> None:
    """List the rules, or tell one."""
    from pipeline.judge import rule_text, rules_table

    print((rule_text(name) if name else rules_table()).rstrip("\n"))
