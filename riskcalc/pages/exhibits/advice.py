"""What to do before buying: the most decisive input that somebody can check."""

from __future__ import annotations

from riskcalc.pages.figures import UNKNOWN, capital, lower, percent, say
from riskcalc.types import Figures

#: What to do before buying, by the start of the key that decides most. Inputs nobody can check are not here.
ADVICE = (
    ("kit.ageing.electronics_life", "Ask how long the electronics are under warranty, and what a repair costs."),
    ("kit.ageing", "Ask what capacity the maker guarantees for the battery, and for how many years."),
    ("kit.inverter.idle", "Ask what the unit itself draws while it is switched on."),
    ("kit.battery.capacity", "Ask for the usable capacity of the battery, not the nominal one."),
    ("kit", "Compare this figure with the datasheet of the kit you are offered: {input}."),
    ("purchase.resale", "Look up what used kits of this kind sell for."),
    ("purchase", "Get a written quote for the kit, with installation and every extra."),
    (
        "home.annual_use",
        "Read your yearly use from the last bill. If you have no bill, write down your use for a month.",
    ),
    ("home.surfaces", "Watch the place for shade over a whole sunny day."),
    ("home.car", "Think through when and how often the car charges at home."),
    ("home", "Check this in your own home: {input}."),
    ("tariff", "Read the prices per kWh from your own contract."),
    ("tenure.permission", "Ask for permission in writing before you order."),
    (
        "luck.tenure",
        "Ask for permission in writing, and think through how long you will stay and what happens at a move.",
    ),
    ("tenure", "Think through how long you will stay, and what happens to the kit at a move."),
    ("outages", "Ask your network operator how often and how long the supply fails."),
)
#: The same where no supplier sends a bill.
OFF_GRID_ADVICE = (
    ("home.annual_use", "List what you want to run there, with its watts and its hours a day."),
    ("tariff", "Work out what a kWh costs you there today, with fuel and wear."),
)


def check_first(figures: Figures) -> str:
    """Return the one thing to check before buying: the most decisive input that somebody can check."""
    for row in figures["ranking"]:
        share = row.get("share_of_variance", {}).get("value") or 0.0
        if "effect" not in row or share < 0.005:
            continue
        off_grid = figures.get("page", {}).get("coupling") == "off_grid"
        for start, advice in (*(OFF_GRID_ADVICE if off_grid else ()), *ADVICE):
            if row["key"].startswith(start):
                message = "{advice} {input} decides {share} of what separates good futures from bad ones."
                said, name = say(advice, input=lower(row["label"])), capital(row["label"])
                return say(message, advice=said, input=name, share=percent(share, se=UNKNOWN))
    return ""
