"""`python -m layette.mapping.cli`: the same as the command `layette`."""

from .command import main

raise SystemExit(main())
