"""Write the pages of the Python API: python .ci/api_pages.py DIRECTORY.

What pdoc warns of (a name that does not resolve, a module that does not import) ends
the run.
"""

from __future__ import annotations

import pkgutil
import sys
import warnings
from pathlib import Path

import pdoc

import treeward


def main(directory: Path) -> None:
    """Write the pages of every module but the command line's."""
    warnings.simplefilter("error")
    for name in treeward.__all__:
        getattr(treeward, name)  # some are names of the package once asked for
    # Types that only type checkers can work out are shown as they are written.
    warnings.filterwarnings("ignore", "Error parsing type annotation")
    # Every module is named, since __all__ of a package hides its modules; named twice
    # is then no fault.
    warnings.filterwarnings("ignore", "The module specification")
    names = [
        module.name
        for module in pkgutil.walk_packages(treeward.__path__, "treeward.")
        if not module.name.startswith(("treeward.cli", "treeward.__main__"))
    ]
    pdoc.render.configure(docformat="numpy", show_source=False)
    pdoc.pdoc("treeward", *names, output_directory=directory)
    pages = len(list(directory.rglob("*.html")))
    sys.stdout.write(f"{pages} pages in {directory}\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
