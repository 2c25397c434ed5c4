"""`python -m benchwater` is the `benchwater` command."""

from benchwater.commands import main

main()
