"""`python -m treeward` is the `treeward` program."""

from treeward.cli import main

if __name__ == "__main__":
    main()
