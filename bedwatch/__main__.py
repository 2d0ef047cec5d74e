"""`python -m bedwatch`."""

from bedwatch.cli import main

raise SystemExit(main())
