"""The cautions that the tool carries: README, report and first run of listen.

In general words, deferring to local law and licensed practice; not medical advice.
Numbers: bee, wasp and hornet stings killed 788 people in the USA in 2011-2021, 72 a
year (CDC, MMWR 2023;72:756).
"""

from __future__ import annotations

# Said wherever a place to go to is named: nothing here knows what lies there.
LOOK_FIRST = (
    "It may be anybody's land, water or a cliff: look first, and ask before you enter."
)

CAUTIONS: tuple[tuple[str, str], ...] = (
    (
        "Stings can kill",
        (
            "If you have ever reacted badly to a sting, do not do this alone, and "
            "carry what your doctor told you to carry. Swelling of face or tongue, "
            "trouble with breathing, dizziness or collapse: call the emergency number "
            "at once. Treeward gives no medical advice."
        ),
    ),
    (
        "Ask first",
        "Get the landowner's permission before you enter or place a station.",
    ),
    (
        "It may be somebody's",
        (
            "A line may end at a beekeeper's hive, and wild colonies, trees and places "
            "may be protected. Finding a colony gives no right to open, move, take or "
            "harm it; removal belongs to qualified people under local law. Do not "
            "publish its place without consent."
        ),
    ),
    ("Stay on the ground", "Do not climb or cut to reach a nest."),
    (
        "Leave nothing sweet",
        "No open syrup left behind: it spreads bee disease and starts robbing.",
    ),
)
