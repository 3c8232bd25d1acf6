"""`python -m layette.mapping.cli`: the same as the command `layette`."""

from layette.mapping.cli.command import main

raise SystemExit(main())
