"""`python -m shimstock_client.cli`: the same as `shimstock`."""

from . import main

main()
