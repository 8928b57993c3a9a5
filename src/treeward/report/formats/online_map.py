"""online-map.html: the map over pictures from a map server, for those who ask for it.

Of all that Treeward writes only this page asks the network for anything, and only
`treeward locate --online-map` writes it. It loads the pictures in sight and no more,
and says whose they are, as OpenStreetMap's tile usage policy wants it
(operations.osmfoundation.org/policies/tiles).
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import numpy as np
from markupsafe import Markup

from treeward.report.figures.map import map_frame, map_place
from treeward.report.page.page import environment, map_key, read_template, script_rule
from treeward.report.wording import headline

if TYPE_CHECKING:
    from collections.abc import Mapping

    from treeward.report.figures.map import Form
    from treeward.report.model import HuntResult
    from treeward.survey.frame import LocalFrame

DEEPEST = 19  # zoom of the finest pictures that OpenStreetMap's own server has


def mercator(latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
    """Return where a place lies on the square map of the world, 0 to 1 both ways.

    From the west at 180 degrees and from the north at 85.05 degrees, on a sphere: the
    projection that map tiles are cut from (EPSG:3857).

    Examples
    --------
    >>> mercator(0.0, 0.0)
    (0.5, 0.5)
    """
    turn = np.arctanh(np.sin(np.radians(latitude_deg))) / (2 * np.pi)
    return longitude_deg / 360 + 0.5, float(0.5 - turn)


def lie_of(result: HuntResult, frame: LocalFrame, form: Form) -> str:
    """Say how the world's square map lies on a drawing.

    Returns
    -------
    str
        Eight numbers: left, top, width and height of the map on the drawing, in its
        own units; then place and size of the world's map across, and down. Within the
        few kilometres of a hunt this straight rule is off by less than a metre.
    """
    place = map_place(result, frame, form)
    extent = place.extent
    corners = frame.to_lonlat(
        np.array(
            [[extent.west_m, extent.south_m], [extent.east_m, extent.south_m],
             [extent.west_m, extent.north_m], [extent.east_m, extent.north_m]]
        )
    )  # fmt: skip
    first = corners[0, 0]
    turned = (corners[:, 0] - first + 180) % 360 - 180 + first
    square = np.array(
        [mercator(lat, lon) for lon, lat in zip(turned, corners[:, 1], strict=True)]
    )
    west, east = square[[0, 2], 0].mean(), square[[1, 3], 0].mean()
    north, south = square[[2, 3], 1].mean(), square[[0, 1], 1].mean()
    across, down = place.width / (east - west), place.height / (south - north)
    numbers = (
        place.left, place.top, place.width, place.height,
        place.left - west * across, across, place.top - north * down, down,
    )  # fmt: skip
    return " ".join(f"{number:.9g}" for number in numbers)


def online_page(result: HuntResult, drawings: Mapping[str, str]) -> str | None:
    """Return online-map.html; None where no station has a position.

    Parameters
    ----------
    drawings
        SVG elements by name, of which "map" and "map-phone" are shown.
    """
    frame = map_frame(result)
    if frame is None:
        return None
    source = result.hunt_file.map
    script = read_template("map.js") + read_template("report.js")
    script += read_template("tiles.js")
    server = urlsplit(source.tiles)
    forms: tuple[tuple[Form, str], ...] = (("page", "map"), ("phone", "map-phone"))
    return (
        environment()
        .get_template("online_map.html.j2")
        .render(
            name=result.hunt_file.hunt.name,
            headline=headline(result),
            style=Markup(read_template("report.css")),  # noqa: S704  (our own file)
            script=Markup(script),  # noqa: S704  (our own file)
            script_rule=script_rule(script),
            origin=f"{server.scheme}://{server.netloc}",
            server=server.netloc,
            tiles=source.tiles,
            deepest=DEEPEST,
            credit=source.credit,
            of_openstreetmap="openstreetmap" in source.credit.lower(),
            maps=[
                {
                    "form": form,
                    "lie": lie_of(result, frame, form),
                    "svg": Markup(drawings[name]),  # noqa: S704  (drawn by matplotlib)
                }
                for form, name in forms
            ],
            version=result.software_version,
            **map_key(result),
        )
    )
