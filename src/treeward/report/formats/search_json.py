"""What result.json says of looking for the tree."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from treeward.report.search_told import SearchTold
    from treeward.survey.records import Searched


def told_dict(told: SearchTold | None) -> dict[str, Any] | None:
    """Return what the hunt knows of it: goes at looking, and what was not used."""
    if told is None:
        return None
    how = told.searching
    return {
        "walked_m": round(told.walked_m, 1),
        "spent_s": round(told.spent_s),
        "sweep_width_m": round(how.sweep_width_m, 2),
        "look_m_per_s": round(how.look_mps, 4),
        "walk_m_per_s": round(how.walk_mps, 4),
        "path_m_per_s": round(how.path_mps, 4),
        "bouts": [
            {
                "kind": bout.kind.value,
                "row": bout.row or None,
                "name": bout.name or None,
                "clock": bout.clock.isoformat(timespec="milliseconds")
                if bout.clock
                else None,
                "walked_m": round(bout.walked_m, 1),
                "spent_s": round(bout.spent_s),
            }
            for bout in told.bouts
        ],
        "not_used": [
            {
                "kind": doubt.kind.value,
                "where": doubt.where,
                "count": doubt.count,
                "metres": round(doubt.metres, 1),
                "words": list(doubt.words),
            }
            for doubt in told.doubts
        ],
    }


def searched_dict(looked: Searched | None) -> dict[str, Any] | None:
    """Return what looking has told of a colony, and what looking on would take."""
    if looked is None:
        return None
    sitting = looked.sitting
    return {
        "found_by_now": round(looked.found_by_now, 4),
        "still_inside": round(looked.still_inside, 4),
        "area_before_ha": round(looked.before_area.area_m2 / 1e4, 4),
        "ground_used": looked.ground_used,
        "mean_s": round(looked.mean_s),
        "plan_s": round(looked.plan_s),
        "plan_finds": round(looked.plan_finds, 4),
        "sitting": {
            "minutes": round(sitting.minutes),
            "walk_s": round(sitting.walk_s),
            "set_up_s": round(sitting.set_up_s),
            "search_s": round(sitting.search_s),
            "after_s": round(sitting.after_s),
            "saved_s": round(sitting.saved_s),
        }
        if sitting
        else None,
    }
